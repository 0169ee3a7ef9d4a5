"""The files of notes: what each promises, beside the source that says it, words that no note may use, files that do not hold."""

import re
from datetime import date
from importlib.resources import files

import pytest

from service.plan.types import HAZARDS
from service.rulebook import STATUSES, BrokenRules, parse
from service.safety.rules import ANY, HARMS, UNITS, Limit, Note, read, rules
from service.units import registry

GENERAL, LAW = (files("service").joinpath(f"rules/{n}.toml").read_text(encoding="utf-8") for n in ("safety", "safety_law"))
BY_KEY = {note.key: note for note, _ in rules().notes}
NOTES = tuple(BY_KEY.values())


def limits(key):
    return [(x.value, x.unit) for x in BY_KEY[key].limits]


def seen(key):
    return BY_KEY[key].source.status == "seen"


def test_keys_are_one_each_and_every_hazard_has_notes_that_hold_everywhere():
    assert len(BY_KEY) == len(rules().notes)
    assert {n.hazard for n in NOTES if n.jurisdiction == ANY} == set(HAZARDS)
    assert set(rules().places) == {"us", "eu"} == {n.jurisdiction for n in NOTES} - {ANY}


def test_notes_are_short_and_say_what_to_do():
    for n in NOTES:
        assert len(n.title) <= 60 and 40 <= len(n.text) <= 300, (n.key, len(n.text))
        assert n.title[0].isupper() and not n.title.endswith("."), n.key
    orders = re.compile(r"\b(do not|never|keep|wear|cut|ask|anchor|use|look|leave|put|extract|work|take|read|have it|presume"
                        r"|open one|follow|go by|wipe|treat|no flames|say|note)\b", re.IGNORECASE)
    for n in NOTES:
        assert orders.search(n.text), n.key


def test_no_sentence_tells_that_something_is_harmless_or_cleared():
    calm = re.compile(r"\bsafe\b|\bsafely\b|harmless|no danger|no risk|without risk|lead-free|free of lead|\bcleared\b|all clear"
                      r"|need not worry|nothing to fear|\bis fine\b|poses no", re.IGNORECASE)
    for n in NOTES:
        assert not calm.search(n.title) and not calm.search(n.text), n.key
        for clears in re.finditer(r"[^.]*\bclears?\b[^.]*", n.title + ". " + n.text):
            assert re.search(r"\b(not|never)\b", clears.group()), n.key


def test_what_holds_everywhere_leans_on_no_law_of_one_place():
    foreign = {"us": r"REACH|European|\bEU\b|Directive", "eu": r"\bCFR\b|OSHA|NIOSH|\bEPA\b|TSCA|CPSC|United States"}
    law = re.compile(r"\bCFR\b|\bUSC\b|OSHA|NIOSH|ACGIH|TSCA|REACH|\bEPA\b|\bE1\b|\bppm\b|mg/|Federal|Directive|Regulation")
    for n in NOTES:
        if n.jurisdiction == ANY:
            assert not law.search(n.text) and not n.limits and n.date is None, n.key
        else:
            assert not re.search(foreign[n.jurisdiction], n.text), n.key


def test_every_source_says_how_far_it_can_be_trusted():
    for n in NOTES:
        assert all(s.status in STATUSES for s in n.sources)
        assert n.jurisdiction == ANY or all(s.status in ("common", "memory") or s.date for s in n.sources), n.key
        assert not n.limits or n.source.status == "seen", f"{n.key}: a number of the law that nobody saw"


def test_units_are_units():
    for name in UNITS:
        assert registry().Quantity(1.0, name).magnitude == 1.0


def test_two_limits_for_lead_never_stand_together():
    # 73 FR 77492: new goods. 15 USC 2681(9): paint in housing. 5000 over 90 is 55 times and more (computed).
    for n in NOTES:
        assert not (re.search(r"\b90 ppm|0\.009", n.text) and re.search(r"5000|mg/cm2|0\.5 percent", n.text)), n.key
    new, housing = BY_KEY["us.lead_new_goods"], BY_KEY["us.lead_housing"]
    ppm = {key: v for key in ("us.lead_housing", "us.lead_new_goods") for v, u in limits(key) if u == "ppm"}
    assert ppm["us.lead_housing"] / ppm["us.lead_new_goods"] == pytest.approx(55.6, abs=0.05)
    assert "new goods" in new.text and "no verdict on an old coat" in new.text
    assert "Housing law" in housing.text and "another line than the one for new goods" in " ".join(housing.text.split())
    assert "does not mean no lead" in housing.text
    for value, text in ((90, new.text), (5000, housing.text)):
        (sentence,) = (s for s in re.split(r"(?<=[.:]) ", text) if str(value) in s)
        assert ("new furniture" in sentence) == (value == 90) and ("Housing" in sentence) == (value == 5000)


# Each row below: what a source says, checked against the note that leans on it.

def test_lead_ban_of_1978():
    # Federal Register 1977, companion rule 16 CFR 1145 "effective February 28, 1978"; limit then 0.06 %.
    n = BY_KEY["us.lead_1978"]
    assert seen(n.key) and n.date == date(1978, 2, 28) and limits(n.key) == [(0.06, "percent")]
    assert (n.value, n.unit) == (0.06, "percent") and limits("us.lead_later") == [(0.06, "percent")]
    assert "unknown age" in n.text and "Presume lead" in n.text


def test_limit_for_new_goods():
    # 73 FR 77492 (E8-30238): 0.009 % (90 ppm) by weight of dried film, effective August 14, 2009.
    n = BY_KEY["us.lead_new_goods"]
    assert seen(n.key) and n.date == date(2009, 8, 14) and set(limits(n.key)) == {(90, "ppm"), (0.009, "percent")}
    assert registry().Quantity(0.009, "percent").to("ppm").magnitude == pytest.approx(90)


def test_lead_based_paint_in_housing():
    # 15 USC 2681(9): above 1.0 mg/cm2 or 0.5 % (5000 ppm).
    assert seen("us.lead_housing") and set(limits("us.lead_housing")) == {(1.0, "mg/cm^2"), (0.5, "percent"), (5000, "ppm")}
    assert registry().Quantity(0.5, "percent").to("ppm").magnitude == pytest.approx(5000)


def test_renovation_rule_is_about_structures():
    # EPA, questions on 40 CFR 745: modification of an existing structure; minor at most 6 sq ft a room inside, 20 sq ft outside.
    n = BY_KEY["us.lead_renovation"]
    assert seen(n.key) and limits(n.key) == [(6, "ft^2"), (20, "ft^2")]
    assert "structures" in n.title and "existing structures" in n.text
    assert "as we read it" in n.text and n.sources[1].status == "common"


def test_swabs():
    # A safety firm's page on a CPSC study (secondary): 56 of 104 false negative, 2 false positive; none reliable under a
    # lead-free top coat.
    n = BY_KEY["any.lead_swab"]
    assert n.source.status == "secondary" and "does not clear" in n.title
    assert all(w in n.text for w in ("56 of 104", "2 wrongly positive", "none was reliable under a top coat"))


def test_formaldehyde_in_the_us():
    # A panel makers' association: TSCA VI HWPW 0.05, PB 0.09, MDF 0.11, thin MDF (at most 8 mm) 0.13 ppm. Public Law 111-199 sec.
    # 601(a)(1)(B): second-hand furniture left out. A buyers' guide of 2014: A208.2 0.21 ppm. A millwork association: hardboard
    # exempt up to 0.06.
    assert seen("us.resin_new_panels") and limits("us.resin_new_panels") == [(v, "ppm") for v in (0.05, 0.09, 0.11, 0.13)]
    assert "8 mm" in BY_KEY["us.resin_new_panels"].text
    used = BY_KEY["us.resin_second_hand"]
    assert seen(used.key) and "111-199" in used.source.title and used.harm == "law"
    assert "antique or secondhand furniture" in used.text and "says nothing of what a board gives off" in used.text
    assert seen("us.resin_older") and limits("us.resin_older") == [(0.21, "ppm")]
    assert seen("us.resin_hardboard") and limits("us.resin_hardboard") == [(0.06, "ppm")]


def test_formaldehyde_in_the_eu():
    # A wood research institute: E1 0.124 mg/m3 (0.1 ppm, EN 717-1). Regulation (EU) 2023/1464: 0.062 mg/m3 from 6 August 2026.
    assert seen("eu.resin_e1") and limits("eu.resin_e1") == [(0.124, "mg/m^3"), (0.1, "ppm")]
    assert "EN 717-1" in BY_KEY["eu.resin_e1"].text
    n = BY_KEY["eu.resin_reach"]
    assert seen(n.key) and limits(n.key) == [(0.062, "mg/m^3")] and n.date == date(2026, 8, 6)
    assert n.sources[1].status == "memory", "that second-hand articles are left out there was not seen"
    # Both numbers of E1 are one: formaldehyde, 30.03 g/mol, of an ideal gas at 23 C and 1013 hPa, 24.3 L/mol (computed).
    (mass, _), (volume, _) = limits("eu.resin_e1")
    assert mass == pytest.approx(volume * 30.03 / 24.3, rel=0.01)


def test_wood_dust():
    # OSHA's page on wood dust: PNOR 15 total, 5 respirable; NIOSH 1; ACGIH 2007 1, western red cedar 0.5 mg/m3.
    assert seen("us.dust_osha") and limits("us.dust_osha") == [(15, "mg/m^3"), (5, "mg/m^3")]
    assert seen("us.dust_advised") and limits("us.dust_advised") == [(v, "mg/m^3") for v in (1, 1, 0.5)]
    # Directive (EU) 2017/2398: hardwood and mixtures 2 mg/m3 inhalable from 17 January 2023, 3 before.
    n = BY_KEY["eu.dust_hardwood"]
    assert seen(n.key) and limits(n.key) == [(2, "mg/m^3"), (3, "mg/m^3")] and n.date == date(2023, 1, 17) and "mixed" in n.text


def test_oily_rags():
    # NFPA: never pile; spread outdoors to dry; then metal can with water and detergent, cool place; 1,600 home fires a year.
    spread, can = BY_KEY["any.rags_spread"], BY_KEY["any.rags_can"]
    assert seen(spread.key) and "Never pile" in spread.title and "outdoors to dry" in spread.text and "1,600" in spread.text
    assert seen(can.key) and all(w in can.text for w in ("metal can", "water and detergent", "cool"))


def test_methylene_chloride():
    # 84 FR 11420: signed March 15, 2019, effective May 28, 2019, retail November 23, 2019. 89 FR 39254: effective July 8, 2024.
    n = BY_KEY["us.stripper_consumers"]
    assert seen(n.key) and n.date == date(2019, 5, 28)
    assert all(d in n.text for d in ("March 15, 2019", "May 28, 2019", "November 23, 2019"))
    later = BY_KEY["us.stripper_2024"]
    assert seen(later.key) and later.date == date(2024, 7, 8) and "restricts use in business" in later.text
    assert "Do not use" in BY_KEY["any.stripper_methylene_chloride"].text
    assert not any("2025" in n.text or "2029" in n.text for n in NOTES), "days that nobody saw"


def test_mould():
    # EPA text on mould: under about 10 sq ft (3 x 3 ft, 0.93 m2) people may clean it; particle board usually discarded.
    n = BY_KEY["us.mould_rooms"]
    assert seen(n.key) and limits(n.key) == [(10, "ft^2")] and "rooms" in n.title and "not of furniture" in n.text
    assert registry().Quantity(10, "ft^2").to("m^2").magnitude == pytest.approx(0.93, abs=0.005)
    # Common practice, no source: mould in raw board, or a smell after airing.
    board = BY_KEY["any.mould_board"]
    assert board.source.status == "common" and all(w in board.text for w in ("raw board", "after airing", "discard"))


def test_asbestos_lists():
    # Public lists of goods with asbestos name appliances, pads, adhesives, not wood furniture; the rest: common practice.
    n = BY_KEY["any.dust_linings"]
    assert [s.status for s in n.sources] == ["seen", "common"] and "not wooden furniture" in n.text


def test_tipping():
    # 88 FR 28403: made after September 1, 2023; scope from 27 in (686 mm), 30 lb (13.6 kg), 3.2 cu ft (90.6 L), free-standing.
    n = BY_KEY["us.tipping_sturdy"]
    assert seen(n.key) and n.date == date(2023, 9, 1) and "date of manufacture" in n.title and "free-standing" in n.text
    metric = [registry().Quantity(x.value, x.unit).to(u).magnitude for x, u in zip(n.limits, ("mm", "kg", "L"), strict=True)]
    assert metric == pytest.approx([686, 13.6, 90.6], rel=1e-3) and "anchor it" in n.text
    assert "whatever their age" in BY_KEY["any.tipping_anchor"].text


def test_resale():
    # CPSC, questions of resale and thrift stores: not knowingly recalled or banned goods; testing not required; cribs risky.
    n = BY_KEY["us.resale_law"]
    assert seen(n.key) and "knowingly" in n.title and "need not test" in n.text and "Cribs are risky" in n.text


def test_upholstery():
    # CPSC and 86 FR 18440: 16 CFR 1640 = TB 117-2013, reupholstered for sale from June 25, 2021; label from June 25, 2022, text
    # 1/8 in high recommended.
    n = BY_KEY["us.upholstery_sale"]
    assert seen(n.key) and n.date == date(2021, 6, 25) and "for sale" in n.text and n.harm == "law"
    assert all(w in n.text for w in ("16 CFR 1640", "TB 117-2013", "June 25, 2022", "1/8 in", "label"))


def test_order_is_worst_first():
    ranks = [list(HARMS).index(n.harm) for n in NOTES]
    assert ranks == sorted(ranks) and NOTES[0].key == "any.lead_presume"


@pytest.mark.parametrize(("general", "old", "new", "says"), [
    (True, 'hazard = "mould"', 'hazard = "ghosts"', "ghosts"),
    (True, 'mould = "health"\n', "", "every hazard"),
    (True, 'mould = "health"\n', 'mould = "dire"\n', "every hazard"),
    (True, 'harm = "injury"', 'harm = "dire"', "dire"),
    (True, '["yes", "unknown"]', '["maybe"]', "maybe"),
    (True, '["yes", "unknown"]', "[]", "a list that holds something"),
    (True, '["yes", "unknown"]', '"yes"', "a list that holds something"),
    (True, 'made_before_1978 = ["yes', 'year = ["yes', "year"),
    (True, '["plywood", "particle_board"', '["cardboard", "particle_board"', "cardboard"),
    (True, 'title = "Presume lead"\n', "", "title"),
    (True, 'title = "Presume lead"', 'title = "Presume lead"\nloud = true', "loud"),
    (True, 'source = "nfpa"', 'source = "hearsay"', "hearsay"),
    (True, "[notes.any.", "[notes.mars.", "mars"),
    (False, "[notes.eu.", "[notes.mars.", "mars"),
    (False, '0.06, "percent"', '0.07, "percent"', "0.07 percent does not stand"),
    (False, '90, "ppm"', '9, "ppm"', "9 ppm does not stand"),
    (False, '90, "ppm"', '90, "grains"', "grains"),
    (False, '90, "ppm"', '0, "ppm"', "no limit"),
    (False, '90, "ppm"', '90', "ValueError"),
    (False, "effective = 2009-08-14", 'effective = "2009"', "effective is no day"),
    (False, "effective = 2009-08-14", "effective = 2009-08-14T00:00:00", "effective is no day"),
    (False, 'roles = ["drawer_front"', 'roles = ["wing"', "wing"),
    (False, 'eu = "European', 'other = "European', "no places|not among"),
    (False, 'line_of_1978 = ["us"]', 'line_of_1978 = ["moon"]', "moon"),
])
def test_broken_rules_are_refused_by_name(general, old, new, says):
    text, name = (GENERAL, "safety.toml") if general else (LAW, "safety_law.toml")
    assert old in text
    with pytest.raises(BrokenRules, match=says) as caught:
        book = parse(name, text.replace(old, new))
        read(book, None) if general else read(None, book)
    assert caught.value.subject == name and caught.value.remedy


def test_a_number_must_stand_in_the_text_as_itself():
    n = BY_KEY["us.dust_advised"]
    given = dict(key="x", hazard="dust", harm="health", title="X", jurisdiction="us", sources=n.sources)
    for text, good in (("Keep under 1 mg/m3.", True), ("Keep under 1.0 mg/m3.", True), ("Keep under 1.", False),
                       ("Keep under 1.5 mg/m3.", False), ("Keep under 0.1 mg/m3.", False), ("Keep under 10 mg/m3.", False)):
        if good:
            assert Note(text=text, limits=(Limit("dust", 1.0, "mg/m^3"),), **given).value == 1.0
        else:
            with pytest.raises(ValueError, match="does not stand"):
                Note(text=text, limits=(Limit("dust", 1.0, "mg/m^3"),), **given)

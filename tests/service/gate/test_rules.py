"""The gate's file of rules: what it promises, what its sources say, and files that do not hold together."""

from importlib.resources import files

import pytest

from service.gate import ask
from service.gate.rules import PLACES, RANK, read, rules
from service.hand import checks
from service.rulebook import STATUSES, BrokenRules, parse, rulebook

TEXT = files("service").joinpath("rules/gate.toml").read_text(encoding="utf-8")
BY_KEY = {q.key: q for q in rules().questions}


def outcome(question, answer):
    found = BY_KEY[question].answer(answer).leads_to
    assert found is not None
    return found


def test_everything_that_must_be_ruled_out_is_asked():
    assert set(BY_KEY) == {"unsafe_goods", "urine", "smoke", "mould", "old_paint", "bed_bugs", "woodworm", "base", "legs",
                           "racking", "drawers"}


def test_the_gate_leaves_a_minute_of_three_for_the_hands():
    assert sum(q.seconds for q in rules().questions) <= 120


def test_every_question_can_be_answered_well_and_badly_with_one_thumb():
    for q in rules().questions:
        ranks = [a.rank for a in q.answers]
        assert min(ranks) == 0 < max(ranks), q.key
        assert len(q.text) <= 48 and len(q.how) <= 150 and q.place in PLACES
        assert all(len(a.words) <= 60 for a in q.answers), q.key
        bad = [a.rank for a in q.answers if a.rank]
        assert bad == sorted(bad, reverse=True), f"{q.key}: worst answer first"


def test_what_can_hurt_or_spread_comes_before_what_costs_money():
    harms = [q.harms for q in rules().questions]
    assert harms == sorted(harms, reverse=True)
    hurts = {"insects", "mould", "old_paint", "resale"}
    for q in rules().questions:
        found = {h for a in q.answers if a.leads_to for h in a.leads_to.hazards}
        assert q.harms or not found & hurts, q.key


def test_numbers_are_called_estimates_and_products_are_known_kinds():
    assert rules().numbers.status == "estimate"
    known = {r["key"] for r in rulebook("products").tables["products"]}
    for q in rules().questions:
        for a in q.answers:
            if a.leads_to is not None:
                assert set(a.leads_to.products) <= known and all(s.status in STATUSES for s in a.leads_to.sources)


def test_sources_that_were_seen_are_used_for_what_they_say():
    # CPSC, questions of resale and thrift stores: recalled or banned goods may not be sold knowingly; cribs are risky.
    for answer in ("recalled", "crib"):
        assert outcome("unsafe_goods", answer).verdict == "walk_away" and "resale" in outcome("unsafe_goods", answer).hazards
        assert outcome("unsafe_goods", answer).sources[0].status == "seen"
    # EPA text on mould in buildings: particle board with mould is usually thrown out.
    assert outcome("mould", "board").verdict == "walk_away" and outcome("mould", "board").sources[0].key == "mould_rooms"
    # Federal Register 1977: lead paint on furniture banned, companion rule in force from February 28, 1978.
    assert BY_KEY["old_paint"].answer("newer").leads_to is None and "after 1978" in BY_KEY["old_paint"].answer("newer").words
    assert "February 28, 1978" in BY_KEY["old_paint"].source.title
    # A trade page on laminate: raw board edges swell with water.
    assert outcome("base", "swollen").sources[0].key == "swelling" and "edge_sealer" in outcome("base", "swollen").products


def test_common_practice_is_called_so():
    # Common practice, no source: furniture that smells of mould after airing is left; nothing with bed bugs is carried home.
    assert outcome("mould", "aired").verdict == "walk_away" and outcome("mould", "aired").sources[0].status == "common"
    for answer, verdict in (("live", "walk_away"), ("dots", "quarantine")):
        found = outcome("bed_bugs", answer)
        assert found.verdict == verdict and "Do not carry it home" in found.do and found.sources[0].status == "common"
    # Secondary: a CPSC study, 56 of 104 spot tests wrongly negative.
    swab = outcome("old_paint", "flaking_child")
    assert {s.status for s in swab.sources} == {"seen", "secondary"} and "does not clear it" in swab.do


@pytest.mark.parametrize("answer", ["flaking", "whole"])
def test_old_paint_is_presumed_to_hold_lead_and_never_sanded_dry(answer):
    found = outcome("old_paint", answer)
    assert "presumed to hold lead" in found.reason and "old_paint" in found.hazards
    for tool in ("sanding", "scraping", "heat gun", "torch"):
        assert tool in found.do


def test_answers_that_clear_nothing_have_the_keys_of_the_hand_checks():
    assert ask.CANNOT_SAY == checks.CANNOT_SAY
    assert all(ask.letters_hold(c.answers) for c in checks.rules().checks.values()), "hand checks can be asked the same way"


def test_worse_answers_leave_no_more_of_the_price_and_discounts_leave_less():
    for q in rules().questions:
        for a in q.answers:
            if a.leads_to is not None:
                assert (a.leads_to.share[0] < 1) == (a.leads_to.verdict == "discount"), (q.key, a.key)
                assert a.rank == RANK[a.leads_to.verdict]


@pytest.mark.parametrize(("old", "new", "says"), [
    ('["none", "n", "none smelled, no tide lines", "go_on"]', '["none", "q", "none", "go_on"]', "letters"),
    ('"yes, on wood or plywood", "treatable"]', '"yes", "go_on"]', "not the same"),
    ('"yes, on wood or plywood", "treatable"]', '"yes", "fine"]', "leads to 'fine'"),
    ("hours = [1.5, 3, 6]", "hours = [1.5, 8, 6]", "least, likeliest, most"),
    ("share = [0.6, 0.8, 1]", "share = [0.6, 0.8, 1.2]", "least, likeliest, most"),
    (", share = [0.6, 0.8, 1]", "", "discount without"),
    ("adds = { hours = [1.5, 3, 6], materials = [15, 25, 50] }\n", "", "must say what it adds"),
    ('hazards = ["mould"]', 'hazards = ["ghosts"]', "unknown hazards"),
    ('place = "back", seconds = 8', 'place = "back", seconds = 2', "out of order"),
    ('place = "back"', 'place = "moon"', "unknown place"),
    ('key = "smoke"', 'key = "urine"', "same key"),
    ('numbers_source = "numbers"', "", "does not list|KeyError"),
    ('source = "bed_bugs"', 'source = "hearsay"', "hearsay"),
])
def test_broken_rules_are_refused_by_name(old, new, says):
    assert old in TEXT
    with pytest.raises(BrokenRules, match=says) as caught:
        read(parse("gate.toml", TEXT.replace(old, new, 1)))
    assert caught.value.subject == "gate.toml" and caught.value.remedy

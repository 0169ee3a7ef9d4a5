"""Cautions against the rules they cite, and who sees which."""

import json
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from service.cli import app
from service.plan.types import HAZARDS
from service.rulebook import BrokenRules, parse
from service.safety.notes import ANY, DEFER, JURISDICTIONS, all_notes, notes, read
from vision.errors import UsageError

TEXT = files("service").joinpath("rules/safety.toml").read_text(encoding="utf-8")
BY_KEY = {n.key: n for n in all_notes()}


@pytest.mark.parametrize(("key", "says", "source"), [
    ("lead_1978", ("28 February 1978", "0.06 %"), "16 CFR 1303"),
    ("lead_new", ("90 ppm", "new coats"), "73 FR 77492"),
    ("lead_housing", ("1.0 mg/cm2", "0.5 % (5000 ppm)"), "15 USC 2681"),
    ("lead_rrp", ("structures", "loose furniture is outside"), "40 CFR 745"),
    ("dust_osha", ("15 mg/m3 total", "5 mg/m3 respirable"), "OSHA"),
    ("dust_niosh", ("1 mg/m3", "0.5 mg/m3"), "NIOSH"),
    ("dust_eu", ("2 mg/m3 inhalable",), "2017/2398"),
    ("board_us", ("0.05", "0.09", "0.11", "0.13"), "TSCA"),
    ("board_us_old", ("second-hand",), "Pub. L. 111-199"),
    ("board_eu", ("0.124 mg/m3", "0.062 mg/m3", "6 August 2026"), "2023/1464"),
    ("rags", ("Never pile", "water and detergent"), "NFPA"),
    ("dcm_us_2019", ("15 March 2019", "28 May 2019"), "84 FR 11420"),
    ("dcm_us", ("23 November 2019", "8 July 2024"), "89 FR 39254"),
    ("mould_us", ("10 sq ft", "0.93 m2", "nothing of furniture"), "EPA"),
    ("tip_us", ("made after 1 September 2023", "27 in (686 mm)", "30 lb (13.6 kg)", "3.2 cu ft (90.6 L)"), "88 FR 28403"),
    ("resale_us", ("cannot knowingly be sold", "Testing is not required", "cribs"), "resale shops"),
    ("upholstery_us", ("25 June 2021", "TB 117-2013", "25 June 2022"), "16 CFR 1640"),
])
def test_notes_say_what_the_rule_they_cite_says(key, says, source):
    note = BY_KEY[key]
    assert all(words in note.text or words in note.title for words in says), note.text
    assert source in note.source.title and note.source.status == "seen"


def test_the_study_of_swabs_is_cited_second_hand():
    """Read on a trade page: 56 of 104 false negative."""
    assert BY_KEY["lead_swab"].value == 56 and BY_KEY["lead_swab"].source.status == "secondary"


def test_the_two_lines_for_lead_are_never_in_one_note():
    """90 ppm is for new coats on goods, 5000 ppm for paint in housing."""
    assert not [n.key for n in all_notes() if "90 ppm" in n.text and "5000" in n.text]
    assert "not the limit for goods" in BY_KEY["lead_housing"].text and "not for judging old" in BY_KEY["lead_new"].text


def test_an_unknown_age_is_taken_as_old_and_only_a_known_one_frees():
    assert "lead" in {n.key for n in notes(["old_paint"])}
    assert "lead" in {n.key for n in notes(["old_paint"], made_before_1978=True)}
    assert not notes(["old_paint"], made_before_1978=False)


def test_a_swab_never_clears():
    assert "a quick swab that shows nothing does not" in BY_KEY["lead"].text


@given(st.lists(st.sampled_from(list(HAZARDS)), unique=True), st.sampled_from(list(JURISDICTIONS)))
def test_nobody_sees_another_country_s_rules_and_everyone_what_holds_everywhere(hazards, where):
    found = notes(hazards, where=where)
    assert {n.where for n in found} <= {ANY, where}
    assert {n.hazard for n in found if n.where == ANY} == set(hazards)
    assert [n.rank for n in found] == sorted(n.rank for n in found)


def test_board_notes_only_where_board_may_be():
    assert notes(["board_resin"], cores=["lumber"]) == ()
    assert notes(["board_resin"], cores=["lumber", "fibreboard"])


@pytest.mark.parametrize("note", all_notes(), ids=lambda n: n.key)
def test_no_note_calls_anything_safe(note):
    words = note.text.lower().replace("lead-safe", "").replace("safety", "").split()
    assert not {"safe", "harmless", "cleared"} & set(words)


def test_unknown_hazards_and_places_are_refused():
    with pytest.raises(UsageError, match="unknown hazards"):
        notes(["noise"])
    with pytest.raises(UsageError, match="not known"):
        notes(["dust"], where="mars")


@pytest.mark.parametrize(("old", "new", "says"), [
    ('hazard = "heat"', 'hazard = "cold"', "unknown hazard"),
    ('key = "heat"\nhazard = "heat"\nwhere = "any"', 'key = "heat"\nhazard = "heat"\nwhere = "eu"', "holds everywhere for: heat"),
    ("rank = 1\n", "", "is missing"),
])
def test_a_file_that_does_not_hold_is_refused(old, new, says):
    with pytest.raises(BrokenRules, match=says):
        read(parse("safety.toml", TEXT.replace(old, new, 1)))


def test_the_command_shows_source_date_and_who_comes_first():
    told = CliRunner().invoke(app, ["safety", "old_paint", "--where", "us"]).output
    assert "28 February 1978" in told and "Source:" in told and DEFER in told and "European" not in told
    found = json.loads(CliRunner().invoke(app, ["safety", "--json"]).output)
    assert {n["where"] for n in found["notes"]} == {"any"} and found["defer"] == DEFER

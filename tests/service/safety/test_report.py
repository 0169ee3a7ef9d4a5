"""Notes as printed and as a document, and the command: place, date and source beside each, and who comes first always said."""

import json

import pytest
import typer
from typer.testing import CliRunner

from service.plan.types import HAZARDS
from service.rulebook import STATUSES
from service.safety.choose import notes
from service.safety.report import DEFER, WIDTH, document, lines_of, origin
from service.safety.rules import HARMS, OTHER, rules
from service.safety_commands import safety
from vision.errors import UsageError

app = typer.Typer(pretty_exceptions_enable=False)
app.command()(safety)
PLACES = (*rules().places, OTHER)


def told(*words):
    done = CliRunner().invoke(app, list(words))
    assert done.exit_code == 0, done.output
    return done.output


def flat(lines):
    return " ".join(" ".join(lines).split())


@pytest.mark.parametrize("where", PLACES)
def test_everything_is_printed_with_its_place_date_and_source(where):
    found = notes(HAZARDS, where=where)
    lines = lines_of(found, where=where)
    text = flat(lines)
    assert all(len(x) <= WIDTH + 40 for x in lines) and DEFER in text
    for n in found:
        assert n.title in text and n.text in text and origin(n) in text
    for harm in {n.harm for n in found}:
        assert lines.count(HARMS[harm][:1].upper() + HARMS[harm][1:]) == 1


def test_the_law_carries_its_day():
    (note,) = (n for n in notes(["old_paint"], where="us") if n.key == "us.lead_new_goods")
    assert origin(note) == ("United States, in force from August 14, 2009. Source: Federal Register 73 FR 77492: lead paint "
                            "limit, 16 CFR 1303 (seen there or in a copy of it; 2008).")


def test_the_short_form_keeps_texts_and_places_but_no_titles_of_sources():
    found = notes(["old_paint", "dust"], where="us")
    text = flat(lines_of(found, where="us", sources=False))
    assert all(n.text in text for n in found) and "United States, in force from" in text and "Source:" not in text
    assert DEFER in text


def test_no_hazard_is_no_all_clear():
    text = flat(lines_of((), where=OTHER))
    assert DEFER in text and "no word on the work itself" in text
    assert document((), where=OTHER)["cautions"] == [DEFER]


@pytest.mark.parametrize("where", PLACES)
def test_the_document_says_what_the_text_says(where):
    found = notes(HAZARDS, where=where)
    doc = json.loads(json.dumps(document(found, where=where)))
    assert doc["schema"] == "grainassay.safety/1.0" and doc["where"] == where and doc["cautions"] == [DEFER]
    assert [n["key"] for n in doc["notes"]] == [n.key for n in found]
    for row, n in zip(doc["notes"], found, strict=True):
        assert row["text"] == n.text and row["date"] == (n.date.isoformat() if n.date else None)
        assert row["about"] == HAZARDS[n.hazard] and all(s["status"] in STATUSES for s in row["sources"])
        assert [x["value"] for x in row["limits"]] == [x.value for x in n.limits]
        assert (row["value"] is None) == (len(n.limits) != 1)


def test_without_a_place_the_command_shows_what_holds_everywhere_and_names_the_places_known():
    text = told()
    assert "us (United States)" in " ".join(text.split()) and "eu (European Union)" in " ".join(text.split())
    assert "United States. Source" not in text and "European Union. Source" not in text and "in force from" not in text
    assert "Presume lead" in text and "Never pile oily rags" in text


def test_the_command_adds_the_rules_of_one_place_and_never_the_others():
    us, eu = told("--where", "us", "--json"), told("--where", "eu", "--json")
    assert {n["jurisdiction"] for n in json.loads(us)["notes"]} == {"any", "us"}
    assert {n["jurisdiction"] for n in json.loads(eu)["notes"]} == {"any", "eu"}
    assert "OSHA" in us and "OSHA" not in eu and "REACH" in eu and "REACH" not in us


def test_the_command_takes_hazards_and_the_age():
    few = json.loads(told("dust", "oily_rags", "--json"))
    assert {n["hazard"] for n in few["notes"]} == {"dust", "oily_rags"}
    assert "Presume lead" in told("old_paint", "--where", "us", "--before-1978")
    later = told("old_paint", "--where", "us", "--after-1978")
    assert "Made after 1978 is no proof" in later and "  Presume lead [" not in later


def test_the_help_names_every_hazard_and_place():
    from typing import get_args, get_type_hints

    hints = get_type_hints(safety, include_extras=True)
    said = get_args(hints["hazards"])[1].help
    assert all(h in said for h in HAZARDS)
    assert all(p in get_args(hints["where"])[1].help for p in PLACES)


@pytest.mark.parametrize(("words", "says"), [(["ghosts"], "ghosts"), (["--where", "mars"], "mars")])
def test_bad_input_names_what_is_wrong(words, says):
    done = CliRunner().invoke(app, words)
    assert isinstance(done.exception, UsageError) and says in str(done.exception)

"""`plan` on the command line: the example of the documents, files written, and files that cannot be used."""

import json
from pathlib import Path

import pytest
from icalendar import Calendar
from typer.testing import CliRunner

from service.cli import app
from service.contract import to_json
from tests.service.chest import chest_document

DOCS = Path(__file__).parents[2] / "docs"


def run(*words):
    return CliRunner().invoke(app, [str(w) for w in words])


def test_the_example_is_planned_with_sheet_and_calendar(tmp_path):
    sheet, calendar = tmp_path / "sheet.html", tmp_path / "days.ics"
    done = run("plan", DOCS / "plan.toml", "--prices", DOCS / "prices.toml", "--sheet", sheet, "--calendar", calendar)
    assert done.exit_code == 0, done.output
    assert "To buy, for all parts together" in done.output and "Which day" in done.output
    assert max(len(line) for line in done.output.splitlines()) <= 110
    assert "Work sheet" in sheet.read_text() and Calendar.from_ical(calendar.read_bytes()).walk("VEVENT")


def test_from_an_assessment_alone_it_says_what_each_part_allows(tmp_path):
    photo = tmp_path / "chest.json"
    photo.write_text(to_json(chest_document(tmp_path)))
    done = run("plan", "--assessment", photo)
    assert done.exit_code == 0 and "Open to it" in done.output and "Not restain" in done.output
    assert json.loads(run("plan", "--assessment", photo, "--goal", "paint", "--json").output)["parts"]


@pytest.mark.parametrize(("words", "says"), [
    (["nowhere.toml"], "cannot be read"), ([], "no part to plan for"), ([DOCS / "plan.toml", "--goal", "polish"], "not known"),
    ([DOCS / "plan.toml", "--prices", DOCS / "plan.toml"], "unknown entries"),
    ([DOCS / "plan.toml", "--sheet", "/nowhere/x.html"], "cannot be written"),
    (["--assessment", DOCS / "plan.toml"], "is no assessment"),
])
def test_what_cannot_be_used_is_named(words, says):
    done = run("plan", *words)
    assert done.exit_code != 0 and says in str(done.exception)

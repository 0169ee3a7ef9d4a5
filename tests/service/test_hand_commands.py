"""`weigh` and `moves` on the command line: what is told, what is not, JSON, and input that makes no sense."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from service.cli import app
from service.moves import ONLY_SOLID
from service.weigh import HEAVY, VENEER
from vision.errors import UsageError
from vision.registry import CORES

PANEL = "1000x500x18mm"


def run(*words):
    return CliRunner().invoke(app, list(words))


def told(*words):
    done = run(*words)
    assert done.exit_code == 0, done.output
    return done.output


def test_weight_without_a_wood_keeps_lumber_in_play_and_says_heavy_is_not_solid():
    text = told("weigh", "5.9kg", PANEL)
    assert "Left: solid lumber" in text and HEAVY in text and VENEER in text and "Rests on:" in text


def test_a_wood_named_wrongly_is_no_proof():
    text = told("weigh", "3.7kg", PANEL, "--wood", "oak")
    assert "Speaks against: solid lumber" in text and "another wood is not excluded" in text


def test_what_cannot_be_told_apart_is_said_so():
    assert "It tells none of these cores from the others." in told("weigh", "6.2kg", PANEL, "--wood", "oak")
    assert "It fits none of them" in told("weigh", "20kg", PANEL)


def test_the_document_holds_what_the_text_says():
    found = json.loads(told("weigh", "13 lb", "39 x 20 x 3/4 in", "--wood", "pine", "--json"))
    assert found["schema"] == "grainassay.weigh/1.0" and [c["core"] for c in found["cores"]] == list(CORES)
    assert found["part"]["mass_kg"] == pytest.approx(13 * 0.45359237) and found["part"]["size_mm"][2] == pytest.approx(19.05)
    assert max(c["likelihood"] for c in found["cores"]) == 1 and found["cautions"] == [HEAVY, VENEER]
    for c in found["cores"]:
        low, high = c["nine_in_ten_kg"]
        assert low < c["expected_kg"] < high and c["sources"]
        assert c["against"] == (c["likelihood"] * 6 < 1)


def test_sizes_come_in_any_order():
    assert told("weigh", "5.9kg", "18x1000x500mm") == told("weigh", "5.9kg", PANEL)


@pytest.mark.parametrize(("words", "says"), [
    (("weigh", "heavy", PANEL), "no mass"), (("weigh", "5kg", "1000x500"), "2 numbers"),
    (("weigh", "5kg", PANEL, "--fittings", "6kg"), "leave nothing"), (("weigh", "5kg", PANEL, "--wood", "resin"), "resin"),
    (("moves", "36in", "--wood", "oak", "--stored", "140", "--home", "40"), "relative humidity"),
    (("moves", "36in", "--wood", "mahogany", "--stored", "40", "--home", "40"), "mahogany"),
])
def test_bad_input_names_what_is_wrong(words, says):
    done = run(*words)
    assert isinstance(done.exception, UsageError) and says in str(done.exception) and done.exception.remedy


def test_movement_goes_both_ways_and_speaks_of_solid_wood_only():
    dry = told("moves", "914mm", "--wood", "red oak", "--stored", "65", "--home", "35", "--stored-celsius", "21")
    damp = told("moves", "914mm", "--wood", "red oak", "--stored", "35", "--home", "65", "--stored-celsius", "21")
    assert "shrinks by" in dry and "widens by" in damp and ONLY_SOLID in dry
    assert "nothing" in told("moves", "914mm", "--wood", "red oak", "--stored", "50", "--home", "50", "--stored-celsius", "21")


def test_a_name_for_several_woods_gives_each_one():
    found = json.loads(told("moves", "36in", "--wood", "oak", "--stored", "35", "--home", "60", "--json"))
    assert {f["wood"] for f in found} == {"red oak", "white oak"}
    assert all(f["flat_sawn_mm"] > f["quarter_sawn_mm"] > 0 and f["sources"] for f in found)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no full device here")
def test_a_full_disk_is_one_message():
    command = [sys.executable, "-m", "service.cli", "weigh", "5kg", PANEL]
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 1 and "No space left" in done.stderr and "Traceback" not in done.stderr

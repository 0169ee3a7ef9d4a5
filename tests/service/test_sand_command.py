"""`sand` on the command line: refuses what a thin face does not stand, says what is an estimate, reads faces and ways."""

import json

import pytest
from typer.testing import CliRunner

from service.cli import app
from service.sand import ESTIMATE, SAFE, STOPS, face_of, way_of
from service.sanding.budget import Step
from service.sanding.rules import read
from vision.errors import UsageError

RULES = read()


def told(*words):
    done = CliRunner().invoke(app, ["sand", *words])
    assert done.exit_code == 0, done.output
    return done.output


def test_an_unknown_face_is_taken_as_thin_and_not_sanded_for_a_stain():
    text = told("--goal", "restain")
    assert "taken as thin" in text and "Do not sand for this" in text


@pytest.mark.parametrize("words", [("--goal", "restain", "--face", "0.6mm"), ("--way", "80m,120m", "--face", "modern")])
def test_estimates_stop_signs_and_cautions_are_always_there(words):
    text = told(*words)
    assert ESTIMATE in text and STOPS in text and SAFE in text


def test_a_hard_way_is_judged_and_refused():
    assert "not a way to take" in told("--way", "80m,120m,180m", "--face", "modern")


def test_the_document_says_what_the_text_says():
    found = json.loads(told("--goal", "restain", "--face", "0.6mm", "--json"))
    assert found["schema"] == "grainassay.sand/1.0" and found["way"]["steps"][-1]["grit"] in ("P150", "P180")
    assert max(found["way"]["through"].values()) <= found["limit"] and found["way"]["reached"] >= 0.8
    assert json.loads(told("--goal", "level", "--json"))["way"] is None


def test_faces_as_people_give_them():
    assert face_of("modern", RULES, None) is RULES.faces["modern"]
    for text, low, high in (("0.6mm", 0.6, 0.6), ("0.5-0.7mm", 0.5, 0.7), ("1/42 in", 25.4 / 42, 25.4 / 42),
                            ("0.5 to 0.7 mm", 0.5, 0.7)):
        found = face_of(text, RULES, None)
        assert (found.low, found.high) == pytest.approx((low, high))
    assert face_of("0.6mm", RULES, "0.1mm").low == pytest.approx(0.5)


def test_ways_as_people_give_them():
    assert way_of("120m, P150x2h,180") == (Step(120, "machine", 1), Step(150, "hand", 2), Step(180, "hand", 1))


@pytest.mark.parametrize(("words", "says"), [
    (("--goal", "shine"), "shine"), ((), "a goal or a way"), (("--goal", "clear", "--way", "180"), "a goal or a way"),
    (("--way", "fine"), "no step"), (("--way", "77h"), "P77"), (("--way", ","), "no step"),
    (("--goal", "clear", "--face", "thick"), "thick"),
    (("--goal", "clear", "--earlier", "-1"), "earlier"), (("--goal", "clear", "--rules", "nowhere.toml"), "nowhere.toml"),
])
def test_bad_input_names_what_is_wrong(words, says):
    done = CliRunner().invoke(app, ["sand", *words])
    assert isinstance(done.exception, UsageError) and says in str(done.exception)


@pytest.mark.parametrize("text", ["x = 1", '[sources.a]\ntitle = "a"\nstatus = "common"\n[[grits]]\np = "fine"\nsource = "a"'])
def test_a_rules_file_that_lacks_something_is_refused_by_name(tmp_path, text):
    path = tmp_path / "mine.toml"
    path.write_text(text)
    done = CliRunner().invoke(app, ["sand", "--goal", "clear", "--rules", str(path)])
    assert isinstance(done.exception, UsageError) and "mine.toml" in str(done.exception)


def test_rules_of_the_users_own_change_the_answer(tmp_path):
    from importlib.resources import files

    text = files("service").joinpath("rules/sanding.toml").read_text()
    for p, hand in ((80, 40), (100, 30), (120, 22), (150, 15), (180, 10), (220, 7)):
        text = text.replace(f"hand_um = {hand}\n", f"hand_um = {hand / 10}\n")
        assert f"p = {p}\n" in text
    mine = tmp_path / "mine.toml"
    mine.write_text(text)
    way = ("--way", "120h", "--face", "0.1mm", "--json")
    usual, gentle = (json.loads(told(*way, *more))["way"]["through"]["arris"] for more in ((), ("--rules", str(mine))))
    assert gentle < usual

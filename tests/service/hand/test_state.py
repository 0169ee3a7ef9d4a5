"""Answers in their file: round trip, what is refused, and the command that keeps them."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from service.check import role_of, said
from service.cli import app
from service.contract import to_json as document_json
from service.hand.checks import rules
from service.hand.report import ESTIMATES
from service.hand.state import Answers, Told, parse, to_json
from tests.service.chest import chest_document
from vision.errors import UsageError

CHECKS = rules().checks
told = st.builds(Told, st.sampled_from(["top", "door"]), st.dictionaries(st.sampled_from(list(CHECKS)), st.just("cannot_say")))


def run(*words):
    return CliRunner().invoke(app, list(words))


words = st.text(min_size=1, max_size=5)


@given(st.dictionaries(words, told), st.dictionaries(words, words))
def test_what_is_written_is_read_back(parts, gate):
    answers = Answers(gate, parts)
    again = parse(json.dumps(to_json(answers)), "a.json")
    assert to_json(again) == to_json(answers)


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"schema": "grainassay.answers/1.0", "parts": {"top": {}}}',
                                  '{"schema": "grainassay.answers/1.0", "parts": {"top": {"role": "wing"}}}',
                                  '{"schema": "grainassay.answers/1.0", "parts": {"t": {"role": "top", "weighed": {"m": 1}}}}',
                                  '{"schema": "grainassay.answers/1.0", "parts": []}'])
def test_what_is_no_file_of_answers_is_refused_by_name(text):
    with pytest.raises(UsageError):
        parse(text, "a.json")


def test_without_a_photo_the_name_of_the_part_is_its_role():
    assert role_of(None, "drawer_front-2") == "drawer_front"
    with pytest.raises(UsageError, match="no part of furniture"):
        role_of(None, "lid")


def test_a_face_that_cannot_lie_on_a_core_is_refused():
    with pytest.raises(UsageError, match="does not lie on"):
        said(Answers(), None, "top", [], None, "solid_wood/particle_board")


def test_the_command_keeps_answers_and_says_what_moved_what(tmp_path):
    photo, kept = tmp_path / "chest.json", tmp_path / "answers.json"
    doc = chest_document(tmp_path)
    photo.write_text(document_json(doc))
    part = doc.parts[0].id
    words = ["check", part, "--assessment", str(photo), "--answers", str(kept)]
    first = run(*words, "--say", "hole=particles")
    assert first.exit_code == 0 and ESTIMATES in first.output and "A drilled hole" in first.output
    second = run(*words, "--say", "lifted_spot=wood_sheet", "--json")
    found = json.loads(second.output)
    assert [m["check"] for m in found["parts"][0]["moved"]] == ["hole", "lifted_spot"]
    assert found["parts"][0]["calibrated"] is False and found["parts"][0]["core"] == "particle_board"
    assert json.loads(kept.read_text())["parts"][part]["answers"] == {"hole": "particles", "lifted_spot": "wood_sheet"}


def test_confirmed_outranks_everything_and_asks_nothing_more():
    done = run("check", "top", "--confirmed", "veneer/plywood", "--say", "end_of_part=rings")
    assert "wood veneer on plywood, seen by hand" in done.output and "Next" not in done.output


@pytest.mark.parametrize(("words", "says"), [
    (["--say", "hole"], "is not a check with its answer"),
    (["--say", "hole=gold"], "is no answer"),
    (["--weighed", "5kg"], "no mass with sizes"),
    (["--weighed", "5kg, 3x4cm"], "has 2 numbers"),
    (["--assessment", "nowhere.json"], "cannot be read"),
])
def test_input_that_makes_no_sense(words, says):
    done = run("check", "top", *words)
    assert done.exit_code != 0 and says in str(done.exception)


def test_a_size_is_kept_and_the_plan_works_with_it(tmp_path):
    kept = str(tmp_path / "a.json")
    run("check", "top", "--size", "500x1200x18mm", "--confirmed", "printed/particle_board", "--answers", kept)
    found = json.loads(run("plan", "--answers", kept, "--goal", "paint", "--json").output)
    assert (found["parts"][0]["length_mm"], found["parts"][0]["width_mm"]) == (1200, 500) and found["hours"] > 0
    assert run("check", "top", "--size", "5mm").exit_code != 0


def test_weight_moves_a_verdict_but_never_settles_it():
    done = run("check", "top", "--weighed", "4.0kg, 1000x500x18mm, pine", "--json")
    part = json.loads(done.output)["parts"][0]
    assert part["face"] is None and part["core"] is None
    assert part["cores"]["lumber"]["middle"] > part["cores"]["fibreboard"]["middle"]

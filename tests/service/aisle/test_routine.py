"""The routine beside a piece: gate first, most told first, ends at the first deal-breaker, keeps to its time."""

import json
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from service.aisle.report import OVER, document, lines_of
from service.aisle.routine import GATE, MUST, PARTS, Routine
from service.cli import app
from service.contract import to_json as document_json
from service.hand.state import Answers, Told
from service.hand.worth import OVERHEAD
from tests.service.chest import chest_document
from vision.errors import UsageError

CLEAR = {q.key: "none" if q.answer("none") else q.answers[0].key for q in Routine().gate.rules.questions}
PASSED = Answers(gate=CLEAR)


def walked(routine, choose, answers=None, limit=80):
    """All questions put, answered by `choose`; (keys in order, where it ended)."""
    said, keys = dict(routine.flat(answers or Answers())), []
    for _ in range(limit):
        now = routine.now(routine.kept(said, routine.emptied(answers or Answers())))
        if now.following is None:
            return keys, now
        keys.append(now.following.key)
        said[now.following.key] = choose(now.following)
    raise AssertionError("it never ends")


def test_the_gate_comes_before_everything():
    keys, _ = walked(Routine(minutes=30), lambda q: CLEAR.get(q.key.partition("/")[2], q.answers[0].key))
    first = next(k for k, key in enumerate(keys) if not key.startswith(GATE + "/"))
    assert first == len(CLEAR) and all(not k.startswith(GATE + "/") for k in keys[first:])


def test_it_ends_at_the_first_thing_that_spoils_the_piece():
    keys, now = walked(Routine(), lambda q: "soot" if q.key == "gate/smoke" else CLEAR[q.key.partition("/")[2]])
    assert keys[-1] == "gate/smoke" and now.why_over == "broken" and now.breaker.part is None


def test_a_top_that_turns_out_printed_breaks_a_deal_for_restaining():
    routine = Routine(goal="restain", minutes=30, parts=["top", "back"])
    told = Told("top", {"face_look": "figure", "lifted_spot": "paper_or_plastic", "end_of_part": "particles",
                        "hole": "particles"})
    now = routine.now(Answers(CLEAR, {"top": told}))
    assert now.fused["top"].face == "printed" and now.breaker.part == "top" and "is refused" in now.breaker.words
    assert Routine(goal="paint", minutes=30, parts=["top"]).now(Answers(CLEAR, {"top": told})).breaker is None
    assert Routine(minutes=30, parts=["top"]).now(Answers(CLEAR, {"top": told})).breaker is None


def test_a_back_that_does_not_allow_the_goal_breaks_nothing():
    told = Told("back", confirmed=("printed", "fibreboard"))
    assert "back" not in MUST
    assert Routine(goal="restain", parts=["back"], minutes=30).now(Answers(CLEAR, {"back": told})).breaker is None


def test_a_face_of_unknown_thickness_is_no_deal_breaker():
    told = Told("top", confirmed=("veneer", "particle_board"))
    assert Routine(goal="restain", parts=["top"], minutes=30).now(Answers(CLEAR, {"top": told})).breaker is None


def test_the_next_check_is_the_one_that_tells_most_for_its_time_on_the_part_that_counts_most():
    now = Routine(minutes=30).now(PASSED)
    part, _, check = now.following.key.partition("/")
    assert part == "top" and check in ("face_look", "end_of_part", "hole") and now.following.bits > 0.5


def test_three_minutes_are_kept():
    for minutes in (1.0, 3.0, 5.0):
        routine = Routine(minutes=minutes)
        _, now = walked(routine, lambda q: CLEAR.get(q.key.partition("/")[2], q.answers[0].key))
        assert now.seconds <= minutes * 60
        longest = max([q.seconds for q in routine.gate.rules.questions]
                      + [c.seconds + OVERHEAD for c in routine.rules.checks.values()])
        assert now.why_over in OVER and (now.why_over != "time" or now.seconds + longest > minutes * 60)


def test_what_is_settled_is_not_asked_about():
    routine = Routine(minutes=60, parts=["top"])
    told = Told("top", {"end_of_part": "rings", "knot_through": "through"})
    now = routine.now(Answers(CLEAR, {"top": told}))
    assert now.following is None and now.why_over == "settled"


@given(st.integers(0, 10**6))
@settings(max_examples=15, deadline=None)
def test_whatever_is_answered_it_ends_and_asks_nothing_twice(seed):
    rng = random.Random(seed)
    keys, now = walked(Routine(minutes=12), lambda q: rng.choice([*(a.key for a in q.answers), "cannot_say"]))
    assert len(keys) == len(set(keys)) and now.why_over


def test_flat_answers_and_kept_ones_are_the_same():
    routine = Routine()
    answers = Answers({"smoke": "none"}, {"top": Told("top", {"hole": "wood"}, None, (None, "lumber"), (900.0, 400.0))})
    again = routine.kept(routine.flat(answers), routine.emptied(answers))
    assert again == answers and routine.emptied(answers).parts["top"].size == (900.0, 400.0)


def test_with_photos_it_asks_about_the_parts_that_show(tmp_path):
    doc = chest_document(tmp_path)
    routine = Routine(doc)
    assert set(routine.parts) <= {p.id for p in doc.parts} and len(routine.parts) <= 4
    assert document(routine, routine.now(PASSED))["parts"][0]["start"].startswith("photos")
    assert tuple(Routine().parts) == PARTS


def test_requests_that_make_no_sense():
    for bad in ({"goal": "polish"}, {"minutes": 0}, {"parts": ["lid"]}):
        with pytest.raises(UsageError):
            Routine(**bad)
    with pytest.raises(UsageError, match="no part that is asked about"):
        Routine().kept({"shelf/hole": "wood"})


def test_the_command_asks_keeps_and_takes_back(tmp_path):
    kept = tmp_path / "answers.json"
    photo = tmp_path / "chest.json"
    photo.write_text(document_json(chest_document(tmp_path)))
    done = CliRunner().invoke(app, ["aisle", "--ask", "--answers", str(kept)], input="n\nn\nu\nf\nq\n")
    assert done.exit_code == 0, done.output
    # Two answers, the second taken back; 'f' is no key of the question asked again, and q keeps what stands.
    assert json.loads(kept.read_text())["gate"] == {"unsafe_goods": "none"}
    said = CliRunner().invoke(app, ["aisle", "--no-ask", "--say", "gate/smoke=soot", "--json"])
    assert json.loads(said.output)["deal_breaker"]["part"] is None
    assert CliRunner().invoke(app, ["aisle", "--no-ask", "--say", "smoke"]).exit_code != 0


def test_what_is_printed_names_the_open_end_and_measuring():
    routine = Routine(minutes=30)
    lines = lines_of(routine, routine.now(PASSED))
    assert any(line.startswith("Before you leave: measure") for line in lines)
    broken = routine.now(Answers({**CLEAR, "smoke": "soot"}))
    assert not any(line.startswith("Before you leave") for line in lines_of(routine, broken))

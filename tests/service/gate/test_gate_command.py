"""The gate on the command line: what is said, what is asked, the file of answers, JSON, and input that makes no sense."""

import json

import pytest
import typer
from typer.testing import CliRunner

from service.gate_commands import gate
from service.hand.state import read_answers
from tests.service.gate.given import CLEAN, QUESTIONS
from vision.errors import UsageError

app = typer.Typer()
app.command()(gate)


def run(*words, typed=None):
    return CliRunner().invoke(app, list(words), input=typed)


def told(*words, typed=None):
    done = run(*words, typed=typed)
    assert done.exit_code == 0, done.output
    return done.output


def test_without_an_answer_nothing_is_known_and_the_first_question_follows():
    text = told()
    assert "nothing is known" in text and QUESTIONS[0].text in text and f"--say {QUESTIONS[0].key}=" in text


def test_what_is_said_is_judged_and_a_deal_breaker_ends_it():
    assert "treatable" in told("--say", "drawers=stick")
    text = told("--say", "drawers=stick", "--say", "bed_bugs=live")
    assert "walk away" in text and "Do not carry it home" in text and "Next:" not in text


def test_the_document_holds_the_verdict_and_what_comes_next():
    found = json.loads(told("--say", "mould=musty", "--json"))
    assert found["verdict"] == "quarantine" and found["next"]["key"] == QUESTIONS[0].key
    assert found["hours"]["least"] < found["hours"]["most"]


def test_asking_tells_at_once_what_an_answer_means_and_keeps_the_rest_when_stopped(tmp_path):
    file = tmp_path / "answers.json"
    text = told("--ask", "--answers", str(file), typed="n\nx\nt\nq\n")
    assert "No answer has that key" in text and "So far: discount." in text
    assert dict(read_answers(file).gate) == {"unsafe_goods": "none", "urine": "trace"}
    more = told("--ask", "--answers", str(file), typed="u\nn\nq\n")
    assert dict(read_answers(file).gate) == {"unsafe_goods": "none", "urine": "none"} and "nothing found so far" in more


def test_all_questions_can_be_gone_through_and_json_stays_json():
    letters = [next(a.letter for a in q.answers if a.key == CLEAN[q.key]) for q in QUESTIONS]
    done = CliRunner().invoke(app, ["--ask", "--json"], input="\n".join([*letters, "x"]) + "\n")
    found = json.loads(done.stdout)
    assert found["verdict"] == "clear_so_far" and not found["not_looked"] and found["next"] is None


def test_answers_of_parts_in_the_file_are_left_alone(tmp_path):
    file = tmp_path / "answers.json"
    file.write_text(json.dumps({"schema": "grainassay.answers/1.0", "gate": {"legs": "split"},
                                "parts": {"top": {"role": "top", "answers": {"hole": "wood"}}}}))
    told("--say", "legs=whole", "--answers", str(file))
    kept = read_answers(file)
    assert dict(kept.gate) == {"legs": "whole"} and dict(kept.parts["top"].answers) == {"hole": "wood"}


@pytest.mark.parametrize(("word", "says"), [("mould", "not a question with"), ("mould=purple", "no answer"),
                                            ("attic=yes", "no question")])
def test_what_makes_no_sense_is_named(word, says):
    done = run("--say", word)
    assert isinstance(done.exception, UsageError) and says in str(done.exception)

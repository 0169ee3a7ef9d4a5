"""Asking one by one: wrong keys, going back and stopping lose no answer; one key from a terminal."""

import io
import os
import sys
from threading import Event, Thread

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.gate.ask import BACK, LETTERS, NOT_LOOKED, QUIT, ask, key_reader, through
from service.hand import checks
from tests.service.gate.given import CLEAN, GATE, QUESTIONS

FIRST = QUESTIONS[0]


def typing(*keys):
    """A reader that types these, then nothing more."""
    left = list(keys)

    def read(prompt):
        if not left:
            raise EOFError
        return left.pop(0)

    return read


def asked(*keys, question=FIRST):
    lines = []
    return ask(question, typing(*keys), lines.append), lines


def rounds(*keys, answers=None, after=None):
    return through(GATE.next_question, answers or {}, typing(*keys), lambda line: None, after=after)


def letter(q, key):
    return next(a.letter for a in q.answers if a.key == key)


def test_one_key_is_one_answer():
    for a in FIRST.answers:
        assert asked(a.letter)[0] == asked(f" {a.letter.upper()}\n")[0] == asked(a.key)[0] == a.key
    for key, meaning in LETTERS.items():
        assert asked(key)[0] == meaning


def test_the_question_shows_how_to_look_and_every_key():
    said = "\n".join(asked("q")[1])
    assert FIRST.text in said and FIRST.how in said
    for mark in [*(f"{a.letter}  {a.words}" for a in FIRST.answers), *(f"{k}  " for k in LETTERS)]:
        assert mark in said


def test_a_wrong_key_is_told_and_asked_again():
    answer, lines = asked("", "zz", "9", "n")
    assert answer == "none" and sum("No answer has that key" in line for line in lines) == 3


def test_the_end_of_typing_and_an_interruption_stop():
    def interrupted(prompt):
        raise KeyboardInterrupt

    assert asked()[0] == QUIT and ask(FIRST, interrupted, lambda line: None) == QUIT


@settings(max_examples=80, deadline=None)
@given(st.data())
def test_wrong_keys_never_lose_answers(data):
    wrong = st.lists(st.text(max_size=3).filter(lambda t: t.strip().casefold() not in KNOWN), max_size=3)
    typed, plain = [], []
    for q in QUESTIONS:
        key = data.draw(st.sampled_from([a.letter for a in q.answers if not a.leads_to or a.leads_to.verdict != "walk_away"]))
        typed += [*data.draw(wrong), key]
        plain.append(key)
    assert rounds(*typed) == rounds(*plain) and len(rounds(*plain).answers) == len(QUESTIONS)


KNOWN = {*LETTERS, *(x for q in QUESTIONS for a in q.answers for x in (a.letter, a.key))}


@settings(max_examples=80, deadline=None)
@given(st.lists(st.sampled_from(["clean", "?", "-", "u"]), max_size=25))
def test_going_back_takes_exactly_the_last_answer_back(presses):
    said, keys = [], []
    for press in presses:
        if press == "u":
            said = said[:-1]
        elif len(said) < len(QUESTIONS):
            q = QUESTIONS[len(said)]
            said.append((q.key, CLEAN[q.key] if press == "clean" else LETTERS[press]))
            press = letter(q, CLEAN[q.key]) if press == "clean" else press
        else:
            break
        keys.append(press)
    assert list(rounds(*keys).answers.items()) == said


def test_stopping_keeps_what_was_said_and_going_on_begins_there():
    begun = rounds("n", "n", "q")
    assert dict(begun.answers) == {q.key: "none" for q in QUESTIONS[:2]} and not begun.finished
    more = rounds("n", answers=begun.answers)
    assert list(more.answers) == [q.key for q in QUESTIONS[:3]]
    assert list(rounds("u", answers=begun.answers).answers) == [QUESTIONS[0].key]


def test_a_deal_breaker_ends_the_round_and_can_be_taken_back():
    ended = rounds("r")
    assert dict(ended.answers) == {"unsafe_goods": "recalled"} and ended.finished
    assert dict(rounds("r", "x").answers) == {"unsafe_goods": "recalled"}
    mended = rounds("r", "u", "n", "q")
    assert dict(mended.answers) == {"unsafe_goods": "none"} and not mended.finished


def test_what_an_answer_changes_is_shown_at_once():
    seen = []
    rounds("n", "-", "q", after=lambda said: seen.append(dict(said)) or [])
    assert seen == [{"unsafe_goods": "none"}, {"unsafe_goods": "none", "urine": NOT_LOOKED}]


def test_hand_checks_are_asked_the_same_way():
    check = next(iter(checks.rules().checks.values()))
    assert asked(check.answers[1].letter, question=check)[0] == check.answers[1].key


def test_a_question_that_comes_again_is_a_mistake():
    with pytest.raises(ValueError, match="asked again"):
        through(lambda said: FIRST, {}, typing("n", "n"), lambda line: None)
    with pytest.raises(ValueError, match="letters"):
        ask(Doubled, typing("n"), lambda line: None)


class Doubled:
    key, text, how = "doubled", "", ""
    answers = (FIRST.answers[0], FIRST.answers[0])


@pytest.fixture
def terminal(monkeypatch):
    """A terminal as standard input; calling it presses keys as soon as single keys are listened to."""
    pty, termios = pytest.importorskip("pty"), pytest.importorskip("termios")
    hand, screen = pty.openpty()

    def press(keys):
        def wait():
            while termios.tcgetattr(screen)[3] & termios.ICANON:
                pause.wait(0.002)
            os.write(hand, keys)

        Thread(target=wait, daemon=True).start()

    pause = Event()
    with os.fdopen(screen, "r", closefd=False) as stream:
        monkeypatch.setattr(sys, "stdin", stream)
        before = termios.tcgetattr(screen)
        yield press
        assert termios.tcgetattr(screen) == before, "the terminal is left as it was found"
    os.close(hand)
    os.close(screen)


def test_a_terminal_gives_one_key_without_enter(terminal, capsys):
    read = key_reader()
    terminal(b"n")
    assert read("> ") == "n"
    terminal("üu".encode())
    assert [read("> "), read("> ")] == ["ü", "u"], "keys typed ahead are kept"
    assert capsys.readouterr().out.startswith("> n\n")


def test_an_arrow_key_is_one_wrong_key_and_the_end_is_the_end(terminal):
    read = key_reader()
    terminal(b"\x1b[A")
    assert read("> ") == "\x1b[A"
    terminal(b"\x04")
    with pytest.raises(EOFError):
        read("> ")


def test_without_a_terminal_lines_are_read(monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.StringIO("n\n"))
    shown = io.StringIO()
    read = key_reader(shown)
    assert read("> ").strip() == "n" and shown.getvalue() == "> "
    with pytest.raises(EOFError):
        read("> ")


def test_back_is_no_answer():
    assert asked("u")[0] == BACK
    assert not rounds("u", "q").answers

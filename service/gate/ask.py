"""Questions put one by one, one key an answer: wrong keys, going back and stopping early lose nothing.

Whatever has a key, a text, a how and answers with letters can be asked: questions of the gate and checks by hand alike.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Protocol, TextIO

#: Answers that are always possible and clear nothing.
CANNOT_SAY, NOT_LOOKED = "cannot_say", "not_looked"
#: What `ask` returns instead of an answer.
BACK, QUIT = "back", "quit"
OPEN: Mapping[str, str] = MappingProxyType({CANNOT_SAY: "cannot tell", NOT_LOOKED: "not looked"})
#: Letters that mean the same under every question.
LETTERS: Mapping[str, str] = MappingProxyType({"?": CANNOT_SAY, "-": NOT_LOOKED, "u": BACK, "q": QUIT})
ALWAYS = "?  cannot tell    -  not looked    u  back one    q  stop here"

Read = Callable[[str], str]
Write = Callable[[str], object]


class Choice(Protocol):
    """An answer: its key, the letter pressed for it, its words."""

    @property
    def key(self) -> str: ...
    @property
    def letter(self) -> str: ...
    @property
    def words(self) -> str: ...


class Asked(Protocol):
    """A question as it is put: short text, how to look, answers."""

    @property
    def key(self) -> str: ...
    @property
    def text(self) -> str: ...
    @property
    def how(self) -> str: ...
    @property
    def answers(self) -> Sequence[Choice]: ...


@dataclass(frozen=True)
class Said:
    """What came of it. `answers`: question -> answer in the order given; `finished`: no question was left."""

    answers: Mapping[str, str]
    finished: bool


def letters_hold(answers: Sequence[Choice]) -> bool:
    """Whether every answer has a letter of its own that means nothing else, and a key of its own."""
    letters, keys = [a.letter for a in answers], [a.key for a in answers]
    single = all(len(x) == 1 and x.isalnum() and x == x.casefold() and x not in LETTERS for x in letters)
    return bool(answers) and single and len(set(letters)) == len(letters) and len(set(keys)) == len(keys) \
        and not set(keys) & {CANNOT_SAY, NOT_LOOKED, BACK, QUIT}


def lines_of(question: Asked) -> list[str]:
    """A question as it is printed."""
    return ["", question.text, f"  {question.how}", *(f"    {a.letter}  {a.words}" for a in question.answers), f"    {ALWAYS}"]


def ask(question: Asked, read: Read, write: Write) -> str:
    """The key of the answer, or CANNOT_SAY, NOT_LOOKED, BACK or QUIT.

    `read` takes a prompt and returns what was typed (one key or a line; `input` will do), `write` prints a line. Anything that is
    no answer is said to be so and asked again. The end of what can be read means QUIT.

    Raises
    ------
    ValueError
        if the letters of the answers are not one each, or are taken.
    """
    if not letters_hold(question.answers):
        raise ValueError(f"{question.key}: letters or keys of its answers are not one each, or taken")
    known = {**LETTERS, **{a.letter: a.key for a in question.answers}, **{a.key: a.key for a in question.answers}}
    for line in lines_of(question):
        write(line)
    while True:
        try:
            typed = read("  > ").strip().casefold()
        except (EOFError, KeyboardInterrupt):
            return QUIT
        if typed in known:
            return known[typed]
        letters = ", ".join([a.letter for a in question.answers] + list(LETTERS))
        write(f"  No answer has that key. Press one of: {letters}")


def through(following: Callable[[Mapping[str, str]], Asked | None], answers: Mapping[str, str], read: Read, write: Write, *,
            after: Callable[[Mapping[str, str]], Iterable[str]] | None = None) -> Said:
    """Ask until `following` (answers so far -> next question) has none left or the user stops.

    `answers`: those given before, kept and open to be taken back. `after`: lines to print after each answer. When no question is
    left, the last answer can still be taken back, so that one wrong press does not end the round.
    """
    given = dict(answers)
    while True:
        question = following(given)
        if question is None:
            if not given or not _taken_back(read, write):
                return Said(MappingProxyType(given), True)
            given.popitem()
            continue
        if question.key in given:
            raise ValueError(f"{question.key} is answered and asked again")
        answer = ask(question, read, write)
        if answer == QUIT:
            return Said(MappingProxyType(given), False)
        if answer == BACK:
            if given:
                given.popitem()
            else:
                write("  This is the first question.")
            continue
        given[question.key] = answer
        for line in after(given) if after is not None else ():
            write(line)


def _taken_back(read: Read, write: Write) -> bool:
    write("")
    write("No question is left. Press u to take the last answer back, any other key to end.")
    try:
        return LETTERS.get(read("  > ").strip().casefold()) == BACK
    except (EOFError, KeyboardInterrupt):
        return False


def key_reader(shown: TextIO | None = None) -> Read:
    """Reads one key without Enter where standard input is a terminal that can do so, else a line; prompts go to `shown` (usual:
    standard output)."""
    waiting: list[str] = []

    def show(text: str) -> None:
        out = sys.stdout if shown is None else shown
        out.write(text)
        out.flush()

    def line(prompt: str) -> str:
        show(prompt)
        typed = sys.stdin.readline()
        if not typed:
            raise EOFError
        return typed

    try:
        import termios
        import tty
    except ImportError:
        return line
    if not sys.stdin.isatty():
        return line

    def one(prompt: str) -> str:
        show(prompt)
        handle = sys.stdin.fileno()
        before = termios.tcgetattr(handle)
        try:
            tty.setcbreak(handle, termios.TCSADRAIN)
            while not waiting:
                typed = os.read(handle, 64).decode("utf-8", errors="replace")
                if not typed or typed == "\x04":
                    raise EOFError
                # An arrow key comes as several characters beginning with escape: one wrong key, not three.
                waiting.extend([typed] if typed.startswith("\x1b") else typed)
        finally:
            termios.tcsetattr(handle, termios.TCSADRAIN, before)
        key = waiting.pop(0)
        show((key if key.isprintable() else "") + "\n")
        return key

    return one

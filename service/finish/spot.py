"""Spot tests of an old finish: which comes next, and what the answers so far mean, from service/rules/old_finish.toml."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from service.hand.checks import CANNOT_SAY, NOT_LOOKED
from service.plan.products import products
from service.plan.types import OLD_FINISHES
from service.rulebook import BrokenRules, Rulebook, Source, rulebook
from vision.errors import UsageError

MEND = "Mend the file, or install the program again."
#: A blend: alcohol softened it and lacquer thinner dissolved it.
BLEND = "Alcohol softened it and lacquer thinner took it: a blend of shellac and lacquer behaves so."


@dataclass(frozen=True)
class Answer:
    """`means`: key of OLD_FINISHES that it ends with, or None; `note`: what to know."""

    key: str
    letter: str
    words: str
    means: str | None
    note: str


@dataclass(frozen=True)
class SpotTest:
    """One test. `product`: kind of the reagent."""

    key: str
    product: str
    text: str
    how: str
    seconds: float
    answers: tuple[Answer, ...]
    source: Source


@dataclass(frozen=True)
class Rules:
    """All of the file."""

    tests: tuple[SpotTest, ...]
    only_finish: str
    cautions: tuple[str, ...]
    sources: tuple[Source, ...]


@dataclass(frozen=True)
class Conclusion:
    """`finish`: key of OLD_FINISHES, "unknown" where it cannot be told; `wax`: whether wax lies on top, None: not tested;
    `notes`: what to know; `following`: the test to make next, None where nothing more is gained."""

    finish: str
    wax: bool | None
    notes: tuple[str, ...]
    following: SpotTest | None

    @property
    def told(self) -> bool:
        """Whether the finish is known."""
        return self.finish != "unknown"


def _test(book: Rulebook, row: Mapping[str, Any]) -> SpotTest:
    answers = tuple(Answer(a["key"], a["letter"], a["words"], a.get("means"), a.get("note", "")) for a in row["answers"])
    if row["product"] not in products().kinds or any(a.means not in (None, *OLD_FINISHES) for a in answers):
        raise BrokenRules(book.name, f"test {row['key']!r} names an unknown product or finish.", MEND)
    if len({a.letter for a in answers}) != len(answers):
        raise BrokenRules(book.name, f"test {row['key']!r}: letters of answers are not one each.", MEND)
    return SpotTest(row["key"], row["product"], row["text"], row["how"], float(row["seconds"]), answers, book.source(row))


def read(book: Rulebook | None = None) -> Rules:
    """The rules of a file, checked.

    Raises
    ------
    BrokenRules
        where something is missing or unknown.
    """
    book = rulebook("old_finish") if book is None else book
    try:
        finish = book.tables["finish"]
        return Rules(tuple(_test(book, r) for r in book.tables["tests"]), finish["only_finish"], tuple(finish["cautions"]),
                     tuple(book.sources.values()))
    except (KeyError, TypeError, ValueError) as err:
        raise BrokenRules(book.name, f"something is missing or of the wrong kind ({type(err).__name__}: {err}).", MEND) from err


@lru_cache(maxsize=1)
def rules() -> Rules:
    """The packaged rules."""
    return read()


def concluded(answers: Mapping[str, str], book: Rules | None = None) -> Conclusion:
    """What the answers mean and which test comes next, mildest first. "cannot_say" and "not_looked" conclude nothing: nothing
    may be read out of a test that was not made.

    Raises
    ------
    UsageError
        for a test or an answer that is not known.
    """
    book = book or rules()
    by_key = {t.key: t for t in book.tests}
    for key, answer in answers.items():
        if key not in by_key:
            raise UsageError(key, "is no spot test.", "Tests are: " + ", ".join(by_key) + ".")
        known = [a.key for a in by_key[key].answers]
        if answer not in (*known, CANNOT_SAY, NOT_LOOKED):
            raise UsageError(key, f"{answer!r} is no answer to it.", "Answers are: " + ", ".join([*known, CANNOT_SAY]) + ".")
    notes: list[str] = []
    finish, sure = "unknown", True
    for test in book.tests:
        given = next((a for a in test.answers if a.key == answers.get(test.key)), None)
        if given is None:
            if test.key in answers and test.key != "mineral_spirits":
                sure = False
            continue
        if given.note and not (given.means == "reactive" and answers.get("alcohol") == "softens"):
            notes.append(given.note)
        if given.means is not None:
            # A strong solvent dissolves shellac too: its answer counts only after the milder one has been seen to fail.
            # Something that alcohol softens is no finish that nothing touches: what it is then cannot be told.
            sure = sure and not (given.means == "reactive" and answers.get("alcohol") == "softens")
            finish = given.means if sure and all(t.key in answers for t in book.tests[1 : book.tests.index(test)]) else "unknown"
            break
    if finish == "lacquer_or_waterborne" and answers.get("alcohol") == "softens":
        notes.append(BLEND)
    wax = {"wax_lifts": True, "nothing": False}.get(answers.get("mineral_spirits", ""))
    following = None if finish != "unknown" else next((t for t in book.tests if t.key not in answers), None)
    return Conclusion(finish, wax, tuple(notes), following)


def document(found: Conclusion, answers: Mapping[str, str], book: Rules | None = None) -> dict[str, Any]:
    """JSON types."""
    book = book or rules()
    test = found.following
    return {
        "schema": "grainassay.finish/1.0", "answers": dict(answers), "finish": found.finish, "words": OLD_FINISHES[found.finish],
        "told": found.told, "wax_on_top": found.wax, "notes": list(found.notes), "only_finish": book.only_finish,
        "next": None if test is None else {
            "key": test.key, "text": test.text, "how": test.how, "seconds": test.seconds,
            "answers": [{"key": a.key, "letter": a.letter, "words": a.words} for a in test.answers]},
        "cautions": list(book.cautions), "sources": [{"title": s.title, "status": s.status} for s in book.sources],
    }


def lines_of(found: Conclusion, book: Rules | None = None) -> list[str]:
    """What is printed: cautions first."""
    book = book or rules()
    lines = [*book.cautions, ""]
    if found.told:
        lines.append(f"The old finish: {OLD_FINISHES[found.finish]}.")
    else:
        lines.append("The old finish: cannot tell" + (" yet." if found.following is not None else "."))
    lines += [f"  {n}" for n in found.notes]
    if found.following is not None:
        t = found.following
        lines += ["", f"Next: {t.text}. {t.how}", *(f"    --say {t.key}={a.key:<14}{a.words}" for a in t.answers)]
    return [*lines, "", book.only_finish, "Rests on:", *(f"  {s.words}" for s in book.sources)]

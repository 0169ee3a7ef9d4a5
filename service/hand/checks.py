"""The checks by hand as types, from hand_checks.toml and hand_hints.toml in service/rules, and what an answer says of each
substrate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.rulebook import BrokenRules, Rulebook, Source, rulebook
from vision import registry

Array = NDArray[np.float64]
SUBSTRATES = tuple(registry.SUBSTRATES)
#: Answers that are always possible and move nothing.
CANNOT_SAY, NOT_LOOKED = "cannot_say", "not_looked"
MEND = "Mend the file, or install the program again."


@dataclass(frozen=True)
class Answer:
    """`letter`: the key pressed for it."""

    key: str
    letter: str
    words: str


@dataclass(frozen=True)
class Check:
    """Something to look at or touch. `seconds`: what it takes; `group`: checks of one group are about the same thing;
    `decisive`: may decide alone; `roles`: parts it is made on; `photo_cues`: cues of a photo verdict that show the same;
    `table`: (substrates, answers) chance of each answer, rows in the order of SUBSTRATES and adding up to 1; `source`: of what
    it means."""

    key: str
    text: str
    how: str
    seconds: float
    group: str
    decisive: bool
    roles: tuple[str, ...]
    photo_cues: tuple[str, ...]
    answers: tuple[Answer, ...]
    table: Array
    source: Source

    def column(self, answer: str) -> Array:
        """(substrates,) natural logarithm of the chance of an answer, its mean over substrates taken off."""
        keys = [a.key for a in self.answers]
        logs = np.log(self.table[:, keys.index(answer)])
        return np.asarray(logs - logs.mean())


@dataclass(frozen=True)
class Rules:
    """All of the file. `checks` by key; the rest as explained there."""

    checks: Mapping[str, Check]
    most: float
    within_group: float
    seen_on_photo: float
    doubt_each: float
    doubt_all: float
    doubt_decisive: float
    named: float
    ruled_out: float
    against_photo: float
    odds_source: Source


def _table(name: str, key: str, odds: Mapping[str, list[float]], answers: int) -> Array:
    rows = []
    for substrate in SUBSTRATES:
        found = [v for pattern, v in odds.items() if pattern == substrate]
        found += [v for pattern, v in odds.items() if pattern != substrate and fnmatchcase(substrate, pattern)]
        if not found:
            raise BrokenRules(name, f"check {key!r} says nothing of {substrate}.", MEND)
        row = np.array(found[0], dtype=np.float64)
        if len(row) != answers or not np.all(row > 0) or abs(row.sum() - 100) > 0.5:
            cause = f"check {key!r}, {substrate}: {answers} numbers above zero that add up to 100 are needed."
            raise BrokenRules(name, cause, MEND)
        rows.append(row / row.sum())
    return np.stack(rows)


def _check(book: Rulebook, row: Mapping[str, Any], most: float) -> Check:
    answers = tuple(Answer(*a) for a in row["answers"])
    table = _table(book.name, row["key"], row["odds"], len(answers))
    if not row["decisive"]:
        strongest = float((table.max(axis=0) / table.min(axis=0)).max())
        if strongest > most * (1 + 1e-9):
            cause = f"check {row['key']!r} is not decisive, yet favours one material {strongest:.0f} to 1."
            raise BrokenRules(book.name, cause, MEND)
    if unknown := (set(row["roles"]) - set(registry.ROLES)) | (set(row["photo_cues"]) - set(registry.CUES)):
        raise BrokenRules(book.name, f"check {row['key']!r} names unknown roles or cues: {sorted(unknown)}.", MEND)
    if len({a.letter for a in answers}) != len(answers) or any(a.letter in "?qu" for a in answers):
        raise BrokenRules(book.name, f"check {row['key']!r}: letters of answers are not one each, or taken (?, q, u).", MEND)
    return Check(row["key"], row["text"], row["how"], float(row["seconds"]), row["group"], bool(row["decisive"]),
                 tuple(row["roles"]), tuple(row["photo_cues"]), answers, table, book.source(row))


def read(book: Rulebook | None = None, hints: Rulebook | None = None) -> Rules:
    """The rules of both files, checked.

    Raises
    ------
    BrokenRules
        where something is missing, numbers do not add up, or a check that is not decisive is made one by its numbers.
    """
    book = rulebook("hand_checks") if book is None else book
    hints = rulebook("hand_hints") if hints is None else hints
    t = book.tables
    try:
        checks = {r["key"]: _check(b, r, float(t["most"])) for b in (book, hints) for r in b.tables["checks"]}
        depends, doubt, call = t["dependence"], t["doubt"], t["call"]
        return Rules(checks, float(t["most"]), float(depends["within_group"]), float(depends["seen_on_photo"]),
                     float(doubt["each"]), float(doubt["all"]), float(doubt["decisive"]), float(call["named"]),
                     float(call["ruled_out"]), float(call["against_photo"]), book.sources["odds"])
    except (KeyError, TypeError, ValueError) as err:
        raise BrokenRules(book.name, f"something is missing or of the wrong kind ({type(err).__name__}: {err}).", MEND) from err


@lru_cache(maxsize=1)
def rules() -> Rules:
    """The packaged rules."""
    return read()

"""The gate's questions as types, from service/rules/gate.toml, checked when they are first read."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from service.deal.inputs import Three
from service.gate.ask import letters_hold
from service.plan.types import HAZARDS
from service.rulebook import BrokenRules, Rulebook, Source, rulebook

#: From best to worst; what an answer leads to is one of them, GO_ON where nothing was found.
VERDICTS: Mapping[str, str] = {
    "clear_so_far": "nothing found so far",
    "treatable": "treatable: count the work in",
    "discount": "discount: it will not come out whole, so it is worth less",
    "quarantine": "quarantine: keep it apart and pay nothing until that is settled",
    "walk_away": "walk away: no talk of money",
}
#: Place in VERDICTS, 0 the best.
RANK = {verdict: n for n, verdict in enumerate(VERDICTS)}
GO_ON = "go_on"
#: Where to look; each has a drawing.
PLACES = ("label", "inside", "back", "rims", "joints", "underside", "base", "legs", "top_corner", "drawer_runner")
NOTHING: Three = (0.0, 0.0, 0.0)
WHOLE: Three = (1.0, 1.0, 1.0)
MEND = "Mend the file, or install the program again."


@dataclass(frozen=True)
class Consequence:
    """What an answer leads to. `verdict`: key of VERDICTS; `reason`: why; `do`: what to do, with its safety; `hours`,
    `materials`: added, `share`: of the usual sale price that is left, each (least, likeliest, most); `work`: consequences of the
    same work are done once; `products`: kinds of products; `hazards`: keys of HAZARDS."""

    verdict: str
    reason: str
    do: str
    hours: Three
    materials: Three
    share: Three
    work: str
    products: tuple[str, ...]
    hazards: tuple[str, ...]
    sources: tuple[Source, ...]


@dataclass(frozen=True)
class Answer:
    """`letter`: the key pressed for it; `leads_to`: None where nothing was found there."""

    key: str
    letter: str
    words: str
    leads_to: Consequence | None

    @property
    def rank(self) -> int:
        """Place in VERDICTS."""
        return 0 if self.leads_to is None else RANK[self.leads_to.verdict]


@dataclass(frozen=True)
class Question:
    """`how`: to look or smell; `place`: one of PLACES; `seconds`: what it takes; `harms`: what it finds can harm people or follow
    the piece home."""

    key: str
    text: str
    how: str
    place: str
    seconds: float
    harms: bool
    answers: tuple[Answer, ...]
    source: Source

    @property
    def name(self) -> str:
        """One or two words for it."""
        return self.key.replace("_", " ")

    def answer(self, key: str) -> Answer | None:
        """The answer with that key; None for cannot tell and not looked, and for what is no answer."""
        return next((a for a in self.answers if a.key == key), None)

    @property
    def worst(self) -> int:
        """Place in VERDICTS of its worst answer."""
        return max(a.rank for a in self.answers)


@dataclass(frozen=True)
class Rules:
    """All of the file. `currency`: of `materials`; `numbers`: where all hours, materials and shares come from."""

    questions: tuple[Question, ...]
    currency: str
    numbers: Source


def _three(row: Mapping[str, Any], name: str, default: Three, top: float = math.inf) -> Three:
    low, likeliest, high = (float(v) for v in row.get(name, default))
    if not 0 <= low <= likeliest <= high <= top or not math.isfinite(high):
        raise ValueError(f"{name} are not least, likeliest, most")
    return low, likeliest, high


def _consequence(book: Rulebook, question: str, verdict: str, row: Mapping[str, Any]) -> Consequence:
    adds = row.get("adds", {})
    if unknown := set(adds) - {"hours", "materials", "share"}:
        raise ValueError(f"adds {sorted(unknown)}")
    if (verdict == "walk_away") == bool(adds):
        raise ValueError(f"{verdict} must say what it adds, and only a walk away adds nothing")
    if (verdict == "discount") and "share" not in adds:
        raise ValueError("a discount without the share of the price that is left")
    if unknown := set(row.get("hazards", ())) - set(HAZARDS):
        raise ValueError(f"unknown hazards {sorted(unknown)}")
    named = [row["source"], *(v for k, v in row.items() if k.endswith("_source"))]
    return Consequence(verdict, row["reason"], row["do"], _three(adds, "hours", NOTHING), _three(adds, "materials", NOTHING),
                       _three(adds, "share", WHOLE, 1.0), row.get("work", question), tuple(row.get("products", ())),
                       tuple(row.get("hazards", ())), tuple(book.sources[k] for k in named))


def _question(book: Rulebook, row: Mapping[str, Any]) -> Question:
    key, outcomes = row["key"], row["outcomes"]
    answers = []
    for name, letter, words, verdict in row["answers"]:
        if verdict != GO_ON and verdict not in list(VERDICTS)[1:]:
            raise ValueError(f"{key}: {name} leads to {verdict!r}")
        found = None if verdict == GO_ON else _consequence(book, key, verdict, outcomes[name])
        answers.append(Answer(name, letter, words, found))
    if set(outcomes) != {a.key for a in answers if a.leads_to is not None}:
        raise ValueError(f"{key}: outcomes and answers that lead to something are not the same")
    look = row["look"]
    question = Question(key, row["text"], row["how"], look["place"], float(look["seconds"]), bool(look["harms"]), tuple(answers),
                        book.source(row))
    if not letters_hold(answers):
        raise ValueError(f"{key}: letters of answers are not one each, or taken (?, -, q, u)")
    if question.place not in PLACES or not question.seconds > 0:
        raise ValueError(f"{key}: unknown place {question.place!r}, or no seconds")
    return question


def read(book: Rulebook | None = None) -> Rules:
    """The rules of a file, checked.

    Raises
    ------
    BrokenRules
        where something is missing, a question comes in the wrong place, or an answer leads nowhere.
    """
    book = rulebook("gate") if book is None else book
    try:
        questions = tuple(_question(book, row) for row in book.tables["questions"])
        found = Rules(questions, str(book.tables["currency"]), book.sources[book.tables["numbers_source"]])
    except (KeyError, TypeError, ValueError) as err:
        raise BrokenRules(book.name, f"something is missing or of the wrong kind ({type(err).__name__}: {err}).", MEND) from err
    if len({q.key for q in questions}) != len(questions):
        raise BrokenRules(book.name, "two questions have the same key.", MEND)
    places = [(not q.harms, q.seconds) for q in questions]
    if places != sorted(places):
        raise BrokenRules(book.name, "questions come out of order: what harms first, then the quickest first.", MEND)
    return found


@lru_cache(maxsize=1)
def rules() -> Rules:
    """The packaged rules."""
    return read()

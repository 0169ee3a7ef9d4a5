"""Which goals a part allows: what refuses a goal and why, and what must hold for one that is not refused.

A part whose face cannot be told is planned for every face that is left: a goal is open to it only where none of them refuses
it. Damage counts once a hand has seen it; what a photo points at becomes a condition.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from service.plan.types import GOALS, Refusal, Subject
from service.rulebook import BrokenRules, Rulebook, Source, rulebook
from service.sanding.budget import Bench, Outlook, safest
from service.sanding.rules import Face
from service.sanding.rules import read as sanding_rules
from service.words import class_words, listing
from vision import registry

MEND = "Mend the file, or install the program again."
FLAGS = ("patched", "sanded_through", "printed_graining", "bonded")
#: Goals for which a face is sanded, and the goal of service/rules/sanding.toml that it must stand.
SANDED = {"restain": "restain", "clear": "clear"}
DAMAGE_WORDS = {k: text.rstrip(".").split(":")[0].lower() for k, text in registry.DETAILS["damage"].items()}
#: What a photo points at moves no route; a hand does.
POINTED = Source("pointed", "Damage found on photos is measured on drawn panels only", "estimate")


@dataclass(frozen=True)
class Row:
    """One row of routes.toml. `flags`: property of a Subject -> value it must have; empty conditions always hold."""

    goals: tuple[str, ...]
    faces: tuple[str, ...]
    text: str
    source: Source
    flags: Mapping[str, bool]
    damage: tuple[str, ...] = ()
    levels: tuple[str, ...] = ()
    cores: tuple[str, ...] = ()

    def holds(self, subject: Subject, goal: str, face: str) -> bool:
        """Whether it speaks of this goal on this part, were its face `face`."""
        return (
            goal in self.goals and face in self.faces
            and all(getattr(subject, name) is value for name, value in self.flags.items())
            and (not self.damage or any(d.sure and d.kind in self.damage and (not self.levels or d.level in self.levels)
                                        for d in subject.damage))
            and (not self.cores or bool(set(self.cores) & set(subject.cores)))
        )


def _row(book: Rulebook, row: Mapping[str, Any], text: str) -> Row:
    known = {"goals": GOALS, "faces": registry.FACES, "cores": registry.CORES, "levels": registry.LEVELS,
             "damage": registry.DETAILS["damage"]}
    for name, keys in known.items():
        if unknown := set(row.get(name, ())) - set(keys):
            raise BrokenRules(book.name, f"names unknown {name}: {', '.join(sorted(unknown))}.", MEND)
    if extra := set(row) - set(known) - set(FLAGS) - {text, "source"}:
        raise BrokenRules(book.name, f"has unknown conditions: {', '.join(sorted(extra))}.", MEND)
    return Row(tuple(row["goals"]), tuple(row["faces"]), row[text], book.source(row),
               {f: bool(row[f]) for f in FLAGS if f in row},
               tuple(row.get("damage", ())), tuple(row.get("levels", ())), tuple(row.get("cores", ())))


@dataclass(frozen=True)
class Routes:
    """Both lists of the file."""

    refused: tuple[Row, ...]
    needs: tuple[Row, ...]


def read(book: Rulebook | None = None) -> Routes:
    """The rules of a file, checked.

    Raises
    ------
    BrokenRules
        where something is missing or unknown.
    """
    book = rulebook("routes") if book is None else book
    try:
        return Routes(tuple(_row(book, r, "reason") for r in book.tables["refused"]),
                      tuple(_row(book, r, "text") for r in book.tables["needs"]))
    except (KeyError, TypeError) as err:
        raise BrokenRules(book.name, f"something is missing or of the wrong kind ({type(err).__name__}: {err}).", MEND) from err


@lru_cache(maxsize=1)
def routes() -> Routes:
    """The packaged rules."""
    return read()


@lru_cache(maxsize=256)
def _budget(low: float, high: float, words: str, earlier: int, patched: bool, goal: str) -> Outlook | None:
    book = sanding_rules()
    return safest(Bench(book, Face(words, low, high), earlier=earlier, patched=patched), book.goals[goal])


def sanding(subject: Subject, goal: str) -> Outlook | None:
    """The gentlest way to a sanding goal on the part taken as veneer; None where every way is too risky. An unknown face is
    taken as thin."""
    book = sanding_rules()
    known = book.faces.get(subject.face_kind, book.faces["unknown"])
    low, high = subject.face_mm if subject.face_mm is not None else (known.low, known.high)
    return _budget(low, high, known.words, subject.earlier, subject.patched or subject.has("chip", "worn_through"), goal)


def why_not(subject: Subject, goal: str, face: str, book: Routes | None = None) -> Refusal | None:
    """What refuses a goal on this part, were its face `face`; None where nothing does."""
    for row in (book or routes()).refused:
        if row.holds(subject, goal, face):
            return Refusal(goal, row.text, (row.source,))
    if face == "veneer" and goal in SANDED:
        known = rulebook("sanding").sources
        if subject.has("worn_through"):
            return Refusal(goal, "The face is worn through, or nearly: sanding would finish it.", (known["edges"],))
        if sanding(subject, SANDED[goal]) is None:
            thin = "as measured" if subject.face_mm else sanding_rules().faces[subject.face_kind].words
            reason = (f"The face would not survive the sanding ({thin}): every way that reaches bare, even wood goes through it "
                      "too often, at corners first. Measure the face at a chip or an edge; a thicker one may allow it.")
            return Refusal(goal, reason, (known["edges"], known["removal"]))
    return None


def refusal(subject: Subject, goal: str, book: Routes | None = None) -> Refusal | None:
    """Whether and why a goal is refused on a part, over all faces that are left."""
    reasons = {f: r for f in subject.faces if (r := why_not(subject, goal, f, book)) is not None}
    if not reasons:
        return None
    if len(subject.faces) == 1:
        return next(iter(reasons.values()))
    first = next(iter(reasons.values()))
    which = listing([class_words(f) for f in reasons])
    if len(reasons) == len(subject.faces):
        return Refusal(goal, f"Whatever it is ({which}): {first.reason}", first.sources)
    return Refusal(goal, f"It may be {which}, and then: {first.reason} Find out first.", first.sources)


def conditions(subject: Subject, goal: str, book: Routes | None = None) -> tuple[tuple[str, Source], ...]:
    """What must hold for a goal that is not refused, each with its source."""
    rows = [(r.text, r.source) for r in (book or routes()).needs if any(r.holds(subject, goal, f) for f in subject.faces)]
    if goal != "leave":
        rows += [(f"A photo points at {DAMAGE_WORDS[d.kind]}: look before you begin, it can change the route.", POINTED)
                 for d in subject.damage if not d.sure]
    return tuple(dict.fromkeys(rows))

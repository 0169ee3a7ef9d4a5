"""Work on damaged places before the route begins, from service/rules/repairs.toml; and damage that ends the matter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from service.plan.products import products
from service.plan.steps import coated
from service.plan.types import HAZARDS, Damage, Repair, Step, Subject
from service.rulebook import BrokenRules, Rulebook, Source, rulebook
from vision import registry

MEND = "Mend the file, or install the program again."
LEVELS = tuple(registry.LEVELS)
#: Said where only a photo has pointed at the damage.
BY_HAND = "A photo points at it; check by hand first."


@dataclass(frozen=True)
class Row:
    """One row of the file. `steps`: as in the file, checked; empty conditions always hold."""

    kind: str
    levels: tuple[str, ...]
    faces: tuple[str, ...]
    cores: tuple[str, ...]
    first: bool
    ends: bool
    title: str
    text: str
    steps: tuple[Mapping[str, Any], ...]
    hazards: tuple[str, ...]
    source: Source
    minutes_source: Source
    spot_m2: tuple[float, ...]

    def holds(self, subject: Subject, damage: Damage) -> bool:
        """Whether it is about this damage on this part, whatever the part turns out to be of all that is left."""
        return (damage.kind == self.kind and (not self.levels or damage.level in self.levels)
                and (not self.faces or set(subject.faces) <= set(self.faces))
                and (not self.cores or set(subject.cores) <= set(self.cores)))


def _row(book: Rulebook, row: Mapping[str, Any]) -> Row:
    sets = {"levels": registry.LEVELS, "faces": registry.FACES, "cores": registry.CORES, "hazards": HAZARDS}
    for name, allowed in sets.items():
        if unknown := set(row.get(name, ())) - set(allowed):
            raise BrokenRules(book.name, f"{row['kind']} names unknown {name}: {', '.join(sorted(unknown))}.", MEND)
    if row["kind"] not in registry.DETAILS["damage"]:
        raise BrokenRules(book.name, f"{row['kind']!r} is no damage that is known.", MEND)
    for step in row["steps"]:
        if step.get("product") not in (None, *products().kinds) or len(step["minutes"]) != len(LEVELS):
            cause = f"{row['kind']}: a step needs a known product and minutes for {len(LEVELS)} levels."
            raise BrokenRules(book.name, cause, MEND)
        if list(step["minutes"]) != sorted(step["minutes"]):
            raise BrokenRules(book.name, f"{row['kind']}: worse damage takes fewer minutes.", MEND)
    return Row(row["kind"], tuple(row.get("levels", ())), tuple(row.get("faces", ())), tuple(row.get("cores", ())),
               bool(row.get("first", False)), bool(row.get("ends", False)), row["title"], row["text"], tuple(row["steps"]),
               tuple(row.get("hazards", ())), book.source(row), book.sources["minutes"],
               tuple(float(v) for v in book.tables["spot"]["m2"]))


def read(book: Rulebook | None = None) -> tuple[Row, ...]:
    """The rules of a file, checked.

    Raises
    ------
    BrokenRules
        where something is missing or unknown, or a kind of damage has no row that always holds.
    """
    book = rulebook("repairs") if book is None else book
    try:
        found = tuple(_row(book, r) for r in book.tables["repairs"])
    except (KeyError, TypeError) as err:
        raise BrokenRules(book.name, f"something is missing or of the wrong kind ({type(err).__name__}: {err}).", MEND) from err
    always = {r.kind for r in found if not (r.levels or r.faces or r.cores)}
    if missing := set(registry.DETAILS["damage"]) - always:
        raise BrokenRules(book.name, f"says nothing that always holds of: {', '.join(sorted(missing))}.", MEND)
    return found


def after_strip(book: Rulebook | None = None) -> frozenset[str]:
    """Kinds of damage mended once the old finish is off: a stripper would take such a repair out again."""
    book = rulebook("repairs") if book is None else book
    return frozenset(book.tables["order"]["after_strip"])


@lru_cache(maxsize=1)
def rows() -> tuple[Row, ...]:
    """The packaged rules."""
    return read()


def _steps(row: Row, subject: Subject, damage: Damage) -> tuple[Step, ...]:
    at = LEVELS.index(damage.level)
    out = []
    for step in row.steps:
        hazards = tuple(h for h in step.get("hazards", ()) if h != "old_paint" or coated(subject))
        out.append(Step(
            f"{damage.kind}_{step['key']}", subject.id, step["title"], step["how"], step.get("product"), 0, step.get("tool"),
            tuple(step.get("grits", ())), float(step["minutes"][at]), 0.0, float(step.get("wait_hours", 0)), "",
            tuple(step.get("stop", ())), hazards, (row.source, row.minutes_source), row.spot_m2[at],
        ))
    return tuple(out)


def repairs(subject: Subject) -> tuple[Repair, ...]:
    """Repairs of a part, what comes before everything else first. What only a photo points at gets no steps."""
    out = []
    for damage in subject.damage:
        row = next(r for r in rows() if r.holds(subject, damage))
        caution = row.text if damage.sure else f"{BY_HAND} {row.text}"
        steps = _steps(row, subject, damage) if damage.sure else ()
        out.append(Repair(damage, row.title, steps, caution, (row.source,), row.first,
                          row.ends and damage.sure))
    return tuple(sorted(out, key=lambda r: not r.first))

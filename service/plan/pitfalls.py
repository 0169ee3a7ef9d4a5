"""What goes wrong most often on such a part under such a route, with the test patch that shows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from service.plan.products import products
from service.plan.types import GOALS, OLD_FINISHES, Pitfall, Step, Subject
from service.rulebook import BrokenRules, Rulebook, Source, rulebook
from vision import registry

MEND = "Mend the file, or install the program again."
#: Words of a step that a pitfall adds, by its product.
ADDED = {"dewaxed_shellac": "Seal with dewaxed shellac", "shellac_primer": "Prime with shellac-based primer"}


@dataclass(frozen=True)
class Row:
    """One row of the file; empty conditions always hold."""

    key: str
    title: str
    text: str
    goals: tuple[str, ...]
    faces: tuple[str, ...]
    cores: tuple[str, ...]
    woods: tuple[str, ...]
    or_unknown: bool
    products: tuple[str, ...]
    without: tuple[str, ...]
    finishes: tuple[str, ...]
    patch: str
    remedy: str
    blocks: str | None
    source: Source

    def holds(self, subject: Subject, goal: str, used: Sequence[str]) -> bool:
        """Whether it threatens this part under this goal with these products."""
        wood = (self.or_unknown if subject.wood is None else any(w in subject.wood.lower() for w in self.woods)) or not self.woods
        return (goal in self.goals and wood and (not self.faces or bool(set(self.faces) & set(subject.faces)))
                and (not self.cores or bool(set(self.cores) & set(subject.cores)))
                and (not self.products or bool(set(self.products) & set(used)))
                and (not self.finishes or subject.old_finish in self.finishes))


def _row(book: Rulebook, row: Mapping[str, Any]) -> Row:
    sets = {"goals": GOALS, "faces": registry.FACES, "cores": registry.CORES, "finishes": OLD_FINISHES,
            "products": products().kinds, "without": products().kinds}
    for name, allowed in sets.items():
        if unknown := set(row.get(name, ())) - set(allowed):
            raise BrokenRules(book.name, f"{row['key']} names unknown {name}: {', '.join(sorted(unknown))}.", MEND)
    blocks = row.get("blocks")
    if blocks is not None and blocks not in ADDED:
        raise BrokenRules(book.name, f"{row['key']} blocks with {blocks}, which is no sealer.", MEND)
    many = ("goals", "faces", "cores", "woods", "products", "without", "finishes")
    lists = {name: tuple(row.get(name, ())) for name in many}
    return Row(row["key"], row["title"], row["text"], lists["goals"], lists["faces"], lists["cores"], lists["woods"],
               bool(row.get("or_unknown", False)), lists["products"], lists["without"], lists["finishes"], row["patch"],
               row["remedy"], blocks, book.source(row))


def read(book: Rulebook | None = None) -> tuple[Row, ...]:
    """The rules of a file, checked.

    Raises
    ------
    BrokenRules
        where something is missing or unknown.
    """
    book = rulebook("pitfalls") if book is None else book
    try:
        return tuple(_row(book, r) for r in book.tables["pitfalls"])
    except (KeyError, TypeError) as err:
        raise BrokenRules(book.name, f"something is missing or of the wrong kind ({type(err).__name__}: {err}).", MEND) from err


@lru_cache(maxsize=1)
def rows() -> tuple[Row, ...]:
    """The packaged rules."""
    return read()


def _added(row: Row, subject: Subject, used: Sequence[str]) -> Step | None:
    """The sealing step that a pitfall asks for, unless the route seals anyway."""
    if row.blocks is None or row.blocks in used or set(row.without) & set(used):
        return None
    kind = products().kinds[row.blocks]
    area, book = subject.area_m2, rulebook("pitfalls")
    minutes = book.tables["minutes"]
    return Step(f"block_{row.key}", subject.id, ADDED[row.blocks], f"One thin, even coat: {row.text}", row.blocks, 1,
                minutes=None if area is None else minutes["once"] + minutes["per_m2"] * area, between_hours=kind.wait("recoat"),
                wait_hours=kind.wait("topcoat"), test=row.patch, hazards=("solvent",),
                sources=(row.source, book.source(minutes)))


def pitfalls(subject: Subject, goal: str, used: Sequence[str]) -> tuple[Pitfall, ...]:
    """All that threatens a part. `used`: product kinds of the route."""
    return tuple(Pitfall(r.key, r.title, r.text, r.patch, r.remedy, (r.source,), _added(r, subject, used))
                 for r in rows() if r.holds(subject, goal, used))

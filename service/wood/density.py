"""Densities of woods and boards, with the basis of every number stated.

Three specific gravities are in print: oven-dry mass over green volume (basic), over the volume at 12 % moisture, and over the
oven-dry volume. A row says which it is; here all become the density of a piece as it lies there, water included.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from service.rulebook import Source, rulebook
from vision.errors import UsageError

WATER = 1000.0
#: Above this moisture, percent, wood shrinks no more (fibre saturation, as the formula has it).
SATURATED = 30.0


@dataclass(frozen=True)
class Species:
    """A wood. `basic`: oven-dry mass over green volume; `radial`, `tangential`: change of size per percent of moisture, None
    where no value is at hand; `source` of the gravity, `movement_source` of the other two."""

    name: str
    basic: float
    radial: float | None
    tangential: float | None
    source: Source
    movement_source: Source | None = None


@dataclass(frozen=True)
class Board:
    """A make of board. `core`: key of registry.CORES; `share`: how much of that core is taken to be of this make; `spread`: nine
    boards in ten lie within this share of the mean."""

    core: str
    kind: str
    share: float
    thickness_mm: tuple[float, ...]
    density: tuple[float, ...]
    spread: float
    source: Source

    def at(self, thickness_mm: float) -> float:
        """kg/m3 at a thickness."""
        return float(np.interp(thickness_mm, self.thickness_mm, self.density))


def gravity_at(basic: float, moisture: float) -> float:
    """Oven-dry mass over the volume at a moisture in percent, from basic specific gravity.

    G_x = G_b / (1 - 0.265 G_b (1 - x / 30)), Wood Handbook chapter 4 (from memory; within 2 % of its tables).
    """
    return basic / (1 - 0.265 * basic * (1 - min(moisture, SATURATED) / SATURATED))


def basic_of(gravity: float, moisture: float) -> float:
    """Basic specific gravity from that at a moisture in percent; the reverse of `gravity_at`."""
    return gravity / (1 + 0.265 * gravity * (1 - min(moisture, SATURATED) / SATURATED))


def density(gravity: float, moisture: float) -> float:
    """kg/m3 of wood with its water: 1000 G_x (1 + x / 100), gravity and moisture at the same x percent (Wood Handbook ch. 4)."""
    return WATER * gravity * (1 + moisture / 100)


@lru_cache(maxsize=1)
def all_species() -> tuple[Species, ...]:
    """Every wood of the rules."""
    book = rulebook("wood")
    return tuple(
        Species(r["name"], r["gravity"] if r["basis"] == "basic" else basic_of(r["gravity"], 12.0), r.get("radial"),
                r.get("tangential"), book.source(r), book.sources.get(r.get("movement_source", "")))
        for r in book.tables["species"]
    )


@lru_cache(maxsize=1)
def boards() -> tuple[Board, ...]:
    """Every board of the rules."""
    book = rulebook("wood")
    return tuple(Board(r["core"], r["kind"], r["share"], tuple(r["thickness_mm"]), tuple(r["density"]),
                       r["spread_percent"] / 100, book.source(r)) for r in book.tables["boards"])


def species(name: str) -> tuple[Species, ...]:
    """The woods that a name can mean: 'walnut' is one, 'oak' are two, 'pine' several.

    Raises
    ------
    UsageError
        if none is known by that name.
    """
    asked = name.strip().lower()
    found = tuple(s for s in all_species() if s.name == asked)
    found = found or tuple(s for s in all_species() if asked and asked in s.name.replace("-", " ").split())
    if not found:
        raise UsageError("species", f"{name!r} is not among the woods whose weight is known.",
                         "Use one of: " + ", ".join(s.name for s in all_species()) + "; or leave it out.")
    return found


def as_it_lies(wood: Species, moisture: float) -> float:
    """kg/m3 of a wood at a moisture in percent."""
    return density(gravity_at(wood.basic, moisture), moisture)

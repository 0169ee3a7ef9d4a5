"""Carrying it: what it weighs, whether it goes into the car, through the door and round the corner, how many people."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from service.contract import Document
from service.rulebook import rulebook
from service.units import length_words, mass_words, quantity, sizes
from service.wood.weigh import NINE_IN_TEN, makes
from service.wood.whole import boards_of
from service.words import class_words
from vision import registry
from vision.errors import UsageError

#: Joints that point at a piece that comes apart, and at one that does not. They are seen on photos without a chance beside them.
APART = ("cam", "cap")
GLUED = ("dovetail", "fingers")
ROUGH = "Boxes are reckoned along their sides; tilting may help and handles may not. Measure again at the place."


@dataclass(frozen=True)
class Board:
    """Flat parts of one size: length, width, thickness in mm. `cores`: not ruled out."""

    size: tuple[float, float, float]
    count: int = 1
    cores: tuple[str, ...] = tuple(registry.CORES)
    wood: str | None = None

    @property
    def mass(self) -> tuple[float, float]:
        """(least, most) kg of all of them, nine in ten, over all cores that are left."""
        volume = math.prod(self.size) * 1e-9 * self.count
        ends = []
        for core in self.cores:
            for m in makes(core, self.size[2], self.wood if core == "lumber" else None, None):
                ends += [m.density - NINE_IN_TEN * m.deviation, m.density + NINE_IN_TEN * m.deviation]
        return min(ends) * volume, max(ends) * volume


def board_of(text: str) -> Board:
    """'1200x500x18mm*2, particle_board': size, how many, core; the last two may be left out."""
    found = boards_of(text)
    return Board(found.size, found.count, (found.core,) if found.core else tuple(registry.CORES))


def fits_box(size: Sequence[float], space: Sequence[float]) -> bool:
    """Whether a box goes into a space with its sides along the space's, turned any way."""
    return all(a <= b for a, b in zip(sorted(size), sorted(space), strict=True))


def fits_opening(size: Sequence[float], opening: Sequence[float]) -> bool:
    """Whether a box goes through a rectangular opening end first, its sides along it."""
    return all(a <= b for a, b in zip(sorted(size)[:2], sorted(opening), strict=True))


def longest_round_corner(a: float, b: float, thickness: float) -> float:
    """Longest rectangle of some thickness that goes round the right-angled corner of corridors of widths a and b, lying flat.

    Least over the angle of a/sin + b/cos - thickness/(sin cos); 0 where it does not enter. For no thickness it is the ladder of
    the textbooks, (a^(2/3) + b^(2/3))^(3/2).
    """
    if thickness >= min(a, b):
        return 0.0
    angle = np.linspace(1e-3, math.pi / 2 - 1e-3, 20_001)
    sine, cosine = np.sin(angle), np.cos(angle)
    return max(0.0, float((a / cosine + b / sine - thickness / (sine * cosine)).min()))


def goes_round(size: Sequence[float], a: float, b: float, height: float | None = None) -> bool:
    """Whether a box goes round a corner, standing any way that its height allows."""
    for k in range(3):
        tall, (x, y) = size[k], sorted(size[j] for j in range(3) if j != k)
        if height is not None and tall > height:
            continue
        if y <= min(a, b) or y <= longest_round_corner(a, b, x):
            return True
    return False


@dataclass(frozen=True)
class Asked:
    """A piece to carry: sizes in mm. `mass`: kg as weighed; `boards`: else its parts; `extra`: kg of what is no board."""

    size: tuple[float, float, float]
    mass: float | None = None
    boards: tuple[Board, ...] = ()
    vehicle: tuple[float, float, float] | None = None
    door: tuple[float, float] | None = None
    corner: tuple[float, float] | None = None
    stairs: bool = False
    extra: float = 0.0


@dataclass(frozen=True)
class Haul:
    """`mass`: (least, most) kg or None; `people`: for the most; fits are None where not asked."""

    asked: Asked
    mass: tuple[float, float] | None
    people: int | None
    vehicle: bool | None
    door: bool | None
    corner: bool | None


def reckoned(asked: Asked) -> Haul:
    """All there is to say of carrying it."""
    mass = None
    if asked.mass is not None:
        mass = asked.mass, asked.mass
    elif asked.boards:
        ends = [b.mass for b in asked.boards]
        mass = sum(e[0] for e in ends) + asked.extra, sum(e[1] for e in ends) + asked.extra
    carry = rulebook("sell").tables["carry"]
    limit = carry["person_stairs_kg"] if asked.stairs else carry["person_kg"]
    return Haul(
        asked, mass, None if mass is None else max(1, math.ceil(mass[1] / limit - 1e-9)),
        None if asked.vehicle is None else fits_box(asked.size, asked.vehicle),
        None if asked.door is None else fits_opening(asked.size, asked.door),
        None if asked.corner is None else goes_round(asked.size, *asked.corner),
    )


def comes_apart(kinds: Collection[str]) -> str:
    """What joints seen on photos say about taking it apart; a lean, since they carry no chance."""
    apart, glued = set(kinds) & set(APART), set(kinds) & set(GLUED)
    if apart and not glued:
        return "Photos point at fittings that come apart with a screwdriver: look inside. Board loosens where they were turned."
    if glued and not apart:
        return "Photos point at glued joints: it does not come apart; take drawers, doors and shelves out."
    return "Whether it comes apart is not seen: take drawers, doors and shelves out, look inside for screws and cams."


def joints_seen(doc: Document) -> set[str]:
    """Kinds of joints that photos point at."""
    return {str(d.kind) for p in doc.photos for q in p.panels for d in q.details if d.group == "joint"}


def space(text: str, n: int, what: str) -> tuple[float, ...]:
    """`n` lengths in mm of a text."""
    found = sizes(text, what)
    if len(found) != n:
        raise UsageError(what, f"{text!r} has {len(found)} numbers, not {n}.", "Write it as in: " + "x".join(["900"] * n) + "mm")
    return found


def mass_of(text: str | None, what: str) -> float | None:
    """Kilograms of a text, or None."""
    return None if text is None else quantity(text, "mass", what)


def document(found: Haul, apart: str) -> dict[str, Any]:
    """JSON types: mm, kg."""
    carry = rulebook("sell")
    return {
        "schema": "grainassay.haul/1.0", "size_mm": list(found.asked.size),
        "mass_kg": None if found.mass is None else [round(v, 2) for v in found.mass], "people": found.people,
        "fits_vehicle": found.vehicle, "fits_door": found.door, "goes_round_corner": found.corner, "apart": apart,
        "sources": [{"title": s.title, "status": s.status} for k, s in carry.sources.items() if k != "adverts"], "caution": ROUGH,
    }


def lines_of(found: Haul, apart: str, us: bool = False) -> list[str]:
    """What is printed."""
    a = found.asked
    lines = [" x ".join(length_words(v, us) for v in a.size)]
    if found.mass is None:
        lines.append("  mass: not known; weigh it, or name its boards with --board")
    else:
        low, high = found.mass
        span = mass_words(low, us) if low == high else f"{mass_words(low, us)} to {mass_words(high, us)}"
        cores = sorted({c for b in a.boards for c in b.cores})
        left = ", ".join(class_words(c) for c in cores)
        over = f", over all that is not ruled out ({left})" if a.boards and a.mass is None else ""
        lines.append(f"  mass: {span}{over}")
        lines.append(f"  people: {found.people}" + (" (stairs)" if a.stairs else "") + ", by an estimate of what one carries")
    for word, fits in (("vehicle", found.vehicle), ("door", found.door), ("corner", found.corner)):
        if fits is not None:
            lines.append(f"  {word}: " + ("fits" if fits else "does not fit along its sides"))
    return [*lines, f"  {apart}", ROUGH]

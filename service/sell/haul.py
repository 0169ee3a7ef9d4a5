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
CORES: tuple[str, ...] = tuple(registry.CORES)
ROUGH = ("Boxes are reckoned along the sides of car and corridor; only the door is tried tilted. Legs, handles and hands "
         "need room too. Measure again at the place.")


@dataclass(frozen=True)
class Board:
    """Flat parts of one size: length, width, thickness in mm. `cores`: not ruled out."""

    size: tuple[float, float, float]
    count: int = 1
    cores: tuple[str, ...] = CORES
    wood: str | None = None

    @property
    def mass(self) -> tuple[float, float]:
        """(least, most) kg of all of them, nine in ten, over all cores that are left."""
        volume = math.prod(self.size) * 1e-9 * self.count
        low, high = densities(self.cores, self.size[2], self.wood)
        return low * volume, high * volume


def densities(cores: Sequence[str], thickness: float, wood: str | None = None) -> tuple[float, float]:
    """(least, most) kg/m3, nine in ten of each make, over all of some cores at a thickness in mm. `wood`: of lumber."""
    ends = []
    for core in cores:
        for m in makes(core, thickness, wood if core == "lumber" else None, None):
            ends += [m.density - NINE_IN_TEN * m.deviation, m.density + NINE_IN_TEN * m.deviation]
    return min(ends), max(ends)


def case_mass(size: tuple[float, float, float], cores: Sequence[str]) -> tuple[float, float]:
    """(least, most) kg of a closed case (chest, cabinet) from its outer width, depth and height in mm alone.

    Top, bottom, sides and front, with a share on top for back, drawers and shelves; all of boards of the same thickness. The
    thickness and the share are wide ranges of service/rules/sell.toml, estimates both.
    """
    row = rulebook("sell").tables["case"]
    width, depth, height = (v / 1000 for v in size)
    shell = 2 * width * depth + 2 * height * depth + width * height
    little, much = row["inside_share"]
    sheets = [tuple(t / 1000 * d for d in densities(cores, t)) for t in row["board_mm"]]  # kg/m2, least and most
    return shell * (1 + little) * min(low for low, _ in sheets), shell * (1 + much) * max(high for _, high in sheets)


def board_of(text: str, cores: tuple[str, ...] = CORES) -> Board:
    """'1200x500x18mm*2, particle_board': size, how many, core; the last two may be left out. `cores`: where none is named."""
    found = boards_of(text)
    return Board(found.size, found.count, (found.core,) if found.core else cores)


def fits_box(size: Sequence[float], space: Sequence[float]) -> bool:
    """Whether a box goes into a space with its sides along the space's, turned any way."""
    return all(a <= b for a, b in zip(sorted(size), sorted(space), strict=True))


def fits_opening(size: Sequence[float], opening: Sequence[float]) -> bool:
    """Whether a box goes through a rectangular opening end first, its sides along it."""
    return all(a <= b for a, b in zip(sorted(size)[:2], sorted(opening), strict=True))


def fits_tilted(size: Sequence[float], opening: Sequence[float]) -> bool:
    """Whether its smallest end goes through a rectangular opening when turned about the way it is carried.

    The known closed form for a rectangle in a rectangle: a p x q one that is longer than the a x b one still fits where
    b >= (2 p q a + (p^2 - q^2) sqrt(p^2 + q^2 - a^2)) / (p^2 + q^2), with p >= q and a >= b.
    """
    q, p = sorted(size)[:2]
    b, a = sorted(opening)
    if p <= a or q > b:
        return q <= b
    return b * (p * p + q * q) >= 2 * p * q * a + (p * p - q * q) * math.sqrt(p * p + q * q - a * a)


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
    """Whether a box goes round a corner, standing any way that its height allows: slid without turning, or turned."""
    for k in range(3):
        tall, (x, y) = size[k], sorted(size[j] for j in range(3) if j != k)
        if height is not None and tall > height:
            continue
        slides = (x <= a and y <= b) or (y <= a and x <= b)
        if slides or y <= longest_round_corner(a, b, x):
            return True
    return False


@dataclass(frozen=True)
class Asked:
    """A piece to carry: width, depth, height in mm. `mass`: kg as weighed; `boards`: else its parts; `case`: else reckoned as a
    closed case of `cores`; `extra`: kg of what is no board."""

    size: tuple[float, float, float]
    mass: float | None = None
    boards: tuple[Board, ...] = ()
    vehicle: tuple[float, float, float] | None = None
    door: tuple[float, float] | None = None
    corner: tuple[float, float] | None = None
    stairs: bool = False
    extra: float = 0.0
    case: bool = False
    cores: tuple[str, ...] = CORES

    def __post_init__(self) -> None:
        if unknown := set(self.cores) - set(registry.CORES):
            raise UsageError("core", f"{', '.join(sorted(unknown))} is no core.", "Use: " + ", ".join(registry.CORES) + ".")
        if not self.cores:
            raise UsageError("core", "none is left.", "Leave cores out to reckon over all of them.")


@dataclass(frozen=True)
class Haul:
    """`mass`: (least, most) kg or None; `people`: for the most; fits are None where not asked; `door`: straight;
    `door_tilted`: turned about the way it is carried."""

    asked: Asked
    mass: tuple[float, float] | None
    people: int | None
    vehicle: bool | None
    door: bool | None
    corner: bool | None
    door_tilted: bool | None = None


def reckoned(asked: Asked) -> Haul:
    """All there is to say of carrying it."""
    mass = None
    if asked.mass is not None:
        mass = asked.mass, asked.mass
    elif asked.boards:
        ends = [b.mass for b in asked.boards]
        mass = sum(e[0] for e in ends) + asked.extra, sum(e[1] for e in ends) + asked.extra
    elif asked.case:
        low, high = case_mass(asked.size, asked.cores)
        mass = low + asked.extra, high + asked.extra
    carry = rulebook("sell").tables["carry"]
    limit = carry["person_stairs_kg"] if asked.stairs else carry["person_kg"]
    return Haul(
        asked, mass, None if mass is None else max(1, math.ceil(mass[1] / limit - 1e-9)),
        None if asked.vehicle is None else fits_box(asked.size, asked.vehicle),
        None if asked.door is None else fits_opening(asked.size, asked.door),
        None if asked.corner is None else goes_round(asked.size, *asked.corner),
        None if asked.door is None else fits_tilted(asked.size, asked.door),
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


def cores_left(doc: Document) -> tuple[str, ...]:
    """Cores that are not ruled out for some part of a piece, in the registry's order; all where no part is told."""
    from service.hand.state import Answers
    from service.plan.request import Request
    from service.plan.subjects import subjects

    try:
        left = {c for s in subjects(doc, Answers(), Request()) for c in s.cores}
    except UsageError:
        return CORES
    return tuple(c for c in registry.CORES if c in left)


def mass_from(asked: Asked) -> str | None:
    """Where the mass comes from: 'scale', 'boards', 'case' or None."""
    return "scale" if asked.mass is not None else "boards" if asked.boards else "case" if asked.case else None


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
        "fits_vehicle": found.vehicle, "fits_door": found.door, "fits_door_tilted": found.door_tilted,
        "mass_from": mass_from(found.asked), "goes_round_corner": found.corner, "apart": apart,
        "sources": [{"title": s.title, "status": s.status} for k, s in carry.sources.items()
                    if k != "adverts" and (k != "case" or mass_from(found.asked) == "case")], "caution": ROUGH,
    }


def lines_of(found: Haul, apart: str, us: bool = False) -> list[str]:
    """What is printed."""
    a = found.asked
    lines = [" x ".join(length_words(v, us) for v in a.size)]
    if found.mass is None:
        lines.append("  mass: not known; weigh it, name its boards with --board, or say --case for a chest or cabinet")
    else:
        low, high = found.mass
        span = mass_words(low, us) if low == high else f"{mass_words(low, us)} to {mass_words(high, us)}"
        boards, how = {c for b in a.boards for c in b.cores}, mass_from(a)
        left = ", ".join(class_words(c) for c in registry.CORES if c in (boards if how == "boards" else a.cores))
        over = "" if how == "scale" else f", over all that is not ruled out ({left})"
        lines.append(f"  mass: {span}{over}")
        if how == "case":
            lines.append("  (a rough estimate from the outer size of a closed case: weigh it, or name its boards with --board)")
        lines.append(f"  people: {found.people}" + (" (stairs)" if a.stairs else "") + ", by an estimate of what one carries")
    for word, fits in (("vehicle", found.vehicle), ("door", found.door), ("corner", found.corner)):
        if fits is not None:
            tilted = word == "door" and not fits and found.door_tilted
            lines.append(f"  {word}: " + ("fits" if fits else "only tilted as it goes through" if tilted else
                                          "does not fit along its sides"))
    return [*lines, f"  {apart}", ROUGH]

"""`grainassay weigh`: what the weight of a part taken off and measured says about its core, and what it cannot say."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from service.units import length_words, mass_words, quantity, sizes
from service.wood.weigh import Expected, Weighed, outside, told_against
from service.wood.whole import Whole, boards_of
from service.words import class_words
from vision.errors import UsageError
from vision.registry import CORES

HEAVY = "Heavy does not mean solid: a panel of particle board or fibreboard outweighs the same panel of pine, poplar or cherry."
ONE_MAKE = "All boards in question are taken to be of one make; drawers that were left in, glass and marble spoil it."
VENEER = "Weight says nothing about the face: veneer and print weigh next to nothing, and veneered lumber weighs as lumber."


def part_of(mass: str, size: str, *, wood: str | None, moisture: float | None, scale_error: str | None, size_error: str | None,
            fittings: str | None) -> Weighed:
    """The part as the options describe it.

    Raises
    ------
    UsageError
        for options that cannot be read or make no sense.
    """
    found = sizes(size, "size")
    if len(found) != 3:
        raise UsageError("size", f"{size!r} has {len(found)} numbers.", "Give length x width x thickness, as in 1000x500x18mm.")
    length, width, thickness = sorted(found, reverse=True)
    errors = {}
    if scale_error is not None:
        errors["mass_error"] = quantity(scale_error, "mass", "scale error")
    if size_error is not None:
        errors["size_error"] = quantity(size_error, "length", "size error")
    if fittings is not None:
        errors["fittings"] = quantity(fittings, "mass", "fittings")
    return Weighed(quantity(mass, "mass", "mass"), length, width, thickness, wood=wood, moisture=moisture, **errors)


def whole_of(mass: str, boards: Sequence[str], *, scale_error: str | None, size_error: str | None, fittings: str | None) -> Whole:
    """The piece as the options describe it."""
    errors = {}
    if scale_error is not None:
        errors["mass_error"] = quantity(scale_error, "mass", "scale error")
    if size_error is not None:
        errors["size_error"] = quantity(size_error, "length", "size error")
    if fittings is not None:
        errors["rest"] = quantity(fittings, "mass", "fittings")
        errors["rest_error"] = 0.2 * errors["rest"]
    return Whole(quantity(mass, "mass", "mass"), tuple(boards_of(b) for b in boards), **errors)


def whole_document(piece: Whole, found: tuple[Expected, ...], wood: str | None) -> dict[str, Any]:
    """JSON types: masses in kg, sizes in mm, likelihoods as shares of the likeliest core's."""
    against = told_against(found)
    return {
        "schema": "grainassay.weigh/1.0",
        "piece": {"mass_kg": piece.mass, "rest_kg": piece.rest, "wood": wood,
                  "boards": [{"size_mm": list(b.size), "count": b.count, "core": b.core} for b in piece.boards]},
        "cores": [{"core": e.core, "expected_kg": round(e.mass, 3), "nine_in_ten_kg": [round(e.low, 3), round(e.high, 3)],
                   "likelihood": round(e.likelihood, 4), "against": e.core in against,
                   "sources": [{"title": s.title, "status": s.status} for s in e.sources]} for e in found],
        "cautions": [HEAVY, VENEER, ONE_MAKE],
    }


def whole_lines(piece: Whole, found: tuple[Expected, ...], wood: str | None, us: bool) -> list[str]:
    """What is printed."""
    asked = sum(b.count for b in piece.boards if b.core is None)
    lines = [f"{mass_words(piece.mass, us)} in all; {asked} board{'s' if asked > 1 else ''} in question"
             + (f", lumber taken to be {wood}" if wood else "") + ".", ""]
    lines.append(f"  {'core':<16}{'would weigh':>12}   nine in ten        how well it fits")
    for e in found:
        span = f"{mass_words(e.low, us)} to {mass_words(e.high, us)}"
        times = 1 / max(e.likelihood, 1e-9)
        fit = "best" if times == 1 else f"{times:.1f} times less well" if times < 100 else "not at all"
        lines.append(f"  {class_words(e.core):<16}{mass_words(e.mass, us):>12}   {span:<18} {fit}")
    against = told_against(found)
    lines.append("")
    lines.append(f"Speaks against: {', '.join(class_words(c) for c in against)}." if against
                 else "It tells none of these cores from the others.")
    lines += [HEAVY, VENEER, ONE_MAKE, "", "Rests on:"]
    return [*lines, *(f"  {s.words}" for s in dict.fromkeys(s for e in found for s in e.sources))]


def document(part: Weighed, found: tuple[Expected, ...]) -> dict[str, Any]:
    """JSON types: masses in kg, sizes in mm, likelihoods as shares of the likeliest core's."""
    against = told_against(found)
    return {
        "schema": "grainassay.weigh/1.0",
        "part": {"mass_kg": part.mass, "size_mm": [part.length, part.width, part.thickness], "fittings_kg": part.fittings,
                 "wood": part.wood, "moisture_percent": part.moisture, "density_kg_m3": round(part.density, 1)},
        "cores": [{"core": e.core, "expected_kg": round(e.mass, 3), "nine_in_ten_kg": [round(e.low, 3), round(e.high, 3)],
                   "likelihood": round(e.likelihood, 4), "against": e.core in against,
                   "sources": [{"title": s.title, "status": s.status} for s in e.sources]} for e in found],
        "fits_none": outside(part, found),
        "cautions": [HEAVY, VENEER],
    }


def lines_of(part: Weighed, found: tuple[Expected, ...], us: bool) -> list[str]:
    """What is printed."""
    size = " x ".join(length_words(s, us) for s in (part.length, part.width, part.thickness))
    wood = f"lumber taken to be {part.wood}" if part.wood else "the wood unknown"
    lines = [f"{mass_words(part.mass, us)} at {size}: {part.density:.0f} kg/m3 ({wood}).", ""]
    lines.append(f"  {'core':<16}{'would weigh':>12}   nine in ten        how well it fits")
    nothing = outside(part, found)
    for e in found:
        span = f"{mass_words(e.low, us)} to {mass_words(e.high, us)}"
        times = 1 / max(e.likelihood, 1e-9)
        fit = "-" if nothing else "best" if times == 1 else f"{times:.1f} times less well" if times < 100 else "not at all"
        lines.append(f"  {class_words(e.core):<16}{mass_words(e.mass, us):>12}   {span:<18} {fit}")
    against = told_against(found)
    left = [class_words(c) for c in CORES if c not in against]
    lines.append("")
    if nothing:
        lines.append("It fits none of them: check the scale and the tape; the part may be hollow, wet, or not of wood at all.")
    elif against:
        lines.append(f"Speaks against: {', '.join(class_words(c) for c in against)}. Left: {', '.join(left)}.")
        if part.wood and "lumber" in against:
            lines.append(f"That is lumber of {part.wood}: another wood is not excluded, unless you are sure of it.")
    else:
        lines.append("It tells none of these cores from the others. " + ("" if part.wood else "Naming the wood may help."))
    lines += [HEAVY, VENEER, "", "Rests on:"]
    lines += [f"  {s.words}" for s in dict.fromkeys(s for e in found for s in e.sources)]
    return lines

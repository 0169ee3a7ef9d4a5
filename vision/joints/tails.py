"""Fingers and dovetails along the ends of a panel: found, measured, named.

The picture is turned so that each of its four sides in turn lies at the right; `band` finds where fingers alternate with end
grain, `sides` fits their sides. A tail's sides open towards the end of its board, a finger's run square.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from vision.joints.band import Band, Floats, lab_of, search
from vision.joints.chances import stored
from vision.joints.finds import Side, Tails
from vision.joints.setting import setting_of
from vision.joints.sides import Edge, Slant, edges_of, slant_of

#: Side of the panel that a number of quarter turns (anticlockwise) brings to the right.
ENDS: Final = ("right", "bottom", "left", "top")
#: A slant beyond this many degrees is a tail's and no finger's, by so many errors; slopes cut are 7 degrees and more.
TAIL_SLANT, SURE = 3.5, 1.3
#: With fewer whole fingers than this nothing is said of how they were made; nor between these chances.
LEAST_FINGERS, UNDECIDED = 3, (0.3, 0.7)
CLASSES: Final = ("nothing", "joint")
#: Fewest whole fingers, and fingers and pins together, of a joint that is spoken of: two dark patches beside a board are
#: nothing yet. One whose sides cannot be told square or slanted must be this likely.
LEAST_SAID, LEAST_TOGETHER, UNNAMED = 2, 5, 0.9
#: Fewer are enough, three in all, where every side is a straight line, the name is clear and the chance this high.
LEAST_FEW, SURE_FEW = 3, 0.97
#: Least chance of the net 'gate' of a band whose sides are fitted: few joints have less, and three bands in four.
GATE: Final = 0.005
#: No tail opens by more than this, degrees: cut slopes are 7 to 14 (common practice, no source), and the short grain of a
#: steeper one breaks off. Nor does it lose more than this share of the pitch from end to shoulder: zigzag inlay does.
STEEPEST, POINTED = 17.0, 0.54


@dataclass(frozen=True, eq=False)
class Candidate:
    """A band with its sides, in the turned picture. `turns`: quarter turns; `numbers`: what the chance rests on."""

    turns: int
    band: Band
    edges: tuple[Edge, ...]
    slant: Slant | None
    shape: tuple[int, int]
    numbers: Mapping[str, float]


def candidates(pixels: NDArray[np.uint8], keep: int = 2, *, gated: bool = True) -> list[Candidate]:
    """Bands worth judging at all four sides of a picture; `gated`: without those that their bands alone show to be no joint,
    before their sides are fitted."""
    lab = lab_of(pixels)
    gate = stored()["gate"]
    out = []
    for turns in range(4):
        turned = np.ascontiguousarray(np.rot90(lab, turns))
        shape = (turned.shape[0], turned.shape[1])
        for band in search(turned, keep):
            if gated and not passes(gate.chances([band_numbers(band, shape)])[0, 1]):
                continue
            edges = tuple(edges_of(turned, band))
            slant = slant_of(list(edges))
            out.append(Candidate(turns, band, edges, slant, shape, numbers_of(band, edges, slant, turned)))
    return out


def passes(chance: float) -> bool:
    """Whether a band with this chance of the net 'gate' is looked at any further."""
    return chance >= GATE


def _spread(values: NDArray[np.float64]) -> float:
    return float(np.std(np.log(np.maximum(values, 0.5)))) if len(values) > 1 else math.nan


def band_numbers(band: Band, shape: tuple[int, int]) -> dict[str, float]:
    """Inputs of the net 'gate': what a band shows before its sides are fitted. `shape`: rows, columns of the turned picture."""
    changes = band.changes
    runs = np.diff(np.concatenate([[0], changes, [len(band.pin)]]))[1:-1].astype(float)
    pins = runs[0::2] if band.pin[changes[0]] else runs[1::2]
    tails = runs[1::2] if band.pin[changes[0]] else runs[0::2]
    depth = band.end - band.shoulder
    pitch = 2 * float(np.mean(runs)) if len(runs) else math.nan
    return {
        "share": band.share, "contrast": math.log(max(band.contrast, 0.1)),
        "sure": math.log(max(band.contrast / band.noise, 0.1)),
        "level": band.level, "sharp": band.sharp, "changes": math.log2(len(changes)),
        "aspect": math.log(depth / pitch) if pitch > 0 else math.nan,
        "tails_spread": _spread(tails), "pins_spread": _spread(pins),
        "runs_spread": _spread(runs), "pin_share": float(band.pin.mean()), "depth": math.log(depth),
        "past": (shape[1] - band.end) / shape[1], "reach": (shape[1] - band.shoulder) / shape[1],
        "least_run": math.log(max(1.0, float(runs.min()))) if len(runs) else math.nan,
    }


def numbers_of(band: Band, edges: tuple[Edge, ...], slant: Slant | None, lab: Floats) -> dict[str, float]:
    """Inputs of the net 'tails'; nan where not measurable. `lab`: the turned picture."""
    depth = band.end - band.shoulder
    wander = float(np.median([e.wander for e in edges])) if edges else math.nan
    return {
        **band_numbers(band, (lab.shape[0], lab.shape[1])), "fitted": len(edges) / len(band.changes),
        "strength": math.log(max(0.1, float(np.median([e.strength for e in edges])))) if edges else math.nan,
        "wander": wander, "wander_share": wander / depth,
        "slant_spread": min(slant.spread, 20.0) if slant else math.nan,
        "slant": float(np.clip(slant.angle, -15, 20)) if slant else math.nan,
        "slant_size": min(abs(slant.angle), 20.0) if slant else math.nan,
        "skew": min(abs(slant.skew), 15.0) if slant else math.nan,
        **setting_of(lab, band),
    }


def _places(c: Candidate) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Rows at half depth where the kind changes, and their errors: fitted sides where there are any."""
    places = c.band.changes.astype(float) - 0.5
    errors = np.full(len(places), 1.0)
    for e in c.edges:
        k = int(np.argmin(np.abs(places - e.at)))
        if abs(places[k] - e.at) < max(4.0, 0.3 * (c.band.end - c.band.shoulder)):
            places[k], errors[k] = e.at, max(e.at_error, 0.15)
    return places, errors


@dataclass(frozen=True)
class Layout:
    """`pitch`, `pitch_error`, px; spreads as shares: of the pitch, of tail and pin widths; `balance`: log of pin width over
    tail width; `noise`: error of a place over the pitch; `tails`, `pins`: whole ones."""

    pitch: float
    pitch_error: float
    pitch_spread: float
    tail_spread: float
    pin_spread: float
    balance: float
    noise: float
    tails: int
    pins: int


#: A step or width this far from the middle one (share) is a finger missed or seen double, not one laid out unevenly.
MISSED = 0.6


def _regular(values: NDArray[np.float64]) -> tuple[float, float, int]:
    """(mean, spread as a share of it, how many) of steps or widths; missed fingers left out, a steady growth along the joint
    (the view's) taken out, and with four or more the spread from the median deviation. nan spread for a single one."""
    share = values / float(np.median(values)) - 1
    kept = np.abs(share) < MISSED
    if not kept.any():
        return float(values.mean()), math.nan, 1
    left = share[kept]
    mean = float(values[kept].mean())
    if len(left) < 2:
        return mean, math.nan, max(1, len(left))
    k = np.flatnonzero(kept) - np.flatnonzero(kept).mean()
    if len(left) >= 4:
        slopes = [(left[j] - left[i]) / (k[j] - k[i]) for i in range(len(left)) for j in range(i + 1, len(left))]
        left = left - float(np.median(slopes)) * k
        return mean, 1.4826 * float(np.median(np.abs(left - np.median(left)))), len(left)
    return mean, float(np.std(left, ddof=1)), len(left)


def layout_of(c: Candidate) -> Layout:
    """How the fingers are shared out along the joint; the view's shrinking along it taken out."""
    places, errors = _places(c)
    first_is_pin = bool(c.band.pin[c.band.changes[0]])
    middles = (places[1:] + places[:-1]) / 2
    widths = np.diff(places)
    kinds = np.array([first_is_pin == (k % 2 == 0) for k in range(len(widths))], dtype=bool)
    best = (math.nan, math.nan, math.nan)
    for kind in (True, False):
        steps = np.diff(middles[kinds == kind])
        if not len(steps):
            continue
        mean, spread, kept = _regular(steps)
        error = (spread if math.isfinite(spread) else float(np.median(errors)) * math.sqrt(2) / mean) * mean / math.sqrt(kept)
        if not math.isfinite(best[0]) or (math.isfinite(spread) and not math.isfinite(best[2])):
            best = (mean, error, spread)

    def spread_of(kind: bool) -> float:
        w = widths[kinds == kind]
        return _regular(w)[1] if len(w) else math.nan

    tails, pins = widths[~kinds], widths[kinds]
    balance = math.log(max(0.5, float(pins.mean())) / max(0.5, float(tails.mean()))) if len(tails) and len(pins) else math.nan
    noise = float(np.median(errors)) / best[0] if best[0] > 0 else math.nan
    return Layout(*best, spread_of(False), spread_of(True), balance, noise, len(tails), len(pins))


def hand_numbers(c: Candidate, layout: Layout) -> dict[str, float]:
    """Inputs of the net 'hand'."""

    def size(value: float) -> float:
        return math.log(max(value, 0.003)) if math.isfinite(value) else math.nan

    s = c.slant
    known = float(np.rad2deg(np.median([e.slope_error for e in c.edges]))) if c.edges else 0.0
    own = math.sqrt(max(s.spread**2 - known**2, 0.0)) if s else math.nan
    return {"pitch": size(layout.pitch_spread), "tail": size(layout.tail_spread), "pin": size(layout.pin_spread),
            "balance": layout.balance, "noise": size(layout.noise), "count": math.log(max(1, layout.tails)),
            "angle": min(abs(s.angle), 20.0) if s else math.nan, "angle_spread": min(own, 10.0) if s else math.nan}


def name_of(slant: Slant | None) -> str:
    """'dovetail' where the sides surely open towards the end, 'fingers' where they surely do not, else 'cannot_tell'."""
    if slant is None:
        return "cannot_tell"
    error = math.hypot(slant.error, 0.5)
    if slant.angle - SURE * error > TAIL_SLANT:
        return "dovetail"
    if abs(slant.angle) + SURE * error < TAIL_SLANT:
        return "fingers"
    return "cannot_tell"


def tails_from(c: Candidate, chance: float, hand: float, mm_per_px: float | None = None) -> Tails:
    """The result of a candidate, in pixels of the picture before turning."""
    h, w = c.shape
    layout = layout_of(c)

    def back(points: NDArray[np.float64]) -> tuple[tuple[float, float], ...]:
        p = points.astype(float)
        height, width = h, w
        for _ in range(c.turns):  # undo one anticlockwise turn: turned (x, y) was (its height is our width) (w' - 1 - y, x)
            p = np.stack([height - 1 - p[:, 1], p[:, 0]], axis=1)
            height, width = width, height
        return tuple((float(x), float(y)) for x, y in p)

    sides = []
    for e in c.edges:
        xs = np.array([c.band.shoulder, c.band.end])
        line = np.stack([xs, e.at + e.slope * (xs - e.middle)], axis=1)
        skew = math.tan(math.radians(c.slant.skew)) if c.slant else 0.0
        sides.append(Side(back(line), float(np.rad2deg(np.arctan(e.turn * (e.slope - skew)))), float(np.rad2deg(e.slope_error))))
    a, b = c.band.shoulder, c.band.end
    outline = back(np.array([[a, -0.5], [b, -0.5], [b, h - 0.5], [a, h - 0.5]]))
    made = "cannot_tell"
    known = math.isfinite(layout.pitch_spread) and layout.tails >= LEAST_FINGERS
    if known and not UNDECIDED[0] < hand < UNDECIDED[1]:
        made = "hand" if hand > 0.5 else "machine"
    s = c.slant
    angle, error = (s.angle, s.error) if s else (math.nan, math.nan)
    return Tails(outline, ENDS[c.turns], name_of(s), layout.tails, layout.pins, layout.pitch, layout.pitch_error,
                 layout.pitch_spread, angle, error, b - a, made, hand, chance, tuple(sides),
                 None if mm_per_px is None else layout.pitch * mm_per_px)


#: A pitch known no better than to this share of itself is that of no joint: hand-cut tails are far more even.
UNEVEN = 0.3


def sayable(tails: Tails) -> bool:
    """Whether enough of a joint shows to speak of it at all, whatever its chance."""
    together = tails.fingers + tails.pins
    enough = tails.fingers >= LEAST_SAID and together >= LEAST_TOGETHER
    if not enough and tails.fingers and together >= LEAST_FEW:
        enough = tails.chance >= SURE_FEW and tails.name != "cannot_tell" and len(tails.sides) == together + 1
    even = not tails.pitch_error > UNEVEN * tails.pitch
    return enough and even and not pointed(tails) and (tails.name != "cannot_tell" or tails.chance >= UNNAMED)


def pointed(tails: Tails) -> bool:
    """Whether sides slant more than any joint's that is cut to hold."""
    if not math.isfinite(tails.angle):
        return False
    taper = 2 * tails.depth * math.tan(math.radians(tails.angle)) / tails.pitch if tails.pitch > 0 else 0.0
    return tails.angle - SURE * tails.angle_error > STEEPEST or taper > POINTED


def find_tails(pixels: NDArray[np.uint8], *, least: float = 0.5, mm_per_px: float | None = None) -> tuple[Tails, ...]:
    """Joints at the sides of a picture whose chance is at least `least`, one a side, best first."""
    nets = stored()
    found = candidates(pixels)
    chances = nets["tails"].chances([c.numbers for c in found])[:, 1]
    hands = nets["hand"].chances([hand_numbers(c, layout_of(c)) for c in found])[:, 1]
    best: dict[int, Tails] = {}
    for c, chance, hand in sorted(zip(found, chances, hands, strict=True), key=lambda t: -t[1]):
        if chance >= least and c.turns not in best:
            best[c.turns] = tails_from(c, float(chance), float(hand), mm_per_px)
    return tuple(best.values())

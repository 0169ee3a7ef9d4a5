"""Dovetails and finger joints cut in space: end grain of one board between the fingers of another, seen from one side.

Everything is laid out with the joint at the right end of the picture: x runs along the board that is seen broad side on,
y along the joint. Where a side is slanted, the tail grows wider towards the end of its board.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.figure.cuts import Board
from training.joints import stuff
from training.joints.kinds import CUTTERS, SLOPES
from training.joints.stuff import Image, Sheet
from training.joints.truth import TailTruth

#: Least spread of places and angles of hand work, as shares of the pitch and degrees, and most of a machine's.
HAND_PLACE, HAND_ANGLE = (0.05, 0.16), (0.5, 1.6)
CAREFUL_PLACE, CAREFUL_ANGLE = (0.012, 0.05), (0.2, 0.7)
MACHINE_PLACE, MACHINE_ANGLE = (0.0, 0.006), (0.0, 0.2)


@dataclass(frozen=True, eq=False)
class Plan:
    """A joint in mm. `sides`: (n, 2) y of every side at the shoulder and at the end; `first_tail`: whether the stretch before
    the first side belongs to a tail; `depth`: shoulder to end; `lap`: end grain beyond the tails (half-blind)."""

    height: float
    depth: float
    lap: float
    sides: NDArray[np.float64]
    angles: tuple[float, ...]
    first_tail: bool
    hand: bool


def dovetail_plan(rng: np.random.Generator, *, half_blind: bool, hand: bool, careful: bool = False) -> Plan:
    """Tails and pins of one joint; `careful`: hand work laid out as evenly and as wide in the pins as a machine's."""
    depth = float(rng.uniform(9, 16) if half_blind else rng.uniform(9, 20))
    angle = float(rng.choice(SLOPES) * rng.uniform(0.9, 1.5) if hand else rng.choice(CUTTERS))
    slope = np.tan(np.deg2rad(angle))
    if hand:
        tails = int(rng.integers(2, 7))
        tail, pin = float(rng.uniform(20, 44)), float(rng.uniform(3.5, 13))
        place, turn = rng.uniform(*HAND_PLACE), rng.uniform(*HAND_ANGLE)
        narrowing = rng.uniform(0.9, 1.1) ** np.arange(tails) if rng.random() < 0.3 else np.ones(tails)
        if careful:
            pin, narrowing = tail * float(rng.uniform(0.3, 0.9)), np.ones(tails)
            place, turn = rng.uniform(*CAREFUL_PLACE), rng.uniform(*CAREFUL_ANGLE)
    else:
        tails = int(rng.integers(3, 10))
        pitch = float(rng.choice([22.2, 25.4, 25.0, 20.0, 12.7]))
        share = rng.uniform(0.45, 0.6)
        tail, pin = pitch * share, pitch * (1 - share)
        place, turn, narrowing = rng.uniform(*MACHINE_PLACE), rng.uniform(*MACHINE_ANGLE), np.ones(tails)
    # widths are those half way between shoulder and end
    tail_widths = tail * narrowing * (1 + place * rng.standard_normal(tails))
    pin_widths = pin * (1 + 2 * place * rng.standard_normal(tails + 1)).clip(0.5, 1.7)
    # neither a pin at the end nor a tail at the shoulder may run out to a point
    depth = min(depth, 0.75 * float(min(pin_widths.min(), tail_widths.min())) / slope)
    start = pin_widths[0] * (rng.uniform(0.5, 1.2) if hand else 0.5)
    sides, angles, y = [], [], float(start)
    for k in range(tails):
        for sign in (-1, 1):
            own = angle + turn * float(rng.standard_normal())
            reach = 0.5 * depth * np.tan(np.deg2rad(own))
            sides.append((y - sign * reach, y + sign * reach))
            angles.append(own)
            y += float(tail_widths[k] if sign < 0 else pin_widths[k + 1])
    height = y if not hand else y - float(pin_widths[-1]) * rng.uniform(0, 0.4)
    lap = float(rng.uniform(3, 7)) if half_blind else 0.0
    return Plan(height, depth, lap, np.array(sides), tuple(angles), False, hand)


def square_plan(rng: np.random.Generator, *, fingers: bool) -> Plan:
    """Finger joint of equal fingers, or the pin side of dovetails: straight sides, unequal widths."""
    depth = float(rng.uniform(8, 20))
    if fingers:
        count, width = int(rng.integers(5, 16)), float(rng.choice([6.0, 6.35, 8.0, 9.5, 12.0, 12.7]))
        bounds = width * np.arange(1, count) * (1 + rng.normal(0, 0.002, count - 1))
        height, first, hand = width * count, bool(rng.random() < 0.5), False
    else:
        other = dovetail_plan(rng, half_blind=False, hand=bool(rng.random() < 0.7))
        bounds, height, first, hand = other.sides.mean(axis=1), other.height, True, other.hand
    return Plan(height, depth, 0.0, np.stack([bounds, bounds], axis=1), tuple(0.0 for _ in bounds), first, hand)


def fingers_of(plan: Plan) -> list[NDArray[np.float64]]:
    """Trapezoids (4, 2) of the board seen broad side on: (x from the shoulder, y)."""
    edges = [(0.0, 0.0), *map(tuple, plan.sides), (plan.height, plan.height)]
    out = []
    for k in range(len(edges) - 1):
        if (k % 2 == 0) == plan.first_tail:
            (a0, a1), (b0, b1) = edges[k], edges[k + 1]
            out.append(np.array([[0, a0], [plan.depth, a1], [plan.depth, b1], [0, b0]]))
    return out


@dataclass(frozen=True, eq=False)
class Woods:
    """What a joint is made of: the board seen broad side on, the one seen at its end, their finish and a seed for wear."""

    side: Board
    other: Board
    finish: stuff.Finish
    seed: int


def some_woods(rng: np.random.Generator) -> Woods:
    same = rng.random() < 0.35
    side = stuff.board_of(stuff.SECONDARY, rng)
    other = stuff.board_of(((side.log.species.name,) if same else stuff.PRIMARY + stuff.SECONDARY), rng)
    return Woods(side, other, stuff.some_finish(rng, bare=0.75), int(rng.integers(1, 2**30)))


def other_face(plan: Plan, depth: float) -> Plan:
    """The same joint seen from the board that carries the pins: square sides where the tails end."""
    ends = plan.sides[:, 1]
    return Plan(plan.height, depth, 0.0, np.stack([ends, ends], axis=1), tuple(0.0 for _ in ends), not plan.first_tail, plan.hand)


def draw(plan: Plan, rng: np.random.Generator, *, reach: float, past: float, texel: float,
         woods: Woods | None = None) -> tuple[Image, Sheet, TailTruth]:
    """Picture (linear in mm), its sheet and truth in mm. `reach`: mm of the board shown before the shoulder; `past`: mm of
    what lies behind, beyond the end."""
    width = reach + plan.depth + plan.lap + past
    sheet = Sheet(width, plan.height, texel)
    woods = woods or some_woods(rng)
    side, other, finish, seed = woods.side, woods.other, woods.finish, woods.seed
    rgb = stuff.dressed(stuff.face(side, sheet, at=(float(rng.uniform(-200, 200)), 0.0)), finish, seed, texel)
    shoulder = sheet.width - past - plan.lap - plan.depth
    # end grain soaks up more finish and dirt
    end_sheet = Sheet(plan.depth + plan.lap, plan.height, texel)
    end = stuff.dressed(stuff.end_of(other, end_sheet), finish, seed + 1, texel) * np.float32(rng.uniform(0.8, 1.0))
    block = np.zeros_like(rgb)
    at = round(shoulder / texel)
    wide = min(end.shape[1], rgb.shape[1] - at)
    block[: end.shape[0], at : at + wide] = end[: rgb.shape[0], :wide]
    xs, _ = sheet.axes()
    ones = np.ones(sheet.shape, np.float32)
    in_joint = ((xs >= shoulder) & (xs < shoulder + plan.depth + plan.lap)).astype(np.float32) * ones
    fingers = [f + np.array([shoulder, 0.0]) for f in fingers_of(plan)]
    tails = np.zeros(sheet.shape, np.float32)
    for f in fingers:
        tails = np.maximum(tails, sheet.polygon(f))
    rgb = stuff.mix(rgb, block, in_joint * (1 - tails))
    rgb = _lines(rgb, plan, sheet, shoulder, fingers, rng)
    if past > 0:
        beyond = (xs >= shoulder + plan.depth + plan.lap).astype(np.float32) * ones
        rgb = stuff.mix(rgb, _background(sheet, rng), beyond)
    sides = np.stack([np.stack([np.full(len(plan.sides), shoulder), plan.sides[:, 0]], 1),
                      np.stack([np.full(len(plan.sides), shoulder + plan.depth), plan.sides[:, 1]], 1)], axis=1)
    mid = plan.sides.mean(axis=1)
    start = 1 if not plan.first_tail else 0
    pins = [(mid[k] + mid[k + 1]) / 2 for k in range(start, len(mid) - 1, 2)]
    tails_whole = len(range(1 - start, len(mid) - 1, 2))
    places = np.array([[shoulder + plan.depth / 2, y] for y in pins]).reshape(-1, 2)
    truth = TailTruth(sides, places, float(np.mean(plan.angles)), plan.angles, plan.hand, tails_whole)
    return rgb, sheet, truth


def _lines(rgb: Image, plan: Plan, sheet: Sheet, shoulder: float, fingers: list[NDArray[np.float64]],
           rng: np.random.Generator) -> Image:
    """Glue lines and gaps along the fingers, the scribed base line, saw marks past it, dirt along the joint."""
    strength = rng.uniform(0.15, 0.75)
    fit = rng.uniform(0.05, 0.22) if not plan.hand else rng.uniform(0.08, 0.4)
    for f in fingers:
        runs = [(f[0], f[1]), (f[1], f[2]), (f[2], f[3])]
        for p, q in runs:
            open_mm = fit * float(rng.uniform(0.4, 1.6)) + (rng.uniform(0.2, 0.7) if plan.hand and rng.random() < 0.12 else 0)
            cover = sheet.line(tuple(p), tuple(q), open_mm) * np.float32(strength * rng.uniform(0.6, 1.2))
            rgb = rgb * (1 - 0.8 * np.clip(cover, 0, 1))[..., None]
        if plan.hand and rng.random() < 0.3:  # saw run past the line
            for p, q in ((f[0], f[1]), (f[3], f[2])):
                d = (p - q) / max(float(np.hypot(*(p - q))), 1e-6)
                over = sheet.line(tuple(p), tuple(p + d * rng.uniform(0.5, 4)), 0.3)
                rgb = rgb * (1 - 0.5 * over)[..., None]
    ends = [b for f in fingers for b in (f[0][1], f[3][1])]
    gaps = sorted([0.0, *ends, plan.height]) if plan.first_tail is False else sorted(ends)
    for a, b in zip(gaps[0::2], gaps[1::2], strict=False):
        rgb = rgb * (1 - 0.7 * strength * sheet.line((shoulder, a), (shoulder, b), fit))[..., None]
    if plan.hand and rng.random() < 0.7:
        off = rng.normal(0, 0.15)
        mark = sheet.line((shoulder + off, 0.0), (shoulder + off, plan.height), 0.25)
        rgb = rgb * (1 - rng.uniform(0.2, 0.6) * mark)[..., None]
    if rng.random() < 0.5:
        xs, _ = sheet.axes()
        near = np.exp(-0.5 * ((xs - shoulder - plan.depth) / 5.0) ** 2)[None, :]
        dirt = 0.6 + 0.4 * stuff.clouds(sheet, int(rng.integers(1, 9999)), 14)
        rgb = rgb * (1 - rng.uniform(0.05, 0.25) * near * dirt)[..., None]
    return np.asarray(np.clip(rgb, 0, 1), np.float32)


def _background(sheet: Sheet, rng: np.random.Generator) -> Image:
    base = np.asarray(rng.uniform(0.05, 0.75) * (1 + rng.normal(0, 0.08, 3)), np.float32)
    tone = 1 + 0.25 * stuff.clouds(sheet, int(rng.integers(1, 9999)), 30)
    return np.clip(base * tone[..., None], 0, 1).astype(np.float32)

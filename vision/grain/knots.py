"""Knots: round blobs with the grain flowing round them, located in working-view pixels.

A trunk grows round a branch, so the grain parts before a knot and closes behind it, on both sides: the turn away from the
mean direction has one sign in two opposite quadrants and the other sign in the other two. Straight grain that runs up to a
screw hole or under a handle shows a blob but no such turn; a cathedral turns on one side only. A knob whose rim passes for
such a turn is told by what no knot has: a colour that is not the wood's, or a crisp rim with glint and shadow.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grain.fittings import fittings
from vision.grain.flow import RESOLVED, smoothed
from vision.grain.metric import angle_difference
from vision.resize import resize
from vision.types import GrainField, WorkingView

#: Knot radii looked for, working-view px.
RADII = (5.0, 8.0, 12.0, 18.0, 27.0)
#: Share of ideal flow round the spot, and share of all turns it must explain, that count in full.
FULL_FLOW, FULL_SHARE = 0.4, 0.4
#: Below either of these nothing flows round the spot; flow far beyond the ideal is something else.
MIN_FLOW, MIN_SHARE, MAX_FLOW = 0.25, 0.18, 2.0
#: The flow must explain this many times what chance does (F ratio over the independent cells of the ring).
MIN_RATIO = 12.0
MIN_CONTRAST = 1.3
#: Agreement of the wider surroundings on one direction.
MIN_ORDER = 0.6
MIN_SCORE = 0.3
#: A spot of which this share is a fitting (a knob's foreign colour, sharp rim, glint and shadow) is no knot.
MOST_FITTING = 0.3
#: Contrast of a spot against its surroundings, in standard deviations there, that counts in full.
FULL_CONTRAST = 2.0
_CANDIDATES = 14
_SECTORS = 16


@dataclass(frozen=True)
class Knot:
    """A knot centred on (x, y) with `radius`, working-view pixels. `score` 0..1: how far the grain beside it follows ideal
    flow round a disc, and how far the spot differs in tone from what surrounds it."""

    x: float
    y: float
    radius: float
    score: float


@dataclass(frozen=True)
class Spot:
    """A round spot, working-view pixels. `contrast`: in standard deviations of the tone around it; `dark`: darker than it."""

    x: float
    y: float
    radius: float
    contrast: float
    dark: bool


def find_knots(view: WorkingView, field: GrainField, *, window: float = 3.0, limit: int = 20) -> tuple[Knot, ...]:
    """Knots of a panel, best first.

    field : grain of the view with a short integration window, so that it can be read beside a small knot.
    window : that integration scale in px; the grain is read no nearer to the spot's rim than twice this, because the rim
        itself, like that of any disc, looks like grain running round it.
    """
    weight = np.where(field.valid & (field.coherence > RESOLVED), field.coherence, 0).astype(np.float32)
    if (weight > 0).sum() < 60:
        return ()
    step = int(field.step)
    base, order = smoothed(field, 45 / field.step, weight)
    knots = []
    for spot in find_spots(view, step):
        if spot.contrast < MIN_CONTRAST:
            break
        row, col = round((spot.y + 0.5) / step - 0.5), round((spot.x + 0.5) / step - 0.5)
        if order[row, col] < MIN_ORDER:
            continue
        flow, share, ratio = _turn_round(field, weight, float(base[row, col]), row, col, spot.radius, window)
        if not MIN_FLOW <= flow <= MAX_FLOW or share < MIN_SHARE or ratio < MIN_RATIO:
            continue
        turn = min(1.0, flow / FULL_FLOW) * min(1.0, share / FULL_SHARE)
        score = math.sqrt(turn * min(1.0, spot.contrast / FULL_CONTRAST))
        if score >= MIN_SCORE:
            knots.append(Knot(spot.x, spot.y, spot.radius, score))
    if knots:
        no_wood = fittings(view.pixels, view.mask)
        knots = [k for k in knots if _share_within(no_wood, k) < MOST_FITTING]
    return _thinned(knots, limit)


def _share_within(spots: NDArray[np.bool_], knot: Knot) -> float:
    """Share of the inner part of a knot's disc that lies on the marked spots."""
    disc = np.zeros(spots.shape, np.uint8)
    cv2.circle(disc, (round(knot.x), round(knot.y)), max(1, round(0.7 * knot.radius)), 1, cv2.FILLED)
    inside = disc > 0
    return float(spots[inside].mean()) if inside.any() else 0.0


def _to_cells(values: NDArray[np.float32], step: int, rows: int, cols: int) -> NDArray[np.float32]:
    height, width = values.shape
    padded = cv2.copyMakeBorder(values, 0, rows * step - height, 0, cols * step - width, cv2.BORDER_REPLICATE)
    return np.asarray(resize(np.asarray(padded), cols, rows), np.float32)


_SPOTS: WeakKeyDictionary[WorkingView, dict[int, tuple[Spot, ...]]] = WeakKeyDictionary()


def find_spots(view: WorkingView, step: int = 4) -> tuple[Spot, ...]:
    """Round spots of the panel, most contrast first: extrema of differences of Gaussians, one per place.

    A streak of the grain answers too, but less than a disc; whether a spot is a knot only the grain beside it can tell. Looked
    for once a view and step.
    """
    known = _SPOTS.setdefault(view, {})
    if step not in known:
        known[step] = _spots(view, step)
    return known[step]


def _spots(view: WorkingView, step: int) -> tuple[Spot, ...]:
    height, width = view.mask.shape
    rows, cols = -(-height // step), -(-width // step)
    grey = _to_cells(np.asarray(cv2.cvtColor(view.pixels, cv2.COLOR_RGB2GRAY), np.float32), step, rows, cols)
    inside = _to_cells(view.mask.astype(np.float32), step, rows, cols)

    def blur(px: float) -> NDArray:
        # a wide blur is as good at half size, at a quarter of the work
        coarse = px > 6 * step
        values, sigma = (half, px / (2 * step)) if coarse else (masked, max(0.4, px / step))
        size = 2 * math.ceil(2.2 * sigma) + 1
        out = cv2.GaussianBlur(values, (size, size), sigma, borderType=cv2.BORDER_CONSTANT)
        return resize(np.asarray(out), cols, rows)

    stack = np.dstack([grey * inside, grey * grey * inside, inside])
    wide = np.asarray(cv2.blur(stack, (21, 21), borderType=cv2.BORDER_CONSTANT))
    share = np.maximum(wide[..., 2], 1e-3)
    spread = np.sqrt(np.maximum(wide[..., 1] / share - (wide[..., 0] / share) ** 2, 0))
    masked = np.dstack([grey * inside, inside])
    half = resize(masked, max(1, cols // 2), max(1, rows // 2))
    found: list[tuple[float, int, int, float, float]] = []
    for radius in RADII:
        near, far = blur(0.6 * radius), blur(1.8 * radius)
        lift = near[..., 0] / np.maximum(near[..., 1], 1e-3) - far[..., 0] / np.maximum(far[..., 1], 1e-3)
        contrast = np.abs(lift) / (0.7 * spread + 4)
        contrast[(inside < 0.5) | (far[..., 1] < 0.6)] = 0
        reach = 2 * max(1, round(radius / step)) + 1
        top = (contrast >= cv2.dilate(contrast, np.ones((reach, reach), np.uint8))) & (contrast > 0.6)
        found += [(float(contrast[r, c]), int(r), int(c), radius, float(lift[r, c]))
                  for r, c in zip(*np.nonzero(top), strict=True)]
    spots: list[Spot] = []
    for contrast_here, row, col, radius, lift_here in sorted(found, reverse=True):
        x, y = (col + 0.5) * step - 0.5, (row + 0.5) * step - 0.5
        if any(math.hypot(x - s.x, y - s.y) < max(radius, s.radius) for s in spots):
            continue
        size = _rim(grey, row, col, radius / step) * step
        if RADII[0] <= size <= 1.6 * RADII[-1]:
            spots.append(Spot(x, y, size, contrast_here, lift_here < 0))
        if len(spots) == _CANDIDATES:
            break
    return tuple(spots)


def _rim(grey: NDArray[np.float32], row: int, col: int, cells: float) -> float:
    """Radius in cells at which the tone has gone half the way from the spot to its surroundings."""
    radii = np.arange(0.0, 3 * cells + 2, 0.5)
    phi = 2 * np.pi * np.arange(_SECTORS) / _SECTORS
    r = np.clip(np.rint(row + radii[:, None] * np.sin(phi)).astype(int), 0, grey.shape[0] - 1)
    c = np.clip(np.rint(col + radii[:, None] * np.cos(phi)).astype(int), 0, grey.shape[1] - 1)
    tone = np.median(grey[r, c], axis=1)
    outside = float(np.median(tone[radii >= 2 * cells]))
    share = np.abs(tone - outside) / max(abs(float(tone[0]) - outside), 1.0)
    gone = np.nonzero(share < 0.5)[0]
    return float(radii[gone[0]]) if gone.size else 3 * cells


def _turn_round(field: GrainField, weight: NDArray[np.float32], base: float, row: int, col: int, radius: float,
                window: float) -> tuple[float, float, float]:
    """(flow round the spot, share of the turns it explains 0..1, F ratio of that share).

    The turn away from `base` degrees on a ring that begins two windows beyond the rim is fitted by least squares as that of
    ideal flow round a disc, -(R / r)^2 sin 2 phi, plus a constant, a linear bend and a cathedral's one-sided pattern. The
    first number is the coefficient of the flow: 1 for ideal flow, 0 for straight grain.
    """
    inner, outer = radius + 2 * window, 1.6 * radius + 4 * window
    reach = math.ceil(outer / field.step)
    rows = np.arange(max(0, row - reach), min(weight.shape[0], row + reach + 1))
    cols = np.arange(max(0, col - reach), min(weight.shape[1], col + reach + 1))
    box = np.ix_(rows, cols)
    x, y = (cols[None] - col) * field.step, (row - rows[:, None]) * field.step
    t = math.radians(base)
    u, v = x * math.cos(t) + y * math.sin(t), -x * math.sin(t) + y * math.cos(t)
    r2 = u * u + v * v
    ring = (r2 >= inner**2) & (r2 <= outer**2)
    known = ring & (weight[box] > 0)
    quadrant = ((u > 0) * 2 + (v > 0))[known]
    if known.sum() < 0.5 * ring.sum() or np.bincount(quadrant, minlength=4).min() < 0.06 * ring.sum():
        return 0.0, 0.0, 0.0
    u, v, r2, w = u[known], v[known], r2[known], np.sqrt(weight[box][known])
    turn = np.radians(np.clip(angle_difference(field.angle[box][known], base), -40, 40))
    flow = -2 * u * v / r2 * (radius**2 / r2)
    rest = np.stack([np.ones_like(u), u / outer, v / outer, np.sign(v) * np.sqrt(np.abs(v) / outer)], axis=1)
    # what the other terms explain is taken out of both sides, so the flow is judged on its own (Frisch and Waugh)
    q, _ = np.linalg.qr(rest * w[:, None])
    own, left = w * flow, w * turn
    own, left = own - q @ (q.T @ own), left - q @ (q.T @ left)
    power = float(own @ own)
    if power <= 0:
        return 0.0, 0.0, 0.0
    coefficient = float(own @ left) / power
    # two degrees of scatter are in any real grain: without them a hole in ruled lines would count as well explained
    scatter = float((w**2).sum()) * math.radians(2) ** 2
    share = coefficient**2 * power / (float(left @ left) + scatter)
    independent = len(u) * min(1.0, field.step**2 / (2 * math.pi * window**2))
    return coefficient, share, share / max(1 - share, 1e-3) * max(independent - rest.shape[1] - 1, 0)


def _thinned(knots: list[Knot], limit: int) -> tuple[Knot, ...]:
    out: list[Knot] = []
    for k in sorted(knots, key=lambda k: -k.score):
        if all(math.hypot(k.x - o.x, k.y - o.y) > 1.2 * (k.radius + o.radius) for o in out):
            out.append(k)
    return tuple(out[:limit])

"""A bank-card-sized card on a photo: found by itself or round a tapped point, checked, and turned into millimetres.

Many things are rectangles. A find must pass all of: straight sides held by edges nearly all round; length to width 1.5858
once perspective is undone, within what the sides' errors and the unknown focal length allow; corners rounded by about
3.18 mm; a plausible distance from the camera. Where a check cannot decide (too small, too slanted), nothing is found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.millimetres import Scale
from vision.resize import fit_within, resize
from vision.scale.objects import CARD_MM, CARD_RADIUS_MM, CARD_THICKNESS_MM, CARD_TOLERANCE
from vision.scale.pose import RATIO, Pose, fit_poses
from vision.scale.quads import candidate_quads
from vision.scale.rounding import Rounding, measured_rounding
from vision.scale.sides import Side, crossings, refined_side

Array = NDArray[np.float64]
WORKING_PIXELS, COARSE_PIXELS = 1_000_000, 250_000
#: Corners of the card in its own mm, clockwise as seen from above, origin in its middle.
CARD_CORNERS = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(CARD_MM) / 2
#: Largest departure of the length-to-width ratio (log) in standard errors, and as such; the largest standard error with
#: which the ratio still says something.
RATIO_SIGMAS, RATIO_MOST, RATIO_BLIND = 2.6, 0.06, 0.10
MOST_MISFIT = 14.0
#: Nearest and farthest a card can lie, mm; smallest scale at which round corners can be told, photo px per mm.
NEAREST, FARTHEST, MIN_PX_PER_MM = 100.0, 2500.0, 1.2
MOST_TILT = 65.0
#: Standard error of a side that more profiles do not cure, mm on the card: its wall of 0.76 mm and its shadow can be taken
#: for its edge; and the share of that by which the side's ends may differ from its middle.
SIDE_MM, SIDE_TURN = 0.15, 0.25
#: Sides: least share of profiles on the line (mean, worst), greatest scatter about it (px, mm: the larger counts).
HELD_MEAN, HELD_WORST, RMS_PX, RMS_MM = 0.72, 0.3, 0.75, 0.22
#: Standard errors of any length as a share: lens distortion near the middle of a phone photo and the card's bow; wall and
#: shadow that widen all sides alike, more so the more of the wall is seen (times the sine of the tilt, plus one).
LENS_SHARE, WIDENED_SHARE, SLANTED = 0.0025, 0.004, 1.5


@dataclass(frozen=True, eq=False)
class CardSeen:
    """A candidate as measured. `ratio`: log of the ratio found over 85.60 / 53.98, and its standard error."""

    corners: Array
    covariance: Array
    sides: tuple[Side, ...]
    poses: tuple[Pose, ...]
    ratio: tuple[float, float]
    misfit: float
    rounding: Rounding
    px_per_mm: float


def find_card(
    photo: NDArray[np.uint8], *, tap: tuple[float, float] | None = None, focal_px: float | None = None, named: bool = False
) -> Scale | None:
    """Scale from a card on an upright RGB photo, or None.

    `tap`: a photo point on the card; the checks of corners are then milder, since someone says that it is a card.
    `focal_px`: focal length in photo px when the file states it. `named`: someone says that there is a card; outlines are
    then looked for on a coarser image too, where grain is gone (twice the work).
    """
    seen: list[CardSeen] = []
    for pixels in (WORKING_PIXELS, COARSE_PIXELS) if named or tap is not None else (WORKING_PIXELS,):
        found = cards_seen(photo, tap=tap, focal_px=focal_px, pixels=pixels)
        seen = [c for c in found if is_card(c, told=tap is not None)]
        if seen:
            break
    if not seen:
        return None
    best = min(seen, key=lambda c: (abs(c.rounding.radius - CARD_RADIUS_MM) > 1.0) + c.misfit / 10 - c.rounding.good)
    return _scale(best, photo)


def cards_seen(
    photo: NDArray[np.uint8], *, tap: tuple[float, float] | None = None, focal_px: float | None = None,
    pixels: int = WORKING_PIXELS,
) -> list[CardSeen]:
    """All measured candidates on a photo, card or not; outlines are looked for on an image of at most `pixels`."""
    h, w = photo.shape[:2]
    width, height = fit_within(w, h, max_pixels=pixels)
    small = resize(photo, width, height)
    share = np.array([w / width, h / height])
    inside = None if tap is None else ((tap[0] + 0.5) / share[0] - 0.5, (tap[1] + 0.5) / share[1] - 0.5)
    out = []
    for quad in candidate_quads(small, inside=inside):
        seen = _measured(photo, (quad + 0.5) * share - 0.5, float(share.mean()), focal_px, tap is not None)
        if seen is not None:
            out.append(seen)
    return out


def _measured(photo: NDArray[np.uint8], quad: Array, coarse: float, focal_px: float | None, told: bool) -> CardSeen | None:
    lengths = np.hypot(*(np.roll(quad, -1, axis=0) - quad).T)
    reach = float(np.clip(0.035 * lengths.min(), 2.5, 14)) + coarse
    sides: list[Side] = []
    for again in range(2):
        found = [refined_side(photo, quad[k], quad[(k + 1) % 4], reach if not again else 2.0 + coarse / 2) for k in range(4)]
        sides = [s for s in found if s is not None]
        if len(sides) < 4:
            return None
        corners, covariance = crossings(sides)
        if not np.isfinite(corners).all() or np.hypot(*(corners - quad).T).max() > 0.25 * lengths.max():
            return None
        quad = corners
    size = (photo.shape[1], photo.shape[0])
    px_per_mm = float(np.sqrt(_area(quad) / (CARD_MM[0] * CARD_MM[1])))
    if not told and not _straight(sides, px_per_mm):
        return None
    floor = np.diag([1.0, SIDE_TURN**2]) * (SIDE_MM * px_per_mm) ** 2
    quad, covariance = crossings([replace(s, covariance=s.covariance + floor) for s in sides])
    # the side that looks longer first; the other only where that fails, as it may when seen at a slant
    best: tuple[float, int, Pose] | None = None
    looks = np.hypot(*(np.roll(quad, -1, axis=0) - quad).T)
    first = 0 if looks[0] + looks[2] >= looks[1] + looks[3] else 1
    for turn in (first, 1 - first):
        if best is not None and abs(best[2].values[RATIO]) < 0.2:
            break
        order = np.roll(np.arange(4), -turn)
        free = fit_poses(CARD_CORNERS, quad[order], _rolled(covariance, turn), size, focal_px=focal_px, ratio_spread=0.5)
        for pose in free:
            if best is None or abs(pose.values[RATIO]) < abs(best[2].values[RATIO]):
                best = (pose.misfit, turn, pose)
    if best is None or abs(best[2].values[RATIO]) > 0.3:
        return None
    _, turn, free_pose = best
    order = np.roll(np.arange(4), -turn)
    corners, covariance = quad[order], _rolled(covariance, turn)
    poses = fit_poses(CARD_CORNERS, corners, covariance, size, focal_px=focal_px, ratio_spread=CARD_TOLERANCE)
    if not poses:
        return None
    rounding = measured_rounding(photo, poses[0].plane, px_per_mm)
    ratio = (float(free_pose.values[RATIO]), float(np.sqrt(free_pose.covariance[RATIO, RATIO])))
    ordered = tuple(sides[k] for k in order)
    return CardSeen(corners, covariance, ordered, tuple(poses), ratio, poses[0].misfit, rounding, px_per_mm)


def is_card(seen: CardSeen, *, told: bool = False) -> bool:
    """Whether a measured candidate passes all checks. `told`: somebody pointed at it."""
    off, error = seen.ratio
    pose = seen.poses[0]
    straight = _straight(seen.sides, seen.px_per_mm)
    shaped = seen.misfit <= MOST_MISFIT and abs(off) <= max(0.012, RATIO_SIGMAS * error) and abs(off) <= RATIO_MOST + error
    near = NEAREST <= pose.distance <= FARTHEST and pose.tilt <= MOST_TILT
    if told:
        return straight and shaped and near and seen.rounding.bad <= 2
    return (straight and shaped and near and error <= RATIO_BLIND and seen.px_per_mm >= MIN_PX_PER_MM
            and seen.rounding.plausible and seen.rounding.good >= 2 and seen.rounding.bad <= seen.rounding.good)


def _straight(sides: Sequence[Side], px_per_mm: float) -> bool:
    """Whether the sides are held by edges nearly all along and scatter little about their lines."""
    held = [s.held for s in sides]
    scatter = max(s.rms for s in sides)
    return float(np.mean(held)) >= HELD_MEAN and min(held) >= HELD_WORST and scatter <= max(RMS_PX, RMS_MM * px_per_mm)


def _rolled(covariance: Array, turn: int) -> Array:
    keep = np.roll(np.arange(8), -2 * turn)
    return covariance[np.ix_(keep, keep)]


def _area(quad: Array) -> float:
    return float(abs(cv2.contourArea(quad.astype(np.float32))))


def _scale(seen: CardSeen, photo: NDArray[np.uint8]) -> Scale:
    pose = seen.poses[0]
    # the card's face lies a card's thickness nearer than the surface, which is what shall be measured
    nearer = CARD_THICKNESS_MM / pose.distance * np.cos(np.deg2rad(pose.tilt))
    down = np.diag([1 + nearer, 1 + nearer, 1.0])
    widened = WIDENED_SHARE * (1 + SLANTED * np.sin(np.deg2rad(pose.tilt)))
    share = float(np.sqrt(LENS_SHARE**2 + widened**2 + (nearer / 3) ** 2))
    outline = tuple((float(x), float(y)) for x, y in seen.corners)
    either = down @ np.array([p.plane for p in seen.poses]) if len(seen.poses) > 1 else np.zeros((0, 3, 3))
    tilt = f"tilted about {pose.tilt:.0f} degrees" if pose.tilt > 8 else "nearly square on"
    words = (f"A bank-card-sized card lies on the surface, {tilt}, about {seen.px_per_mm:.1f} px per mm. "
             "Millimetres hold on the surface the card lies on, best near the card.")
    if len(either):
        words += " Which way the surface tilts cannot be told from this photo; the errors allow for both."
    return Scale("card", outline, words, down @ pose.plane, None, down @ pose.moves(), either, share)


def card_outline_mm() -> Array:
    """(n, 2) outline of a card with its round corners in its own mm, for drawing."""
    w, h = np.array(CARD_MM) / 2 - CARD_RADIUS_MM
    angles = np.linspace(0, np.pi / 2, 7)
    arcs = [np.c_[sx * w, sy * h] + CARD_RADIUS_MM * np.c_[np.cos(a0 + angles), np.sin(a0 + angles)]
            for sx, sy, a0 in ((1, 1, 0.0), (-1, 1, np.pi / 2), (-1, -1, np.pi), (1, -1, 1.5 * np.pi))]
    return np.vstack(arcs)

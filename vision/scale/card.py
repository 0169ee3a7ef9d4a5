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
from vision.scale.pose import seen as shown
from vision.scale.quads import candidate_quads
from vision.scale.rounding import Rounding, measured_rounding
from vision.scale.sides import Side, crossings, refined_side

Array = NDArray[np.float64]
WORKING_PIXELS, COARSER = 1_000_000, (450_000, 200_000)
#: Outlines measured on each image, also where a card is known to lie there, and how many of these may be mended.
QUADS, NAMED_QUADS, MOST_MENDED = 18, 24, 8
#: Corners of the card in its own mm, clockwise as seen from above, origin in its middle.
CARD_CORNERS = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(CARD_MM) / 2
#: Largest departure of the length-to-width ratio (log) in standard errors, and as such; the largest standard error with
#: which the ratio still says something.
RATIO_SIGMAS, RATIO_MOST, RATIO_BLIND = 2.6, 0.06, 0.10
#: The same where somebody says that a card lies there.
NAMED_SIGMAS, NAMED_BLIND = 3.2, 0.20
MOST_MISFIT = 14.0
#: Nearest and farthest a card can lie, mm; smallest scale at which round corners can be told, photo px per mm.
NEAREST, FARTHEST, MIN_PX_PER_MM = 100.0, 2500.0, 1.2
MOST_TILT = 65.0
#: Standard error of a side that more profiles do not cure, mm on the card: its wall of 0.76 mm and its shadow can be taken
#: for its edge; and the share of that by which the side's ends may differ from its middle.
SIDE_MM, SIDE_TURN = 0.15, 0.25
#: Sides: least share of profiles on the line (mean, worst), greatest scatter about it (px, mm: the larger counts).
HELD_MEAN, HELD_WORST, RMS_PX, RMS_MM = 0.72, 0.3, 1.2, 0.35
#: The same scatter for a side that is surely one edge.
STRICT_PX, STRICT_MM = 0.75, 0.22
#: Scatter of a side that its profiles' own noise explains, px; what is above it may be a side made of two edges.
SCATTER_FREE = 0.4
#: A side looked for anew: how far from where the others put it, mm; least share of profiles on it.
MEND_MM, MEND_HELD = 0.8, 0.6
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

    `tap`: a photo point on the card; only outlines that hold it are looked at. `focal_px`: focal length in photo px when the
    file states it. `named`: someone says that there is a card (a tap says so too); outlines are then looked for on coarser
    images as well, where grain is gone, and one bad side of four is mended (three to four times the work).
    """
    named = named or tap is not None
    for pixels in (WORKING_PIXELS, *COARSER) if named else (WORKING_PIXELS,):
        seen = cards_seen(photo, tap=tap, focal_px=focal_px, pixels=pixels, mend=named)
        seen = [c for c in seen if is_card(c, told=named)]
        if seen:
            return _scale(min(seen, key=_rank), photo)
    return None


def _rank(seen: CardSeen) -> float:
    """The smaller, the more like a card."""
    return (abs(seen.rounding.radius - CARD_RADIUS_MM) > 1.0) + seen.misfit / 10 - seen.rounding.good


def cards_seen(
    photo: NDArray[np.uint8], *, tap: tuple[float, float] | None = None, focal_px: float | None = None,
    pixels: int = WORKING_PIXELS, mend: bool = False,
) -> list[CardSeen]:
    """All measured candidates on a photo, card or not; outlines are looked for on an image of at most `pixels`."""
    h, w = photo.shape[:2]
    width, height = fit_within(w, h, max_pixels=pixels)
    small = resize(photo, width, height)
    share = np.array([w / width, h / height])
    inside = None if tap is None else ((tap[0] + 0.5) / share[0] - 0.5, (tap[1] + 0.5) / share[1] - 0.5)
    out = []
    tries = MOST_MENDED if mend else 0
    for quad in candidate_quads(small, inside=inside, most=NAMED_QUADS if mend else QUADS):
        sides = _sides(photo, (quad + 0.5) * share - 0.5, float(share.mean()))
        if sides is None:
            continue
        seen = _posed(photo, sides, focal_px)
        if tries and (seen is None or not is_card(seen, told=True)):
            tries -= 1
            seen = _mended(photo, sides, focal_px) or seen
        if seen is not None:
            out.append(seen)
    return out


def _sides(photo: NDArray[np.uint8], quad: Array, coarse: float) -> tuple[Side, ...] | None:
    """The four sides near a coarse outline; `coarse`: photo px per px of the image it was found on."""
    lengths = np.hypot(*(np.roll(quad, -1, axis=0) - quad).T)
    reach = float(np.clip(0.035 * lengths.min(), 2.5, 14)) + coarse
    sides: list[Side] = []
    for again in range(2):
        found = [refined_side(photo, quad[k], quad[(k + 1) % 4], reach if not again else 2.0 + coarse / 2) for k in range(4)]
        sides = [s for s in found if s is not None]
        if len(sides) < 4:
            return None
        corners, _ = crossings(sides)
        if not np.isfinite(corners).all() or np.hypot(*(corners - quad).T).max() > 0.25 * lengths.max():
            return None
        quad = corners
    return tuple(sides)


def _doubted(sides: Sequence[Side], px_per_mm: float) -> list[Side]:
    """The sides with what more profiles do not cure put into their covariance: wall and shadow; all the more where
    profiles scatter, for they may then have changed from face to wall halfway."""
    out = []
    for side in sides:
        floor = np.hypot(SIDE_MM * px_per_mm, max(0.0, side.rms - SCATTER_FREE))
        turn = np.hypot(SIDE_TURN * SIDE_MM * px_per_mm, max(0.0, side.rms - SCATTER_FREE))
        out.append(replace(side, covariance=side.covariance + np.diag([floor, turn]) ** 2))
    return out


def _posed(photo: NDArray[np.uint8], sides: Sequence[Side], focal_px: float | None) -> CardSeen | None:
    quad, _ = crossings(list(sides))
    if not np.isfinite(quad).all():
        return None
    size = (photo.shape[1], photo.shape[0])
    px_per_mm = _px_per_mm(quad)
    if not _straight(sides, px_per_mm):
        return None
    quad, covariance = crossings(_doubted(sides, px_per_mm))
    # the side that looks longer first; the other only where that fails, as it may when seen at a slant
    best: tuple[int, Pose] | None = None
    first = _longer(quad)
    for turn in (first, 1 - first):
        if best is not None and abs(best[1].values[RATIO]) < 0.2:
            break
        order = np.roll(np.arange(4), -turn)
        for pose in fit_poses(CARD_CORNERS, quad[order], _rolled(covariance, turn), size, focal_px=focal_px, ratio_spread=0.5):
            if best is None or abs(pose.values[RATIO]) < abs(best[1].values[RATIO]):
                best = (turn, pose)
    if best is None or abs(best[1].values[RATIO]) > 0.3:
        return None
    turn, free_pose = best
    order = np.roll(np.arange(4), -turn)
    corners, covariance = quad[order], _rolled(covariance, turn)
    poses = fit_poses(CARD_CORNERS, corners, covariance, size, focal_px=focal_px, ratio_spread=CARD_TOLERANCE)
    if not poses:
        return None
    rounding = measured_rounding(photo, poses[0].plane, px_per_mm)
    ratio = (float(free_pose.values[RATIO]), float(np.sqrt(free_pose.covariance[RATIO, RATIO])))
    ordered = tuple(sides[int(k)] for k in order)
    return CardSeen(corners, covariance, ordered, tuple(poses), ratio, poses[0].misfit, rounding, px_per_mm)


def _mended(photo: NDArray[np.uint8], sides: Sequence[Side], focal_px: float | None) -> CardSeen | None:
    """A card with one of the four sides looked for anew where the other three say that it must lie; None where that makes
    no card. A print line, a shadow or a hand may have been taken for that side."""
    size = (photo.shape[1], photo.shape[0])
    quad, _ = crossings(list(sides))
    if not np.isfinite(quad).all() or cv2.contourArea(quad.astype(np.float32)) < 100:
        return None
    px_per_mm = _px_per_mm(quad)
    found: list[CardSeen] = []
    for k in range(4):
        kept = _doubted(sides, px_per_mm)
        kept[k] = replace(kept[k], covariance=np.diag([1.0, 1.0]) * (0.2 * float(np.ptp(quad, axis=0).max())) ** 2)
        if not _straight([kept[m] for m in range(4) if m != k], px_per_mm):
            continue
        corners, covariance = crossings(kept)
        turn = _longer(quad)
        order = np.roll(np.arange(4), -turn)
        poses = fit_poses(CARD_CORNERS, corners[order], _rolled(covariance, turn), size, focal_px=focal_px,
                          ratio_spread=CARD_TOLERANCE)
        for pose in poses:
            spots = np.roll(shown(pose.values[None], CARD_CORNERS)[0], turn, axis=0)
            if pose.misfit > MOST_MISFIT or not np.isfinite(spots).all() or (np.abs(spots) > 10 * max(size)).any():
                continue
            anew = refined_side(photo, spots[k], spots[(k + 1) % 4], max(2.5, MEND_MM * px_per_mm))
            if anew is None or anew.held < MEND_HELD or anew.rms > max(STRICT_PX, STRICT_MM * px_per_mm):
                continue
            card = _posed(photo, [anew if m == k else sides[m] for m in range(4)], focal_px)
            if card is not None and is_card(card, told=True) and card.rounding.good >= 3:
                found.append(card)
    return min(found, key=_rank) if found else None


def _longer(quad: Array) -> int:
    looks = np.hypot(*(np.roll(quad, -1, axis=0) - quad).T)
    return 0 if looks[0] + looks[2] >= looks[1] + looks[3] else 1


def _px_per_mm(quad: Array) -> float:
    return float(np.sqrt(_area(quad) / (CARD_MM[0] * CARD_MM[1])))


def is_card(seen: CardSeen, *, told: bool = False) -> bool:
    """Whether a measured candidate passes all checks. `told`: somebody says that there is one; sides may then scatter
    more and the ratio be less sure, but three corners must be a card's: two can belong to a card with one side misplaced."""
    off, error = seen.ratio
    pose = seen.poses[0]
    straight = _straight(seen.sides, seen.px_per_mm, strictly=not told)
    sigmas = NAMED_SIGMAS if told else RATIO_SIGMAS
    shaped = seen.misfit <= MOST_MISFIT and abs(off) <= max(0.012, sigmas * error) and abs(off) <= RATIO_MOST + error
    near = NEAREST <= pose.distance <= FARTHEST and pose.tilt <= MOST_TILT
    if told:
        return (straight and shaped and near and error <= NAMED_BLIND and seen.px_per_mm >= MIN_PX_PER_MM
                and seen.rounding.plausible and seen.rounding.good >= 3 and seen.rounding.bad <= 1)
    return (straight and shaped and near and error <= RATIO_BLIND and seen.px_per_mm >= MIN_PX_PER_MM
            and seen.rounding.plausible and seen.rounding.good >= 2 and seen.rounding.bad <= seen.rounding.good)


def _straight(sides: Sequence[Side], px_per_mm: float, *, strictly: bool = False) -> bool:
    """Whether the sides are held by edges nearly all along and scatter little about their lines; `strictly`: as little as a
    side made of one edge."""
    held = [s.held for s in sides]
    scatter = max(s.rms for s in sides)
    px, mm = (STRICT_PX, STRICT_MM) if strictly else (RMS_PX, RMS_MM)
    return float(np.mean(held)) >= HELD_MEAN and min(held) >= HELD_WORST and scatter <= max(px, mm * px_per_mm)


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

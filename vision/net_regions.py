"""Where the panel net found what it says: its evidence for one face against another, laid on the photo, and compact spots of it.

The evidence of each cell of each picture is spread over the part of the photo that the cell shows. That some picture shows only
a small tile does not make the tile a spot: what counts is evidence beyond what there would be if each picture's evidence lay
evenly over the picture. Where nothing stands out so, the evidence is said to be spread, and no spot is made up.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.crop_places import crop_places
from vision.net_answer import NetAnswer
from vision.panels import geometry
from vision.types import Outline, WorkingView

Grid = NDArray[np.float64]
#: Grid cells along the longer side of the panel's box; points a cell of the net's map is spread by, along each side.
CELLS, SAMPLES = 56, 16
#: Spread of the smoothing in grid cells: a cell of a map 7 wide is 8 grid cells where its picture is the panel.
SMOOTH = 4.0
#: A spot reaches as far as its evidence density stays above these shares of its peak, the first that leaves it small enough.
LEVELS = (0.3, 0.45, 0.6, 0.75)
#: Spots marked at most, and the largest share of the panel's area that one may cover.
MOST, MOST_AREA = 3, 0.3
#: A spot fills at least this share of its convex hull.
COMPACT = 0.5


@dataclass(frozen=True)
class SpotRule:
    """What makes a spot: at least `times` the evidence that an even spread would put there, and at least the share `least` of
    all that points its way beyond it. Spots that together hold less than the share `together` do not tell where it lies."""

    times: float
    least: float
    together: float


#: What is marked. Of maps that are one mean with smooth noise up to twice as large, under 5 in 100 get a spot.
MARKED = SpotRule(2.0, 0.08, 0.2)
#: What deletion is tried on as well, to see where the line should lie; noise often gets this far.
WEAKER = SpotRule(1.7, 0.06, 0.15)


@dataclass(frozen=True, eq=False)
class EvidenceMap:
    """Evidence on a grid over the photo, nats a grid cell, arrays (rows, cols).

    `net`: all of it, signed; `towards`: that of places which point to the first face; `even`: what `towards` would be if it lay
    evenly over each picture. Cell (r, c) spans photo x from `origin[0]` + c * `step` to `origin[0]` + (c + 1) * `step`.
    `panel`: bool, cells whose middle is in the outline.
    """

    net: Grid
    towards: Grid
    even: Grid
    panel: NDArray[np.bool_]
    origin: tuple[float, float]
    step: float


@dataclass(frozen=True, eq=False)
class NetSpot:
    """A compact place. `outline` in photo pixels; `nats` the net's evidence in it (for the first face as against the second);
    `share` of all evidence towards the first face; `inside`: share of its area that lies on the panel."""

    outline: Outline
    nats: float
    share: float
    inside: float


@dataclass(frozen=True, eq=False)
class NetRegions:
    """Where evidence for `pair[0]` as against `pair[1]` lies. `nats`: all evidence (without the net's bias); `beside`: share of
    the evidence towards `pair[0]` that lies beside the panel; `spots`: largest share first, none where it is spread."""

    pair: tuple[str, str]
    nats: float
    beside: float
    spots: tuple[NetSpot, ...]


def evidence_map(answer: NetAnswer, view: WorkingView, size: tuple[int, int], pair: tuple[str, str]) -> EvidenceMap:
    """Evidence for the first face of `pair` as against the second, laid on a photo of `size` (width, height)."""
    cells = answer.evidence(pair)
    rows, cols = cells.shape[1:]
    v, u = np.mgrid[0 : rows * SAMPLES, 0 : cols * SAMPLES].reshape(2, -1)
    unit = np.c_[(u + 0.5) / (cols * SAMPLES), (v + 0.5) / (rows * SAMPLES)]
    x, y = view.native_origin
    h, w = view.native.shape[:2]
    near, far = np.array([x - w, y - h]) - 0.5, np.array([x + 2 * w, y + 2 * h]) - 0.5  # as far as any crop reaches on the photo
    at = [np.clip(place.on_photo(unit), near, far) for place in crop_places(answer.crops, size, view)]
    low, high = np.min([p.min(axis=0) for p in at], axis=0), np.max([p.max(axis=0) for p in at], axis=0)
    step = max(view.native.shape[:2]) / CELLS
    width, height = (int(np.ceil(s / step)) + 1 for s in high - low)
    net, towards, even = (np.zeros(height * width) for _ in range(3))
    for mass, points in zip(cells, at, strict=True):
        index = ((points - low) / step).astype(np.intp)
        flat = index[:, 1] * width + index[:, 0]
        each = (mass / SAMPLES**2)[v // SAMPLES, u // SAMPLES]
        positive = np.maximum(each, 0)
        net += np.bincount(flat, each, height * width)
        towards += np.bincount(flat, positive, height * width)
        even += np.bincount(flat, np.full(len(flat), positive.mean()), height * width)
    outline = (np.asarray(view.panel.outline, dtype=np.float64) - low) / step - 0.5
    shape = (height, width)
    return EvidenceMap(net.reshape(shape), towards.reshape(shape), even.reshape(shape),
                       geometry.polygon_mask(outline, width, height), (float(low[0]), float(low[1])), float(step))


def net_regions(
    answer: NetAnswer, view: WorkingView, size: tuple[int, int], pair: tuple[str, str] | None = None, rule: SpotRule = MARKED
) -> NetRegions:
    """Spots of the evidence for the face that the net's pictures speak for among `pair` (default: the two it puts first)."""
    a, b = pair or answer.leading()
    if answer.evidence((a, b)).sum() < 0:
        a, b = b, a
    found = evidence_map(answer, view, size, (a, b))
    total = float(found.towards.sum())
    beside = float(found.towards[~found.panel].sum()) / total if total > 0 else 0.0
    spots = _spots(found, total, rule) if total > 0 else []
    if sum(s.share for s in spots) < rule.together:
        spots = []
    return NetRegions((a, b), float(found.net.sum()), beside, tuple(spots))


def _spots(found: EvidenceMap, total: float, rule: SpotRule) -> list[NetSpot]:
    towards, even = (_smoothed(g) for g in (found.towards, found.even))
    excess = towards - even
    room = max(1.0, float(found.panel.sum()))
    free = np.ones(excess.shape, bool)
    spots: list[NetSpot] = []
    for _ in range(2 * MOST):
        left = np.where(free, excess, 0.0)
        peak = int(left.argmax())
        if left.flat[peak] <= 0 or len(spots) == MOST:
            break
        region = _round_peak(left, peak, MOST_AREA * room)
        if region is None:
            free.flat[peak] = False
            free &= ~_disc(excess.shape, peak, SMOOTH)
            continue
        around = cv2.distanceTransform((~region).astype(np.uint8), cv2.DIST_L2, 3)
        free &= around > 2 * SMOOTH  # the slope of a spot is no spot of its own
        held, expected = float(towards[region].sum()), float(even[region].sum())
        if held < rule.times * expected or held - expected < rule.least * total:
            continue
        spots.append(NetSpot(_outline(region, found), float(_smoothed(found.net)[region].sum()), held / total,
                             float(found.panel[region].mean())))
    return sorted(spots, key=lambda s: -s.share)


def _smoothed(grid: Grid) -> Grid:
    """Gaussian smoothing that moves no evidence off the grid."""
    blurred = cv2.GaussianBlur(grid, (0, 0), SMOOTH, borderType=cv2.BORDER_REFLECT)
    return np.asarray(blurred, dtype=np.float64)


def _disc(shape: tuple[int, ...], at: int, radius: float) -> NDArray[np.bool_]:
    r, c = divmod(at, shape[1])
    y, x = np.ogrid[: shape[0], : shape[1]]
    return np.asarray((y - r) ** 2 + (x - c) ** 2 <= radius**2)


def _round_peak(grid: Grid, peak: int, most: float) -> NDArray[np.bool_] | None:
    """The compact patch round a peak, at the lowest of LEVELS that leaves it at most `most` cells; None if none does."""
    for level in LEVELS:
        _, labels = cv2.connectedComponents((grid >= level * grid.flat[peak]).astype(np.uint8), connectivity=4)
        region = labels == labels.flat[peak]
        contours, _ = cv2.findContours(region.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        hull = float(cv2.contourArea(cv2.convexHull(contours[0]))) + 1
        if region.sum() <= most and region.sum() >= COMPACT * hull:
            return region
    return None


def _outline(region: NDArray[np.bool_], found: EvidenceMap) -> Outline:
    """Outline of a patch in photo pixels, its corners rounded by about a cell."""
    fine = np.pad(np.kron(region, np.ones((4, 4), bool)), 8).astype(np.float32)
    rounded = cv2.GaussianBlur(fine, (0, 0), 6.0) > 0.5
    if not rounded.any():
        rounded = fine > 0
    contours, _ = cv2.findContours(rounded.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    line = cv2.approxPolyDP(max(contours, key=cv2.contourArea), 1.0, True)[:, 0, :].astype(np.float64)
    if len(line) < 3:
        (x0, y0), (x1, y1) = line.min(axis=0), line.max(axis=0) + 1
        line = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    points = (line + 0.5 - 8) / 4 * found.step + found.origin
    return tuple((float(x), float(y)) for x, y in points)

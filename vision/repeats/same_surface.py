"""Whether a found repeat is one physical surface seen twice: then it is no repeat at all.

Four ways lead there: outlines of one photo that cover the same place, one panel on two photos, a front photographed
twice, and a reflection in a glossy top. On one photo the place itself tells. Between photos only the borders can tell: a print
that comes back on another front lies elsewhere against the borders of that front, while a surface photographed again keeps
its borders. Where the borders say nothing (both pictures end inside the surface, one outline may be a part of the
other, or two fronts were cut at one place of the print) it cannot be told, and counts as one surface: no evidence.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.repeats.repeat import Repeat
from vision.repeats.sheet import Sheet

#: On one photo: points that land nearer than this share of the region's size to where they came from are the same place.
SAME_PLACE = 0.10
#: Between photos: a border moved by less than this share of the panel's side may be the same border.
BORDER_SLACK = 0.13
#: A border nearer to the frame of the photo than this share of the panel's side is where the picture ends, not the panel.
FRAME_SLACK = 0.01
#: Borders of the two outlines overlap so far (intersection over union) that one panel is the plain reading.
SAME_OUTLINE = 0.80
#: A mirror image below its object, about an axis this near to level (degrees), can be a reflection in a top.
LEVEL_DEGREES = 30.0
#: An image that keeps less of the object's contrast than this is a reflection: below its object, and beside it.
REFLECTED_BELOW, REFLECTED_BESIDE = 0.7, 0.35
#: A sideways mirror image that is drawn out along one direction by more than this (log ratio), or whose scale runs by more than
#: this over the region (log), lies in a plane at an angle to its object's. Doors opened like a book in one plane reach 0.06
#: and 0.13 on composites under perspective and all damages; a mirror 60 to 85 degrees away passes one of the two in most cases.
DRAWN_OUT, TAPERED = 0.09, 0.14
#: A mirror turns over the direction from object to image, within this (degrees; perspective bends it).
ACROSS_DEGREES: Final = 40.0
#: Least correlation of what changes along the grain, and least lead of its peak, for a second showing on the same surface. A
#: figure slid a little along itself resembles itself: real boards reach 0.37 and 0.21, copies 0.66 and 0.58. A cathedral also
#: resembles its own mirror image: up to 0.60 and 0.50.
SLID: Final = (0.42, 0.28)
TURNED_OVER: Final = (0.68, 0.52)
#: Least correlation at middle scale, and least votes for a figure turned over, within one surface.
LEAST_MID, LEAST_VOTES = 0.45, 10
REASONS: Final = {
    "same_place": "Both regions cover the same place of the photo.",
    "reflection": "One is the mirror image of the other in a glossy surface.",
    "same_borders": "The figure lies alike against the borders of both panels: one panel on two photos, or two cut alike.",
    "no_borders": "Too few borders of the panels are in view to tell one surface from two.",
    "part_of": "One panel may be a part of the other.",
    "apart": "The regions lie apart on one photo.",
    "borders_moved": "The figure lies elsewhere against the borders of the panels.",
}


@dataclass(frozen=True)
class SameSurface:
    """`same`: count as one surface. `told`: the pictures tell it; False when nothing tells and `same` is only caution.

    `score` 0..1: how far they look like one surface (1 surely one, 0 surely two). `reason`: a key of REASONS.
    """

    same: bool
    told: bool
    score: float
    reason: str

    def __post_init__(self) -> None:
        if self.reason not in REASONS:
            raise ValueError(f"unknown reason {self.reason!r}")
        if not self.same and not self.told:
            raise ValueError("what cannot be told counts as one surface")


def is_same_surface(a: Sheet, b: Sheet, repeat: Repeat) -> bool:
    """Whether the two showings of `repeat` on sheets a and b are one physical surface, or cannot be told from it."""
    return same_surface(a, b, repeat.transform, np.array(repeat.region_a)).same


def more_than_itself(motion: str, measured: Mapping[str, float]) -> bool:
    """Whether a repeat within one surface agrees better than grain agrees with itself, slid along or turned over.

    measured : `Repeat.measured`; its 'crossing', 'lead', 'residual_mid' and 'votes' are read.
    """
    crossing, lead = SLID if motion == "shift" else TURNED_OVER
    if motion != "shift" and measured["votes"] < LEAST_VOTES:
        return False
    return measured["crossing"] >= crossing and measured["lead"] >= lead and measured["residual_mid"] >= LEAST_MID


def outlines_share(a: Sheet, b: Sheet) -> float:
    """Share 0..1 of the smaller of two panels of one photo that the other covers; 0 for panels of two photos."""
    if a.photo != b.photo:
        return 0.0
    p, q = (s.photo_points(_corners(_box(s))).astype(np.float32) for s in (a, b))
    common, _ = cv2.intersectConvexConvex(cv2.convexHull(p), cv2.convexHull(q))
    return float(common / max(min(cv2.contourArea(cv2.convexHull(p)), cv2.contourArea(cv2.convexHull(q))), 1e-6))


def same_surface(a: Sheet, b: Sheet, transform: NDArray[np.float64], region_a: NDArray[np.float64]) -> SameSurface:
    """The decision with its reason.

    Parameters
    ----------
    transform : 3x3, sheet a (x, y, 1) to sheet b pixels.
    region_a : (n >= 3, 2) corners of the region of sheet a that comes back on sheet b.

    A sheet without `frame` may fill its photo unknown to us: every border of it then counts as a border of the panel.
    """
    if a.photo == b.photo:
        return _on_one_photo(a, b, transform, region_a)
    return _on_two_photos(a, b, transform, region_a)


# -- one photo --------------------------------------------------------------------------------------------------------
def _on_one_photo(a: Sheet, b: Sheet, transform: NDArray[np.float64], region: NDArray[np.float64]) -> SameSurface:
    points = _inside(region)
    first, second = a.photo_points(points), b.photo_points(_through(transform, points))
    size = float(np.sqrt(max(cv2.contourArea(a.photo_points(region).astype(np.float32)), 1.0)))
    moved = float(np.median(np.linalg.norm(second - first, axis=1))) / size
    if moved < SAME_PLACE:
        return SameSurface(True, True, float(1 - 0.5 * moved / SAME_PLACE), "same_place")
    if _mirrored(a, b, transform, points):
        kept = _reflection(a, b, transform, points)
        if kept is not None:
            return kept
    return SameSurface(False, True, float(np.clip(0.5 * SAME_PLACE / moved, 0, 0.5)), "apart")


def _reflection(a: Sheet, b: Sheet, transform: NDArray[np.float64], points: NDArray[np.float64]) -> SameSurface | None:
    """A reflection, if the mirror image lies straight across from its object and carries only a part of its contrast.

    A glossy top shows the object's figure weakened and its own beside it, so what the image has of the object is measured
    by regression, not by how lively the image is.
    """
    if a.panel == b.panel:  # leaves opened like a book lie on one panel, object and image do not
        return None
    first, second = a.photo_points(points), b.photo_points(_through(transform, points))
    way = second - first
    mean = (way / np.maximum(np.linalg.norm(way, axis=1)[:, None], 1e-6)).mean(axis=0)
    if np.linalg.norm(mean) < 0.9:  # lines from object to image run side by side, or nearly so
        return None
    level = np.degrees(np.arctan2(abs(mean[1]), abs(mean[0]))) > 90 - LEVEL_DEGREES
    if not level and abs(float(mean @ _turned_over(a, b, transform, points))) < np.cos(np.radians(ACROSS_DEGREES)):
        return None  # a mirror turns over what stands towards it; this is turned over across the way to it
    to_b, to_a = _share_kept(a, b, transform, points)
    kept, limit = (to_b if mean[1] > 0 else to_a, REFLECTED_BELOW) if level else (min(to_a, to_b), REFLECTED_BESIDE)
    if kept < limit:
        return SameSurface(True, True, float(np.clip(1.0 - 0.5 * kept, 0.5, 1.0)), "reflection")
    drawn_out, tapered = _out_of_shape(transform, points)
    if not level and (drawn_out > DRAWN_OUT or tapered > TAPERED):
        return SameSurface(True, True, 0.6, "reflection")
    return None


def _out_of_shape(transform: NDArray[np.float64], points: NDArray[np.float64]) -> tuple[float, float]:
    """(median log ratio of the larger to the smaller stretch, range of the log scale) of a homography over points."""
    p = np.c_[points, np.ones(len(points))] @ transform.T
    at, depth = p[:, :2] / p[:, 2:], p[:, 2]
    jacobians = (transform[None, :2, :2] - at[:, :, None] * transform[None, 2:, :2]) / depth[:, None, None]
    stretch = np.maximum(np.linalg.svd(jacobians, compute_uv=False), 1e-9)
    scale = 0.5 * np.log(stretch.prod(axis=1))
    return float(np.median(np.log(stretch[:, 0] / stretch[:, 1]))), float(np.ptp(scale))


def _turned_over(a: Sheet, b: Sheet, transform: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Unit vector on the photo of the direction that a mirroring move turns into its opposite, at the points' middle."""
    around = points.mean(axis=0) + np.array([[0.0, 0.0], [2.0, 0.0], [0.0, 2.0]])
    p, q = a.photo_points(around), b.photo_points(_through(transform, around))
    values, vectors = np.linalg.eig((q[1:] - q[0]).T @ np.linalg.inv((p[1:] - p[0]).T))
    return np.asarray(vectors[:, int(np.argmin(values.real))].real, dtype=np.float64)


def _share_kept(a: Sheet, b: Sheet, transform: NDArray[np.float64], points: NDArray[np.float64]) -> tuple[float, float]:
    """Slopes of the detail of b on that of a, and of a on b, over the box of the points, once registered."""
    h, w = a.mask.shape
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    grey_a = cv2.cvtColor(a.pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    grey_b = cv2.warpPerspective(cv2.cvtColor(b.pixels, cv2.COLOR_RGB2GRAY).astype(np.float32), transform, (w, h), flags=flags,
                                 borderMode=cv2.BORDER_REPLICATE)  # a black surround would count for detail at the border
    inside = cv2.warpPerspective(b.mask.astype(np.uint8), transform, (w, h), flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP) > 0
    box = np.zeros((h, w), np.bool_)
    x0, y0 = np.clip(points.min(axis=0).astype(int), 0, [w - 1, h - 1])
    x1, y1 = np.clip(points.max(axis=0).astype(int), 0, [w - 1, h - 1])
    box[y0 : y1 + 1, x0 : x1 + 1] = True
    use = box & inside & a.mask
    if use.sum() < 100:
        return 1.0, 1.0
    fine, wide = max(1.0, min(h, w) / 120), max(4.0, min(h, w) / 12)
    x, y = ((cv2.GaussianBlur(g, (0, 0), fine) - cv2.GaussianBlur(g, (0, 0), wide))[use] for g in (grey_a, grey_b))
    # a handle in the region must not count for figure
    calm = (np.abs(x) <= np.percentile(np.abs(x), 97)) & (np.abs(y) <= np.percentile(np.abs(y), 97))
    x, y = x[calm] - x[calm].mean(), y[calm] - y[calm].mean()
    common = float(x @ y)
    return common / max(float(x @ x), 1e-6), common / max(float(y @ y), 1e-6)


def _mirrored(a: Sheet, b: Sheet, transform: NDArray[np.float64], points: NDArray[np.float64]) -> bool:
    """Whether the move turns the figure over, as seen on the photo."""
    centre = points.mean(axis=0)
    around = centre + np.array([[0.0, 0.0], [2.0, 0.0], [0.0, 2.0]])
    p, q = a.photo_points(around), b.photo_points(_through(transform, around))
    return _turn(p) * _turn(q) < 0


def _turn(p: NDArray[np.float64]) -> float:
    u, v = p[1] - p[0], p[2] - p[0]
    return float(u[0] * v[1] - u[1] * v[0])


# -- two photos -------------------------------------------------------------------------------------------------------
def _on_two_photos(a: Sheet, b: Sheet, transform: NDArray[np.float64], region: NDArray[np.float64]) -> SameSurface:
    box_a, box_b = _box(a), _box(b)
    real_a, real_b = _real_sides(a, box_a), _real_sides(b, box_b)
    on_b = _through(transform, _corners(box_a))
    middle, region_b = on_b.mean(axis=0), _through(transform, region)
    overlap = _overlap(on_b, _corners(box_b))
    moved: dict[int, float] = {}  # side of b -> how far the same side of a lies outside it, share of the depth of b
    known = 0
    for i in range(4):
        j, outside, depth = _facing(on_b[i], on_b[(i + 1) % 4], middle, box_b)
        if j is None or not (real_a[i] and real_b[j]):
            continue
        known += 1
        slack = BORDER_SLACK * max(1.0, 0.6 * _reach(region_b, box_b, j))
        if abs(outside) > slack * depth:
            moved[j] = outside / depth
    if known == 0:
        return SameSurface(True, False, 0.5, "no_borders")
    # outlines found too small move one border inwards; a figure that lies elsewhere moves opposite borders the same way
    both = [min(abs(moved[j]), abs(moved[j + 2])) for j in (0, 1)
            if j in moved and j + 2 in moved and moved[j] * moved[j + 2] < 0]
    if both:
        return SameSurface(False, True, float(np.clip(0.45 - 2 * (max(both) - BORDER_SLACK), 0.05, 0.45)), "borders_moved")
    if not moved:
        return SameSurface(True, overlap >= SAME_OUTLINE, float(np.clip(overlap, 0.5, 1.0)), "same_borders")
    return SameSurface(True, False, 0.5, "part_of")


def _box(sheet: Sheet) -> tuple[float, float, float, float]:
    """(x0, y0, x1, y1) of the panel on its sheet, pixel borders; 2 % of the mask may stick out."""
    out = []
    for axis in (0, 1):
        share = np.cumsum(sheet.mask.sum(axis=axis)).astype(float)
        share /= max(share[-1], 1.0)
        out.append((float(np.searchsorted(share, 0.005)) - 0.5, float(np.searchsorted(share, 0.995)) + 0.5))
    return out[0][0], out[1][0], out[0][1], out[1][1]


def _corners(box: tuple[float, float, float, float]) -> NDArray[np.float64]:
    x0, y0, x1, y1 = box
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def _real_sides(sheet: Sheet, box: tuple[float, float, float, float]) -> tuple[bool, ...]:
    """Whether each side (top, right, bottom, left) is a border of the panel rather than of the photo."""
    frame = sheet.frame
    if frame is None:
        return True, True, True, True
    corners = _corners(box)
    slack = FRAME_SLACK * float(np.ptp(sheet.photo_points(corners), axis=0).max()) + 2.0
    out = []
    for i in range(4):
        t = np.linspace(0.1, 0.9, 9)[:, None]
        p = sheet.photo_points(corners[i] * (1 - t) + corners[(i + 1) % 4] * t)
        near = np.minimum(np.minimum(p[:, 0], frame[0] - 1 - p[:, 0]), np.minimum(p[:, 1], frame[1] - 1 - p[:, 1])) < slack
        out.append(bool(near.mean() < 0.5))
    return tuple(out)


def _facing(p: NDArray[np.float64], q: NDArray[np.float64], centre: NDArray[np.float64],
            box: tuple[float, float, float, float]) -> tuple[int | None, float, float]:
    """(side of the box that faces the way p to q faces, how far p to q lies outside that side, the box's depth there).

    `centre`: middle of the outline that p to q is a side of. None when p to q is more than 25 degrees off both axes.
    """
    way, middle = q - p, (p + q) / 2
    x0, y0, x1, y1 = box
    wide, high = max(x1 - x0, 1.0), max(y1 - y0, 1.0)
    if abs(way[1]) < np.tan(np.radians(25)) * abs(way[0]):
        return (0, y0 - middle[1], high) if middle[1] < centre[1] else (2, middle[1] - y1, high)
    if abs(way[0]) < np.tan(np.radians(25)) * abs(way[1]):
        return (3, x0 - middle[0], wide) if middle[0] < centre[0] else (1, middle[0] - x1, wide)
    return None, 0.0, 1.0


def _overlap(p: NDArray[np.float64], q: NDArray[np.float64]) -> float:
    """Intersection over union of two convex quadrilaterals."""
    area_p, area_q = (float(cv2.contourArea(v.astype(np.float32))) for v in (p, q))
    common, _ = cv2.intersectConvexConvex(cv2.convexHull(p.astype(np.float32)), cv2.convexHull(q.astype(np.float32)))
    return float(common / max(area_p + area_q - common, 1e-6))


def _reach(region: NDArray[np.float64], box: tuple[float, float, float, float], side: int) -> float:
    """Distance from the region's middle to a side of the box, in half extents of the region: how far the move is drawn out."""
    axis = 1 if side in (0, 2) else 0
    low, high = float(region[:, axis].min()), float(region[:, axis].max())
    border = (box[1], box[2], box[3], box[0])[side]
    return abs(border - (low + high) / 2) / max((high - low) / 2, 1.0)


# -- shared -----------------------------------------------------------------------------------------------------------
def _through(matrix: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    p = np.c_[points, np.ones(len(points))] @ matrix.T
    return np.asarray(p[:, :2] / p[:, 2:], dtype=np.float64)


def _inside(region: NDArray[np.float64], steps: int = 24) -> NDArray[np.float64]:
    """Grid points inside a polygon, its corners' mean if none."""
    low, high = region.min(axis=0), region.max(axis=0)
    gx, gy = np.meshgrid(np.linspace(low[0], high[0], steps), np.linspace(low[1], high[1], steps))
    grid = np.c_[gx.ravel(), gy.ravel()]
    contour = region.astype(np.float32).reshape(-1, 1, 2)
    keep = [cv2.pointPolygonTest(contour, (float(x), float(y)), False) >= 0 for x, y in grid]
    inner = grid[np.array(keep)]
    return inner if len(inner) >= 3 else region

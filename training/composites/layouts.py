"""Panels laid up from leaves of real figure, with known geometry: book, slip, sunburst, box, boards and the others.

A layout is a list of pieces: a polygon on the panel, an affine map from the panel to a leaf's own frame (x along the grain,
y across it), the leaf's place in the flitch and its tone. Leaves drift with their place in the flitch as in `drift`; two
pieces from one leaf number are one leaf cut in two. Terms follow the trade's definitions of veneer matching (Architectural
Woodwork Standards 2009, section 4).

Assumptions: 2 to 6 leaves side by side, 1 to 1.8 px a millimetre; joints are 0 to 25 % darker over a pixel; boards 60 to
150 mm wide with tones 8 % apart; pieces are out of place by 0.2 % of the panel's shorter side; every second book leaf is
3 to 10 % darker (loose side up) in three panels of four.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites.camera import DAMAGES
from training.composites.drift import DEPTH_MM, LEAF_RANGE_MM, leaf_displacement, renew_detail
from training.composites.figures import Figure
from training.composites.layout_plans import PLANS, Affine, Piece, Plan, Polygon
from training.composites.pairs import foreign

NAMES = ("book", "slip", "random", "running", "balance", "centre_balance", "end", "sunburst", "box", "reverse_box", "diamond",
         "reverse_diamond", "herringbone", "parquet", "boards", "single")


#: Most flitches of one figure that are cut apart from each other.
APART = 9


@dataclass(frozen=True, eq=False)
class LayoutTruth:
    """A laid-up panel and what is true of it, all in pixels of `pixels`.

    `pixels`: (h, w, 3) uint8. `name`: one of `NAMES`. `match`: how neighbours relate: 'book', 'slip', 'none' (unrelated) or
    'one' (a single sheet). `leaves`: polygons (n, 2). `seams`: (2, 2) segments. `axes`: (2, 2) segments of mirror axes
    (each joint over which figure mirrors; for 'sunburst' each joint of two wedges). `centre`: (x, y) where leaves meet, or
    None. `wedges`: number of wedges, 0 when none. `grain`: degrees of the grain of each leaf, 0..180, counter-clockwise.
    """

    pixels: NDArray[np.uint8]
    name: str
    match: str
    leaves: tuple[Polygon, ...]
    seams: tuple[Polygon, ...]
    axes: tuple[Polygon, ...]
    centre: tuple[float, float] | None
    wedges: int
    grain: tuple[float, ...]
    groups: tuple[str, ...]
    damage: str


def make_layout(figures: Figure | Sequence[Figure], name: str, rng: np.random.Generator, damage: str = "none",
                ) -> LayoutTruth:
    """A panel laid up as `name` from the first figure (and, for unrelated leaves and boards, the others), then damaged.

    Grain along or across the panel, number and size of the leaves, joints and tones are drawn at random.
    """
    several = [figures] if isinstance(figures, Figure) else list(figures)
    if name not in NAMES:
        raise ValueError(f"unknown layout {name!r}; known: {NAMES}")
    return make_planned(PLANS[name](name, len(several), rng), several, name, rng, damage)


def make_planned(plan: Plan, several: list[Figure], name: str, rng: np.random.Generator, damage: str = "none",
                 touch: Callable[[NDArray[np.uint8], np.random.Generator], NDArray[np.uint8]] | None = None) -> LayoutTruth:
    """A panel laid up by a plan, then damaged; `touch` may put things on the surface before that."""
    surface = _lay(plan, several, rng)
    if touch is not None:
        surface = touch(surface, rng)
    turn = np.eye(3)
    if plan.wedges == 0 and rng.random() < 0.6:  # grain upright more often than lying, as on doors
        surface = np.ascontiguousarray(np.rot90(surface))
        turn = np.array([[0, 1, 0], [-1, 0, plan.size[0] - 1], [0, 0, 1.0]])
    pixels, shot = DAMAGES[damage](surface, rng)
    matrix = shot @ turn
    h, w = pixels.shape[:2]

    def move(points: Polygon) -> Polygon:
        p = np.c_[points, np.ones(len(points))] @ matrix.T
        return np.clip(p[:, :2] / p[:, 2:], -0.5, [w - 0.5, h - 0.5])

    grain = tuple(_grain(piece, matrix) for piece in plan.pieces)
    centre = None if plan.centre is None else tuple(float(v) for v in move(np.array([plan.centre]))[0])
    groups = tuple(dict.fromkeys(several[k].group for k in sorted({p.figure for p in plan.pieces})))
    return LayoutTruth(pixels, name, plan.match, tuple(move(p.polygon) for p in plan.pieces),
                       tuple(move(s) for s in plan.seams), tuple(move(a) for a in plan.axes),
                       (centre[0], centre[1]) if centre else None, plan.wedges, grain, groups, damage)


def _grain(piece: Piece, matrix: Affine) -> float:
    """Grain direction of a piece on the picture, degrees 0..180 counter-clockwise."""
    back = np.linalg.inv(piece.to_leaf)
    middle = piece.polygon.mean(axis=0)
    ends = np.array([middle, middle + back[:2, 0]])
    p = np.c_[ends, np.ones(2)] @ matrix.T
    p = p[:, :2] / p[:, 2:]
    dx, dy = p[1] - p[0]
    return float(np.rad2deg(np.arctan2(-dy, dx)) % 180)


# -- putting real figure into the pieces -----------------------------------------------------------------------------
def _lay(plan: Plan, figures: list[Figure], rng: np.random.Generator) -> NDArray[np.uint8]:
    w, h = plan.size
    out = np.zeros((h, w, 3), np.float32)
    weight = np.zeros((h, w, 1), np.float32)
    px_per_mm = float(rng.uniform(1.0, 1.8))
    flitches: dict[tuple[int, int], _Flitch] = {}
    boxes = [_leaf_box(p) for p in plan.pieces]
    keys = list(dict.fromkeys((p.figure, p.leaf // 1000) for p in plan.pieces))
    for piece in plan.pieces:
        key = (piece.figure, piece.leaf // 1000)
        if key not in flitches:
            same = [k for k in keys if k[0] == key[0]]
            mine = np.array([b for p, b in zip(plan.pieces, boxes, strict=True) if (p.figure, p.leaf // 1000) == key])
            low, high = mine[:, 0].min(axis=0), mine[:, 1].max(axis=0)
            flitches[key] = _Flitch(figures[piece.figure], figures[(piece.figure + 1) % len(figures)], low, high, px_per_mm,
                                    rng, (same.index(key), len(same)))
        leaf = flitches[key].leaf(piece.leaf % 1000)
        low = flitches[key].low
        place = np.eye(3)
        place[:2, 2] = rng.normal(0, 0.002 * min(w, h), 2) - low
        x0, y0 = np.clip(np.floor(piece.polygon.min(axis=0)) - 2, 0, [w - 1, h - 1]).astype(int)
        x1, y1 = np.clip(np.ceil(piece.polygon.max(axis=0)) + 3, 1, [w, h]).astype(int)
        corner = np.array([[1, 0, x0], [0, 1, y0], [0, 0, 1.0]])
        shown = cv2.warpAffine(leaf, (place @ piece.to_leaf @ corner)[:2], (int(x1 - x0), int(y1 - y0)),
                               flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REFLECT_101)
        cover = np.zeros((y1 - y0, x1 - x0), np.uint8)
        cv2.fillPoly(cover, [np.round((piece.polygon - [x0, y0]) * 16).astype(np.int32)], 255, lineType=cv2.LINE_AA, shift=4)
        share = (cover.astype(np.float32) / 255)[..., None]
        out[y0:y1, x0:x1] += share * shown.astype(np.float32) * np.float32(piece.tone)
        weight[y0:y1, x0:x1] += share
    out /= np.maximum(weight, 1e-3)
    dark = float(rng.uniform(0.0, 0.25))
    lines = np.zeros((h, w), np.float32)
    for seam in plan.seams:
        one = np.zeros((h, w), np.uint8)
        cv2.polylines(one, [np.round(seam * 16).astype(np.int32)], False, 255, 1, cv2.LINE_AA, shift=4)
        lines = np.maximum(lines, one.astype(np.float32) / 255)
    out *= 1 - dark * min(1.0, 0.7 * px_per_mm) * lines[..., None]
    return np.asarray(np.clip(np.round(out), 0, 255), dtype=np.uint8)


def figure_reaches(plan: Plan, figures: Sequence[Figure]) -> bool:
    """Whether the figures are large enough for a plan without being reflected at their rims."""
    boxes = [_leaf_box(p) for p in plan.pieces]
    for key in {(p.figure, p.leaf // 1000) for p in plan.pieces}:
        mine = np.array([b for p, b in zip(plan.pieces, boxes, strict=True) if (p.figure, p.leaf // 1000) == key])
        need = 0.4 * (mine[:, 1].max(axis=0) - mine[:, 0].min(axis=0) + 14)
        if figures[key[0]].pixels.shape[1] < need[0] or figures[key[0]].pixels.shape[0] < need[1]:
            return False
    return True


def _leaf_box(piece: Piece) -> NDArray[np.float64]:
    p = np.c_[piece.polygon, np.ones(len(piece.polygon))] @ piece.to_leaf.T
    return np.array([p[:, :2].min(axis=0), p[:, :2].max(axis=0)])


class _Flitch:
    """Successive leaves of one piece of figure, each covering the box `low`..`high` of leaf coordinates (panel pixels).

    `part`: which of how many flitches taken from this figure: up to `APART` of them come from strips that do not overlap, as
    far as the figure is wide enough, for leaves cut from one place would repeat each other though nobody laid a repeat.
    """

    def __init__(self, figure: Figure, other: Figure, low: NDArray[np.float64], high: NDArray[np.float64], px_per_mm: float,
                 rng: np.random.Generator, part: tuple[int, int] = (0, 1)) -> None:
        self.low = np.floor(low) - 6
        width, height = (int(v) for v in np.ceil(high - self.low) + 7)
        fh, fw = figure.pixels.shape[:2]
        scale = float(np.clip(min(fw / width, fh / height) * rng.uniform(0.8, 1.0), 0.4, 2.0))
        along, across = rng.uniform(0, 1, 2)
        if 1 < part[1] <= APART:
            scale = float(np.clip(fh / (part[1] * height), min(scale, 0.6), scale))
            across = (part[0] + across * max(0.0, 1 - part[1] * height * scale / fh)) / max(1, part[1] - 1)
        x0, y0 = along * max(1e-6, fw - width * scale), min(1.0, across) * max(1e-6, fh - height * scale)
        self.map = np.array([[scale, 0, x0], [0, scale, y0]])
        source = figure.pixels
        if scale > 1.15:
            source = np.asarray(cv2.GaussianBlur(source, (0, 0), 0.45 * float(np.sqrt(scale**2 - 1))), dtype=np.uint8)
        self.source, self.size, self.scale = source, (width, height), scale
        self.figure, self.other, self.px_per_mm, self.rng = figure, other, px_per_mm, rng
        self.depth = float(rng.uniform(*LEAF_RANGE_MM)) / DEPTH_MM  # slices of 0.6 mm from leaf to leaf
        self.slides: list[NDArray[np.uint8]] = []
        self.even = leaf_displacement(height, width, self.depth, figure.kind, px_per_mm, rng)
        self.walk = (np.zeros((height, width), np.float32), np.zeros((height, width), np.float32))
        self.strange = foreign(other, figure, width, height, rng).astype(np.float32)

    def leaf(self, number: int) -> NDArray[np.uint8]:
        """(h, w, 3) of leaf `number`. From leaf to leaf the rings shift evenly and wander a little, and half of the foreign
        detail is renewed: leaves next to each other are alike however deep in the flitch they lie."""
        while len(self.slides) <= number:
            self.slides.append(self._next(len(self.slides)))
        return self.slides[number]

    def _next(self, number: int) -> NDArray[np.uint8]:
        width, height = self.size
        y, x = np.mgrid[0:height, 0:width].astype(np.float32)
        if number:
            own = leaf_displacement(height, width, 0.25 * self.depth, self.figure.kind, self.px_per_mm, self.rng)
            self.walk = (self.walk[0] + self.even[0] + own[0], self.walk[1] + self.even[1] + own[1])
            fresh = foreign(self.other, self.figure, width, height, self.rng).astype(np.float32)
            mean = self.strange.mean(axis=(0, 1))
            self.strange = mean + np.float32(np.sqrt(0.5)) * ((self.strange - mean) + (fresh - fresh.mean(axis=(0, 1))))
            x, y = x + self.walk[0], y + self.walk[1]
        fx = np.asarray(self.map[0, 0] * x + self.map[0, 2], dtype=np.float32)
        fy = np.asarray(self.map[1, 1] * y + self.map[1, 2], dtype=np.float32)
        pixels = np.asarray(cv2.remap(self.source, fx, fy, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT_101), np.uint8)
        if number == 0:
            return pixels
        strange = np.clip(self.strange, 0, 255).astype(np.uint8)
        return renew_detail(pixels, strange, number * self.depth, self.px_per_mm, self.rng, tone_leaves=self.depth)

"""Panels laid up from leaves of real figure, with known geometry: book, slip, sunburst, box, boards and the others.

A layout is a list of pieces: a polygon on the panel, an affine map from the panel to a leaf's own frame (x along the grain,
y across it), the leaf's place in the flitch and its tone. Leaves drift with their place in the flitch as in `drift`; two
pieces from one leaf number are one leaf cut in two. Terms follow the trade's definitions of veneer matching (Architectural
Woodwork Standards 2009, section 4).

Assumptions: veneer leaves are 110 to 220 mm wide, joints are 0 to 25 % darker over half a millimetre; boards 60 to 150 mm
wide with tones 8 % apart; pieces are out of place by 0.2 % of the panel's shorter side; every second book leaf is 3 to 10 %
darker (loose side up) in three panels of four.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites.camera import DAMAGES
from training.composites.drift import DEPTH_MM, LEAF_RANGE_MM, leaf_displacement, renew_detail
from training.composites.figures import Figure
from training.composites.pairs import foreign

NAMES = ("book", "slip", "random", "running", "balance", "centre_balance", "end", "sunburst", "box", "reverse_box", "diamond",
         "reverse_diamond", "herringbone", "parquet", "boards", "single")
#: Shorter side of a panel before damage, pixels.
PANEL_PX = 512

Affine = NDArray[np.float64]
Polygon = NDArray[np.float64]


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


@dataclass(eq=False)
class _Piece:
    polygon: Polygon
    to_leaf: Affine  # panel (x, y, 1) to the leaf's own (along, across) in panel pixels
    leaf: int = 0  # place in the flitch; pieces of unrelated leaves carry numbers 1000 apart
    tone: float = 1.0
    figure: int = 0


@dataclass(eq=False)
class _Plan:
    size: tuple[int, int]
    match: str
    pieces: list[_Piece] = field(default_factory=list)
    seams: list[Polygon] = field(default_factory=list)
    axes: list[Polygon] = field(default_factory=list)
    centre: tuple[float, float] | None = None
    wedges: int = 0


def make_layout(figures: Figure | Sequence[Figure], name: str, rng: np.random.Generator, damage: str = "none",
                ) -> LayoutTruth:
    """A panel laid up as `name` from the first figure (and, for unrelated leaves and boards, the others), then damaged.

    Grain along or across the panel, number and size of the leaves, joints and tones are drawn at random.
    """
    several = [figures] if isinstance(figures, Figure) else list(figures)
    if name not in NAMES:
        raise ValueError(f"unknown layout {name!r}; known: {NAMES}")
    plan = _PLANS[name](name, len(several), rng)
    surface = _lay(plan, several, rng)
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


def _grain(piece: _Piece, matrix: Affine) -> float:
    """Grain direction of a piece on the picture, degrees 0..180 counter-clockwise."""
    back = np.linalg.inv(piece.to_leaf)
    middle = piece.polygon.mean(axis=0)
    ends = np.array([middle, middle + back[:2, 0]])
    p = np.c_[ends, np.ones(2)] @ matrix.T
    p = p[:, :2] / p[:, 2:]
    dx, dy = p[1] - p[0]
    return float(np.rad2deg(np.arctan2(-dy, dx)) % 180)


# -- putting real figure into the pieces -----------------------------------------------------------------------------
def _lay(plan: _Plan, figures: list[Figure], rng: np.random.Generator) -> NDArray[np.uint8]:
    w, h = plan.size
    out = np.zeros((h, w, 3), np.float32)
    weight = np.zeros((h, w, 1), np.float32)
    px_per_mm = float(rng.uniform(1.0, 1.8))
    flitches: dict[tuple[int, int], _Flitch] = {}
    boxes = [_leaf_box(p) for p in plan.pieces]
    for piece, _ in zip(plan.pieces, boxes, strict=True):
        key = (piece.figure, piece.leaf // 1000)
        if key not in flitches:
            mine = np.array([b for p, b in zip(plan.pieces, boxes, strict=True) if (p.figure, p.leaf // 1000) == key])
            low, high = mine[:, 0].min(axis=0), mine[:, 1].max(axis=0)
            flitches[key] = _Flitch(figures[piece.figure], figures[(piece.figure + 1) % len(figures)], low, high, px_per_mm,
                                    rng)
        leaf = flitches[key].leaf(piece.leaf % 1000)
        low = flitches[key].low
        place = np.eye(3)
        place[:2, 2] = rng.normal(0, 0.002 * min(w, h), 2) - low
        to_leaf = (place @ piece.to_leaf)[:2]
        shown = cv2.warpAffine(leaf, to_leaf, (w, h), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                               borderMode=cv2.BORDER_REFLECT_101)
        cover = np.zeros((h, w), np.uint8)
        cv2.fillPoly(cover, [np.round((piece.polygon) * 16).astype(np.int32)], 255, lineType=cv2.LINE_AA, shift=4)
        share = (cover.astype(np.float32) / 255)[..., None]
        out += share * shown.astype(np.float32) * np.float32(piece.tone)
        weight += share
    out /= np.maximum(weight, 1e-3)
    dark = float(rng.uniform(0.0, 0.25))
    lines = np.zeros((h, w), np.float32)
    for seam in plan.seams:
        one = np.zeros((h, w), np.uint8)
        cv2.polylines(one, [np.round(seam * 16).astype(np.int32)], False, 255, 1, cv2.LINE_AA, shift=4)
        lines = np.maximum(lines, one.astype(np.float32) / 255)
    out *= 1 - dark * min(1.0, 0.7 * px_per_mm) * lines[..., None]
    return np.asarray(np.clip(np.round(out), 0, 255), dtype=np.uint8)


def _leaf_box(piece: _Piece) -> NDArray[np.float64]:
    p = np.c_[piece.polygon, np.ones(len(piece.polygon))] @ piece.to_leaf.T
    return np.array([p[:, :2].min(axis=0), p[:, :2].max(axis=0)])


class _Flitch:
    """Successive leaves of one piece of figure, each covering the box `low`..`high` of leaf coordinates (panel pixels)."""

    def __init__(self, figure: Figure, other: Figure, low: NDArray[np.float64], high: NDArray[np.float64], px_per_mm: float,
                 rng: np.random.Generator) -> None:
        self.low = np.floor(low) - 6
        width, height = (int(v) for v in np.ceil(high - self.low) + 7)
        fh, fw = figure.pixels.shape[:2]
        scale = float(np.clip(min(fw / width, fh / height) * rng.uniform(0.8, 1.0), 0.4, 2.0))
        x0, y0 = rng.uniform(0, max(1e-6, fw - width * scale)), rng.uniform(0, max(1e-6, fh - height * scale))
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


# -- plans -----------------------------------------------------------------------------------------------------------
def _panel(rng: np.random.Generator, low: float, high: float) -> tuple[int, int]:
    """(w, h): the shorter side is `PANEL_PX`, w / h between `low` and `high`."""
    aspect = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    return (round(PANEL_PX * aspect), PANEL_PX) if aspect >= 1 else (PANEL_PX, round(PANEL_PX / aspect))


def _box(x0: float, y0: float, x1: float, y1: float) -> Polygon:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]) - 0.5


def _line(x0: float, y0: float, x1: float, y1: float) -> Polygon:
    return np.array([[x0, y0], [x1, y1]]) - 0.5


def _tones(count: int, rng: np.random.Generator) -> list[float]:
    """Light and dark by turns for book leaves, in three panels of four."""
    page = float(rng.uniform(0.90, 0.97)) if rng.random() < 0.75 else 1.0
    return [page if k % 2 else 1.0 for k in range(count)]


def _flip_y(about: float) -> Affine:
    return np.array([[1, 0, 0], [0, -1, 2 * about], [0, 0, 1.0]])


def _flip_x(about: float) -> Affine:
    return np.array([[-1, 0, 2 * about], [0, 1, 0], [0, 0, 1.0]])


def _shift(x: float, y: float) -> Affine:
    return np.array([[1, 0, x], [0, 1, y], [0, 0, 1.0]])


def _rows(name: str, rng: np.random.Generator, size: tuple[int, int]) -> NDArray[np.float64]:
    """Row borders of leaves lying along x: how widths and the middle joint are laid."""
    h = size[1]
    if name == "centre_balance":
        return np.linspace(0, h, 2 * int(rng.integers(1, 4)) + 1)
    if name == "balance":
        return np.linspace(0, h, 2 * int(rng.integers(1, 3)) + 2)
    if name == "running":
        leaf = h / rng.uniform(2.2, 4.8)
        first = leaf * rng.uniform(0.35, 1.0)
        borders = np.r_[0, np.arange(first, h, leaf), h]
        return np.delete(borders, -2) if borders[-1] - borders[-2] < 0.15 * leaf else borders
    return np.linspace(0, h, int(rng.integers(2, 7)) + 1)


def _matched(name: str, _several: int, rng: np.random.Generator) -> _Plan:
    """Book and slip leaves side by side, and the ways of sharing out a panel's width, which are laid as book."""
    size = _panel(rng, 0.75, 2.0)
    w, _ = size
    plan = _Plan(size, "slip" if name == "slip" else "book")
    borders = _rows(name, rng, size)
    widths = np.diff(borders)
    full = widths.max()
    tones = _tones(len(widths), rng)
    for k, (y0, y1) in enumerate(pairwise(borders)):
        # the leaf's own across runs from its first edge; a narrower first leaf was cut at its outer edge
        start = y1 - full if k == 0 else y0
        to_leaf = _shift(0, -start)
        if plan.match == "book" and k % 2:
            to_leaf = _flip_y(full / 2) @ to_leaf
        if plan.match == "slip":
            to_leaf = _shift(float(rng.normal(0, 4)), 0) @ to_leaf
        plan.pieces.append(_Piece(_box(0, y0, w, y1), to_leaf, k, tones[k] if plan.match == "book" else 1.0))
        if k:
            plan.seams.append(_line(0, y0, w, y0))
            if plan.match == "book":
                plan.axes.append(_line(0, y0, w, y0))
    return plan


def _unrelated(name: str, several: int, rng: np.random.Generator) -> _Plan:
    """Random or plank match (leaves of like width from anywhere in the log), and boards of varying width."""
    size = _panel(rng, 0.75, 2.0)
    w, h = size
    plan = _Plan(size, "none")
    count = int(rng.integers(3, 8))
    cuts = np.linspace(0, 1, count + 1)
    if name == "boards":
        widths = rng.uniform(60, 150, count)
        cuts = np.r_[0, np.cumsum(widths) / widths.sum()]
    elif rng.random() < 0.5:
        widths = rng.uniform(110, 160, count)
        cuts = np.r_[0, np.cumsum(widths) / widths.sum()]
    for k in range(count):
        y0, y1 = cuts[k] * h, cuts[k + 1] * h
        to_leaf = _shift(0, -y0)
        if rng.random() < 0.5:
            to_leaf = _flip_x(w / 2) @ to_leaf
        tone = float(np.exp(rng.normal(0, 0.08 if name == "boards" else 0.04)))
        figure = int(rng.integers(several)) if name == "boards" else 0
        plan.pieces.append(_Piece(_box(0, y0, w, y1), to_leaf, 1000 * k, tone, figure))
        if k:
            plan.seams.append(_line(0, y0, w, y0))
    return plan


def _single(_name: str, _several: int, rng: np.random.Generator) -> _Plan:
    size = _panel(rng, 0.75, 2.0)
    return _Plan(size, "one", [_Piece(_box(0, 0, *size), np.eye(3))])


def _end(_name: str, _several: int, rng: np.random.Generator) -> _Plan:
    """Book side by side and end to end: 2 to 4 leaves across, 2 along."""
    size = _panel(rng, 1.0, 2.2)
    w, h = size
    plan = _Plan(size, "book")
    count = int(rng.integers(1, 5))
    borders = np.linspace(0, h, count + 1)
    tones = _tones(2 * count, rng)
    leaf_w, leaf_h = w / 2, h / count
    for j in range(2):
        for k in range(count):
            to_leaf = _shift(-j * leaf_w, -borders[k])
            if j:
                to_leaf = _flip_x(leaf_w / 2) @ to_leaf
            if k % 2:
                to_leaf = _flip_y(leaf_h / 2) @ to_leaf
            box = _box(j * leaf_w, borders[k], (j + 1) * leaf_w, borders[k + 1])
            plan.pieces.append(_Piece(box, to_leaf, 2 * k + j, tones[(j + k) % 2]))
    lines = [_line(w / 2, 0, w / 2, h)] + [_line(0, y, w, y) for y in borders[1:-1]]
    plan.seams, plan.axes = list(lines), list(lines)
    if count == 2:
        plan.centre = (w / 2 - 0.5, h / 2 - 0.5)
    return plan


def _quarters(name: str, _several: int, rng: np.random.Generator) -> _Plan:
    """Diamond and reverse diamond: four quarters, figure mirrored about both middle lines, grain at a slant."""
    size = _panel(rng, 0.75, 1.33)
    w, h = size
    plan = _Plan(size, "book", centre=(w / 2 - 0.5, h / 2 - 0.5))
    slant = np.deg2rad(rng.uniform(38, 52))
    # in the upper right quarter: diamond runs from the top middle down to the right middle, reverse outwards from the centre
    direction = np.array([np.cos(slant), np.sin(slant) if name == "diamond" else -np.sin(slant)])
    across = np.array([-direction[1], direction[0]])
    along = np.array([[*direction, 0], [*across, 0], [0, 0, 1.0]]) @ _shift(-w / 2, -h / 2)
    tones = _tones(4, rng)
    for j in range(2):
        for k in range(2):
            to_upper_right = np.eye(3)
            if j == 0:
                to_upper_right = _flip_x(w / 2) @ to_upper_right
            if k == 1:
                to_upper_right = _flip_y(h / 2) @ to_upper_right
            box = _box(j * w / 2, k * h / 2, (j + 1) * w / 2, (k + 1) * h / 2)
            plan.pieces.append(_Piece(box, along @ to_upper_right, 2 * j + k, tones[(j + k) % 2]))
    lines = [_line(w / 2, 0, w / 2, h), _line(0, h / 2, w, h / 2)]
    plan.seams, plan.axes = list(lines), list(lines)
    return plan


def _boxes(name: str, _several: int, rng: np.random.Generator) -> _Plan:
    """Box (grain along the perimeter) and reverse box (at right angles to it): four leaves mitred along the diagonals."""
    size = _panel(rng, 0.85, 1.18)
    w, h = size
    cx, cy = w / 2, h / 2
    plan = _Plan(size, "book", centre=(cx - 0.5, cy - 0.5))
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]]) - 0.5
    centre = np.array([cx, cy]) - 0.5
    tones = _tones(4, rng)
    for k in range(4):
        # (u along the side, v outward from the centre) of each triangle; every second one mirrored: end match at the mitre
        angle = np.pi / 2 * k
        turn = np.array([[np.cos(angle), np.sin(angle), 0], [-np.sin(angle), np.cos(angle), 0], [0, 0, 1.0]])
        frame = turn @ _shift(-cx, -cy)
        if k % 2:
            frame = np.diag([-1.0, 1, 1]) @ frame
        swap = np.array([[0, 1, 0], [1, 0, 0], [0, 0, 1.0]]) if name == "reverse_box" else np.eye(3)
        polygon = np.array([corners[k], corners[(k + 1) % 4], centre])
        plan.pieces.append(_Piece(polygon, swap @ frame, k, tones[k % 2]))
    lines = [np.array([corners[0], corners[2]]), np.array([corners[1], corners[3]])]
    plan.seams, plan.axes = list(lines), list(lines)
    return plan


def _sunburst(_name: str, _several: int, rng: np.random.Generator) -> _Plan:
    """6 to 16 book matched wedges (an even number) round the middle, grain running outwards."""
    size = _panel(rng, 0.8, 1.25)
    w, h = size
    count = 2 * int(rng.integers(3, 9))
    cx, cy = w / 2 + rng.normal(0, 0.01 * w), h / 2 + rng.normal(0, 0.01 * h)
    plan = _Plan(size, "book", centre=(float(cx - 0.5), float(cy - 0.5)), wedges=count)
    step = 2 * np.pi / count
    start = float(rng.choice([0.0, step / 2])) + np.pi / 2
    tones = _tones(count, rng)
    frame = _box(0, 0, w, h)
    for k in range(count):
        a0, a1 = start + k * step, start + (k + 1) * step
        polygon = _wedge(np.array([cx - 0.5, cy - 0.5]), a0, a1, frame)
        middle = (a0 + a1) / 2
        turn = np.array([[np.cos(middle), np.sin(middle), 0], [-np.sin(middle), np.cos(middle), 0], [0, 0, 1.0]])
        to_leaf = turn @ _shift(-cx, -cy)
        if k % 2:
            to_leaf = np.diag([1.0, -1, 1]) @ to_leaf
        plan.pieces.append(_Piece(polygon, to_leaf, k, tones[k]))
        edge = _ray(np.array([cx - 0.5, cy - 0.5]), a0, frame)
        plan.seams.append(edge)
        plan.axes.append(edge)
    return plan


def _ray(centre: NDArray[np.float64], angle: float, frame: Polygon) -> Polygon:
    """Segment from the centre to the frame's border."""
    d = np.array([np.cos(angle), np.sin(angle)])
    low, high = frame.min(axis=0), frame.max(axis=0)
    reach = [((high if v > 0 else low)[i] - centre[i]) / v for i, v in enumerate(d) if abs(v) > 1e-9]
    return np.array([centre, centre + d * min(reach)])


def _wedge(centre: NDArray[np.float64], a0: float, a1: float, frame: Polygon) -> Polygon:
    """Polygon of the frame between two directions, with the frame's corners that lie between."""
    points = [centre, _ray(centre, a0, frame)[1]]
    inside = []
    for corner in frame:
        angle = np.arctan2(*(corner - centre)[::-1])
        turn = (angle - a0) % (2 * np.pi)
        if turn < a1 - a0:
            inside.append((turn, corner))
    points += [c for _, c in sorted(inside, key=lambda t: t[0])]
    points.append(_ray(centre, a1, frame)[1])
    return np.array(points)


def _herringbone(_name: str, _several: int, rng: np.random.Generator) -> _Plan:
    """Strips at a slant on both sides of a middle line, each mirrored over it; neighbours on one side follow as slip."""
    size = _panel(rng, 0.9, 2.0)
    w, h = size
    plan = _Plan(size, "book")
    slant = np.deg2rad(rng.uniform(30, 60))
    strip = h / rng.uniform(1.6, 3.5)  # width of a strip along the middle line
    along = np.array([np.sin(slant), -np.cos(slant)])  # away from the middle, upward, in the right half
    across = np.array([np.cos(slant), np.sin(slant)])
    frame = np.array([[*along, 0], [*across, 0], [0, 0, 1.0]]) @ _shift(-w / 2, 0)
    reach = w / 2 / np.tan(slant)
    low, high = 0.0, h + reach
    half = _box(w / 2, 0, w, h)
    number = 0
    for k in range(int(np.floor(low / strip)), int(np.ceil(high / strip)) + 1):
        y0, y1 = k * strip, (k + 1) * strip
        rise = w / 2 / np.tan(slant)
        band = np.array([[w / 2, y0], [w, y0 - rise], [w, y1 - rise], [w / 2, y1]]) - 0.5
        polygon = _cut(band, half)
        if polygon is None:
            continue
        own = _shift(0, -k * strip * float(np.sin(slant))) @ frame
        for side in range(2):
            mirror = np.eye(3) if side else _flip_x(w / 2)
            shape = polygon if side else np.c_[w - 1 - polygon[:, 0], polygon[:, 1]]
            plan.pieces.append(_Piece(shape, own @ mirror, number + (1 - side)))
            edge = _clip_line(np.array([[w / 2, y0], [w, y0 - rise]]) - 0.5, half)
            if edge is not None:
                plan.seams.append(edge if side else np.c_[w - 1 - edge[:, 0], edge[:, 1]])
        number += 2
    middle = _line(w / 2, 0, w / 2, h)
    plan.seams.append(middle)
    plan.axes.append(middle)
    return plan


def _cut(polygon: Polygon, frame: Polygon) -> Polygon | None:
    from shapely.geometry import Polygon as Shape

    part = Shape(polygon).intersection(Shape(frame))
    if part.geom_type != "Polygon" or part.area < 4:
        return None
    return np.asarray(part.exterior.coords)[:-1]


def _clip_line(line: Polygon, frame: Polygon) -> Polygon | None:
    from shapely.geometry import LineString
    from shapely.geometry import Polygon as Shape

    part = LineString(line).intersection(Shape(frame))
    return np.asarray(part.coords) if part.geom_type == "LineString" and part.length > 2 else None


def _parquet(_name: str, several: int, rng: np.random.Generator) -> _Plan:
    """Basket: squares of 1 to 4 strips, grain turned a quarter from square to square; no relation between squares."""
    rows, cols = int(rng.integers(2, 5)), int(rng.integers(2, 6))
    cell = PANEL_PX / min(rows, cols)
    size = (round(cols * cell), round(rows * cell))
    plan = _Plan(size, "none")
    strips = int(rng.integers(1, 5))
    number = 0
    for r in range(rows):
        for c in range(cols):
            x, y = c * cell, r * cell
            for k in range(strips):
                a, b = k * cell / strips, (k + 1) * cell / strips
                lying = (r + c) % 2 == 0
                box = _box(x, y + a, x + cell, y + b) if lying else _box(x + a, y, x + b, y + cell)
                to_leaf = _shift(-x, -y - a) if lying else np.array([[0, 1, -y], [1, 0, -x - a], [0, 0, 1.0]])
                if rng.random() < 0.5:
                    to_leaf = _flip_x(cell / 2) @ to_leaf
                plan.pieces.append(_Piece(box, to_leaf, 1000 * number, float(np.exp(rng.normal(0, 0.06))),
                                          int(rng.integers(several))))
                number += 1
                if k:
                    plan.seams.append(_line(x, y + a, x + cell, y + a) if lying else _line(x + a, y, x + a, y + cell))
    plan.seams += [_line(0, r * cell, size[0], r * cell) for r in range(1, rows)]
    plan.seams += [_line(c * cell, 0, c * cell, size[1]) for c in range(1, cols)]
    return plan


_PLANS = {"book": _matched, "slip": _matched, "running": _matched, "balance": _matched, "centre_balance": _matched,
          "random": _unrelated, "boards": _unrelated, "single": _single, "end": _end, "diamond": _quarters,
          "reverse_diamond": _quarters, "box": _boxes, "reverse_box": _boxes, "sunburst": _sunburst,
          "herringbone": _herringbone, "parquet": _parquet}

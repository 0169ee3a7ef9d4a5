"""Where the leaves of each layout lie: polygons, and maps from the panel into a leaf's own frame."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

#: Shorter side of a panel before damage, pixels.
PANEL_PX = 512

Affine = NDArray[np.float64]
Polygon = NDArray[np.float64]


@dataclass(eq=False)
class Piece:
    """One leaf, or a part of one, on the panel."""

    polygon: Polygon
    to_leaf: Affine  # panel (x, y, 1) to the leaf's own (along, across) in panel pixels
    leaf: int = 0  # place in the flitch; pieces of unrelated leaves carry numbers 1000 apart
    tone: float = 1.0
    figure: int = 0


@dataclass(eq=False)
class Plan:
    """All pieces of a panel of `size` (w, h), with its joints, mirror axes and centre."""

    size: tuple[int, int]
    match: str
    pieces: list[Piece] = field(default_factory=list)
    seams: list[Polygon] = field(default_factory=list)
    axes: list[Polygon] = field(default_factory=list)
    centre: tuple[float, float] | None = None
    wedges: int = 0


def panel_size(rng: np.random.Generator, low: float, high: float) -> tuple[int, int]:
    """(w, h): the shorter side is `PANEL_PX`, w / h between `low` and `high`."""
    aspect = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    return (round(PANEL_PX * aspect), PANEL_PX) if aspect >= 1 else (PANEL_PX, round(PANEL_PX / aspect))


def box_of(x0: float, y0: float, x1: float, y1: float) -> Polygon:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]) - 0.5


def line_of(x0: float, y0: float, x1: float, y1: float) -> Polygon:
    return np.array([[x0, y0], [x1, y1]]) - 0.5


def tones_of(count: int, rng: np.random.Generator) -> list[float]:
    """Light and dark by turns for book leaves, in three panels of four."""
    page = float(rng.uniform(0.90, 0.97)) if rng.random() < 0.75 else 1.0
    return [page if k % 2 else 1.0 for k in range(count)]


def flip_y(about: float) -> Affine:
    return np.array([[1, 0, 0], [0, -1, 2 * about], [0, 0, 1.0]])


def flip_x(about: float) -> Affine:
    return np.array([[-1, 0, 2 * about], [0, 1, 0], [0, 0, 1.0]])


def shift_by(x: float, y: float) -> Affine:
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


def _matched(name: str, _several: int, rng: np.random.Generator) -> Plan:
    """Book and slip leaves side by side, and the ways of sharing out a panel's width, which are laid as book."""
    size = panel_size(rng, 0.75, 2.0)
    w, _ = size
    plan = Plan(size, "slip" if name == "slip" else "book")
    borders = _rows(name, rng, size)
    widths = np.diff(borders)
    full = widths.max()
    tones = tones_of(len(widths), rng)
    for k, (y0, y1) in enumerate(pairwise(borders)):
        # the leaf's own across runs from its first edge; a narrower first leaf was cut at its outer edge
        start = y1 - full if k == 0 else y0
        to_leaf = shift_by(0, -start)
        if plan.match == "book" and k % 2:
            to_leaf = flip_y(full / 2) @ to_leaf
        if plan.match == "slip":
            to_leaf = shift_by(float(rng.normal(0, 4)), 0) @ to_leaf
        plan.pieces.append(Piece(box_of(0, y0, w, y1), to_leaf, k, tones[k] if plan.match == "book" else 1.0))
        if k:
            plan.seams.append(line_of(0, y0, w, y0))
            if plan.match == "book":
                plan.axes.append(line_of(0, y0, w, y0))
    return plan


def _unrelated(name: str, several: int, rng: np.random.Generator) -> Plan:
    """Random or plank match (leaves of like width from anywhere in the log), and boards of varying width."""
    size = panel_size(rng, 0.75, 2.0)
    w, h = size
    plan = Plan(size, "none")
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
        to_leaf = shift_by(0, -y0)
        if rng.random() < 0.5:
            to_leaf = flip_x(w / 2) @ to_leaf
        tone = float(np.exp(rng.normal(0, 0.08 if name == "boards" else 0.04)))
        figure = int(rng.integers(several)) if name == "boards" else 0
        plan.pieces.append(Piece(box_of(0, y0, w, y1), to_leaf, 1000 * k, tone, figure))
        if k:
            plan.seams.append(line_of(0, y0, w, y0))
    return plan


def _single(_name: str, _several: int, rng: np.random.Generator) -> Plan:
    size = panel_size(rng, 0.75, 2.0)
    return Plan(size, "one", [Piece(box_of(0, 0, *size), np.eye(3))])


def _end(_name: str, _several: int, rng: np.random.Generator) -> Plan:
    """Book side by side and end to end: 2 to 4 leaves across, 2 along."""
    size = panel_size(rng, 1.0, 2.2)
    w, h = size
    plan = Plan(size, "book")
    count = int(rng.integers(1, 5))
    borders = np.linspace(0, h, count + 1)
    tones = tones_of(2 * count, rng)
    leaf_w, leaf_h = w / 2, h / count
    for j in range(2):
        for k in range(count):
            to_leaf = shift_by(-j * leaf_w, -borders[k])
            if j:
                to_leaf = flip_x(leaf_w / 2) @ to_leaf
            if k % 2:
                to_leaf = flip_y(leaf_h / 2) @ to_leaf
            box = box_of(j * leaf_w, borders[k], (j + 1) * leaf_w, borders[k + 1])
            plan.pieces.append(Piece(box, to_leaf, 2 * k + j, tones[(j + k) % 2]))
    lines = [line_of(w / 2, 0, w / 2, h)] + [line_of(0, y, w, y) for y in borders[1:-1]]
    plan.seams, plan.axes = list(lines), list(lines)
    if count == 2:
        plan.centre = (w / 2 - 0.5, h / 2 - 0.5)
    return plan


def _quarters(name: str, _several: int, rng: np.random.Generator) -> Plan:
    """Diamond and reverse diamond: four quarters, figure mirrored about both middle lines, grain at a slant."""
    size = panel_size(rng, 0.75, 1.33)
    w, h = size
    plan = Plan(size, "book", centre=(w / 2 - 0.5, h / 2 - 0.5))
    slant = np.deg2rad(rng.uniform(38, 52))
    # in the upper right quarter: diamond runs from the top middle down to the right middle, reverse outwards from the centre
    direction = np.array([np.cos(slant), np.sin(slant) if name == "diamond" else -np.sin(slant)])
    across = np.array([-direction[1], direction[0]])
    along = np.array([[*direction, 0], [*across, 0], [0, 0, 1.0]]) @ shift_by(-w / 2, -h / 2)
    tones = tones_of(4, rng)
    for j in range(2):
        for k in range(2):
            to_upper_right = np.eye(3)
            if j == 0:
                to_upper_right = flip_x(w / 2) @ to_upper_right
            if k == 1:
                to_upper_right = flip_y(h / 2) @ to_upper_right
            box = box_of(j * w / 2, k * h / 2, (j + 1) * w / 2, (k + 1) * h / 2)
            plan.pieces.append(Piece(box, along @ to_upper_right, 2 * j + k, tones[(j + k) % 2]))
    lines = [line_of(w / 2, 0, w / 2, h), line_of(0, h / 2, w, h / 2)]
    plan.seams, plan.axes = list(lines), list(lines)
    return plan


def _boxes(name: str, _several: int, rng: np.random.Generator) -> Plan:
    """Box (grain along the perimeter) and reverse box (at right angles to it): four leaves mitred along the diagonals."""
    size = panel_size(rng, 0.85, 1.18)
    w, h = size
    cx, cy = w / 2, h / 2
    plan = Plan(size, "book", centre=(cx - 0.5, cy - 0.5))
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]]) - 0.5
    centre = np.array([cx, cy]) - 0.5
    tones = tones_of(4, rng)
    for k in range(4):
        # (u along the side, v outward from the centre) of each triangle; every second one mirrored: end match at the mitre
        angle = np.pi / 2 * k
        turn = np.array([[np.cos(angle), np.sin(angle), 0], [-np.sin(angle), np.cos(angle), 0], [0, 0, 1.0]])
        frame = turn @ shift_by(-cx, -cy)
        if k % 2:
            frame = np.diag([-1.0, 1, 1]) @ frame
        swap = np.array([[0, 1, 0], [1, 0, 0], [0, 0, 1.0]]) if name == "reverse_box" else np.eye(3)
        polygon = np.array([corners[k], corners[(k + 1) % 4], centre])
        plan.pieces.append(Piece(polygon, swap @ frame, k, tones[k % 2]))
    lines = [np.array([corners[0], corners[2]]), np.array([corners[1], corners[3]])]
    plan.seams, plan.axes = list(lines), list(lines)
    return plan


def _sunburst(_name: str, _several: int, rng: np.random.Generator) -> Plan:
    """6 to 16 book matched wedges (an even number) round the middle, grain running outwards."""
    size = panel_size(rng, 0.8, 1.25)
    w, h = size
    count = 2 * int(rng.integers(3, 9))
    cx, cy = w / 2 + rng.normal(0, 0.01 * w), h / 2 + rng.normal(0, 0.01 * h)
    plan = Plan(size, "book", centre=(float(cx - 0.5), float(cy - 0.5)), wedges=count)
    step = 2 * np.pi / count
    start = float(rng.choice([0.0, step / 2])) + np.pi / 2
    tones = tones_of(count, rng)
    frame = box_of(0, 0, w, h)
    for k in range(count):
        a0, a1 = start + k * step, start + (k + 1) * step
        polygon = wedge_of(np.array([cx - 0.5, cy - 0.5]), a0, a1, frame)
        middle = (a0 + a1) / 2
        turn = np.array([[np.cos(middle), np.sin(middle), 0], [-np.sin(middle), np.cos(middle), 0], [0, 0, 1.0]])
        to_leaf = turn @ shift_by(-cx, -cy)
        if k % 2:
            to_leaf = np.diag([1.0, -1, 1]) @ to_leaf
        plan.pieces.append(Piece(polygon, to_leaf, k, tones[k]))
        edge = ray_to(np.array([cx - 0.5, cy - 0.5]), a0, frame)
        plan.seams.append(edge)
        plan.axes.append(edge)
    return plan


def ray_to(centre: NDArray[np.float64], angle: float, frame: Polygon) -> Polygon:
    """Segment from the centre to the frame's border."""
    d = np.array([np.cos(angle), np.sin(angle)])
    low, high = frame.min(axis=0), frame.max(axis=0)
    reach = [((high if v > 0 else low)[i] - centre[i]) / v for i, v in enumerate(d) if abs(v) > 1e-9]
    return np.array([centre, centre + d * min(reach)])


def wedge_of(centre: NDArray[np.float64], a0: float, a1: float, frame: Polygon) -> Polygon:
    """Polygon of the frame between two directions, with the frame's corners that lie between."""
    points = [centre, ray_to(centre, a0, frame)[1]]
    inside = []
    for corner in frame:
        angle = np.arctan2(*(corner - centre)[::-1])
        turn = (angle - a0) % (2 * np.pi)
        if turn < a1 - a0:
            inside.append((turn, corner))
    points += [c for _, c in sorted(inside, key=lambda t: t[0])]
    points.append(ray_to(centre, a1, frame)[1])
    return np.array(points)


def _herringbone(_name: str, _several: int, rng: np.random.Generator) -> Plan:
    """Strips at a slant on both sides of a middle line, each mirrored over it; neighbours on one side follow as slip."""
    size = panel_size(rng, 0.9, 2.0)
    w, h = size
    plan = Plan(size, "book")
    slant = np.deg2rad(rng.uniform(30, 60))
    strip = h / rng.uniform(1.6, 3.5)  # width of a strip along the middle line
    along = np.array([np.sin(slant), -np.cos(slant)])  # away from the middle, upward, in the right half
    across = np.array([np.cos(slant), np.sin(slant)])
    frame = np.array([[*along, 0], [*across, 0], [0, 0, 1.0]]) @ shift_by(-w / 2, 0)
    reach = w / 2 / np.tan(slant)
    low, high = 0.0, h + reach
    half = box_of(w / 2, 0, w, h)
    number = 0
    for k in range(int(np.floor(low / strip)), int(np.ceil(high / strip)) + 1):
        y0, y1 = k * strip, (k + 1) * strip
        rise = w / 2 / np.tan(slant)
        band = np.array([[w / 2, y0], [w, y0 - rise], [w, y1 - rise], [w / 2, y1]]) - 0.5
        polygon = cut_polygon(band, half)
        if polygon is None:
            continue
        own = shift_by(0, -k * strip * float(np.sin(slant))) @ frame
        for side in range(2):
            mirror = np.eye(3) if side else flip_x(w / 2)
            shape = polygon if side else np.c_[w - 1 - polygon[:, 0], polygon[:, 1]]
            plan.pieces.append(Piece(shape, own @ mirror, number + (1 - side)))
            edge = clip_line(np.array([[w / 2, y0], [w, y0 - rise]]) - 0.5, half)
            if edge is not None:
                plan.seams.append(edge if side else np.c_[w - 1 - edge[:, 0], edge[:, 1]])
        number += 2
    middle = line_of(w / 2, 0, w / 2, h)
    plan.seams.append(middle)
    plan.axes.append(middle)
    return plan


def cut_polygon(polygon: Polygon, frame: Polygon) -> Polygon | None:
    from shapely.geometry import Polygon as Shape

    part = Shape(polygon).intersection(Shape(frame))
    if part.geom_type != "Polygon" or part.area < 4:
        return None
    return np.asarray(part.exterior.coords)[:-1]


def clip_line(line: Polygon, frame: Polygon) -> Polygon | None:
    from shapely.geometry import LineString
    from shapely.geometry import Polygon as Shape

    part = LineString(line).intersection(Shape(frame))
    return np.asarray(part.coords) if part.geom_type == "LineString" and part.length > 2 else None


def _parquet(_name: str, several: int, rng: np.random.Generator) -> Plan:
    """Basket: squares of 1 to 4 strips, grain turned a quarter from square to square; no relation between squares."""
    rows, cols = int(rng.integers(2, 5)), int(rng.integers(2, 6))
    cell = PANEL_PX / min(rows, cols)
    size = (round(cols * cell), round(rows * cell))
    plan = Plan(size, "none")
    strips = int(rng.integers(1, 5))
    number = 0
    for r in range(rows):
        for c in range(cols):
            x, y = c * cell, r * cell
            for k in range(strips):
                a, b = k * cell / strips, (k + 1) * cell / strips
                lying = (r + c) % 2 == 0
                box = box_of(x, y + a, x + cell, y + b) if lying else box_of(x + a, y, x + b, y + cell)
                to_leaf = shift_by(-x, -y - a) if lying else np.array([[0, 1, -y], [1, 0, -x - a], [0, 0, 1.0]])
                if rng.random() < 0.5:
                    to_leaf = flip_x(cell / 2) @ to_leaf
                plan.pieces.append(Piece(box, to_leaf, 1000 * number, float(np.exp(rng.normal(0, 0.06))),
                                          int(rng.integers(several))))
                number += 1
                if k:
                    plan.seams.append(line_of(x, y + a, x + cell, y + a) if lying else line_of(x + a, y, x + a, y + cell))
    plan.seams += [line_of(0, r * cell, size[0], r * cell) for r in range(1, rows)]
    plan.seams += [line_of(c * cell, 0, c * cell, size[1]) for c in range(1, cols)]
    return plan


#: Name of a layout to `fn(name, number of figures, rng) -> Plan`.
PLANS: dict[str, Callable[[str, int, np.random.Generator], Plan]] = {
    **dict.fromkeys(("book", "slip", "running", "balance", "centre_balance"), _matched),
    **dict.fromkeys(("random", "boards"), _unrelated),
    **dict.fromkeys(("diamond", "reverse_diamond"), _quarters),
    **dict.fromkeys(("box", "reverse_box"), _boxes),
    "single": _single, "end": _end, "sunburst": _sunburst, "herringbone": _herringbone, "parquet": _parquet,
}

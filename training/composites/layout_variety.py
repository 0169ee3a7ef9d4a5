"""Layouts beyond the plain plans, to teach from: more leaves, leaning grain, middles off the middle, hardware, edges, crops.

What is scored is made by `layouts.make_layout` alone; what is taught must be wider than that, because real panels are: seen
in part, framed by edging, carrying handles, and laid by people who share widths as they please.
"""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites.figures import Figure
from training.composites.layout_plans import (
    PLANS,
    Affine,
    Piece,
    Plan,
    Polygon,
    box_of,
    clip_line,
    cut_polygon,
    flip_x,
    flip_y,
    line_of,
    panel_size,
    ray_to,
    shift_by,
    tones_of,
    wedge_of,
)
from training.figure.cuts import saw_board
from training.figure.finish import STAINS, Finish, apply_finish, to_bytes
from training.figure.log import Log
from training.figure.species import SPECIES
from vision.resize import resize

Pixels = NDArray[np.uint8]


# -- figure ----------------------------------------------------------------------------------------------------------
def grown_figure(seed: int) -> Figure:
    """The face of a board sawn from a made-up log, finished at random, grain along x."""
    rng = np.random.default_rng([seed, 77])
    species = sorted(SPECIES)[int(rng.integers(len(SPECIES)))]
    cut = ("flat", "rift", "quarter")[int(rng.choice(3, p=[0.6, 0.2, 0.2]))]
    log = Log(species, seed, knots=None if rng.random() < 0.8 else float(rng.uniform(1, 6)))
    board = saw_board(log, cut, rng)
    texel = float(rng.uniform(0.5, 1.1))
    width, height = int(rng.uniform(700, 1200)), int(rng.uniform(300, 560))
    a, b = (np.arange(n) * texel - n * texel / 2 for n in (width, height))
    points = board.points(a[None], b[:, None], np.zeros((1, 1)))
    figure = log.cut(points, texel=texel)
    stains = sorted(STAINS)
    finish = Finish(stains[int(rng.integers(len(stains)))], float(rng.uniform(0, 1)), float(rng.uniform(0, 1)),
                    age=float(rng.uniform(0, 1)), wear=float(rng.uniform(0, 0.6)) if rng.random() < 0.4 else 0.0)
    pixels = to_bytes(apply_finish(figure, finish, seed, texel).rgb)
    return Figure(pixels, f"grown {seed}", f"{species} {cut}", "plain" if cut == "flat" else "straight")


def varied_figure(figure: Figure, rng: np.random.Generator) -> Figure:
    """A figure cut to a random part, turned over, scaled, sharpened or softened, its contrast and colour changed."""
    pixels = figure.pixels
    h, w = pixels.shape[:2]
    share = rng.uniform(0.6, 1.0, 2)
    th, tw = max(140, int(h * share[0])), max(240, int(w * share[1]))
    y, x = int(rng.integers(max(1, h - th + 1))), int(rng.integers(max(1, w - tw + 1)))
    pixels = pixels[y:y + th, x:x + tw]
    if rng.random() < 0.5:
        pixels = pixels[::-1]
    if rng.random() < 0.5:
        pixels = pixels[:, ::-1]
    if rng.random() < 0.4:  # finer or coarser figure, also unequally along and across
        sx, sy = np.exp(rng.normal(0, 0.25, 2))
        h, w = pixels.shape[:2]
        size = (int(np.clip(w * sx, 240, 1600)), int(np.clip(h * sy, 150, 1200)))
        pixels = resize(np.ascontiguousarray(pixels), *size)
    out = pixels.astype(np.float32)
    mean = out.mean((0, 1))
    grey = (out - mean).mean(2, keepdims=True)
    colour = out - mean - grey
    out = mean + grey * np.float32(np.exp(rng.normal(0, 0.35))) + colour * np.float32(np.exp(rng.normal(0, 0.4)))
    out = out * np.exp(rng.normal(0, 0.08, 3) + rng.normal(0, 0.25)).astype(np.float32)
    if rng.random() < 0.5:
        out = 255 * np.clip(out / 255, 0, 1) ** np.float32(np.exp(rng.normal(0, 0.25)))
    return Figure(np.ascontiguousarray(np.clip(out, 0, 255).astype(np.uint8)), figure.group, figure.name, figure.kind)


# -- plans -----------------------------------------------------------------------------------------------------------
def _lean(angle: float, about: tuple[float, float]) -> Affine:
    """Panel turned about a point, so that the grain leaves the leaf's edges by `angle` radians."""
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]])
    return np.asarray(shift_by(*about) @ turn @ shift_by(-about[0], -about[1]))


def _borders(count: int, equal: float, rng: np.random.Generator) -> NDArray[np.float64]:
    widths = np.ones(count) if rng.random() < equal else rng.uniform(0.55, 1.45, count)
    return np.asarray(np.r_[0, np.cumsum(widths) / widths.sum()])


def _folded(borders: NDArray[np.float64]) -> list[tuple[float, float]]:
    """(sign, offset) for each leaf between borders, so that sign * place + offset runs to and fro without a jump: what lies
    at equal values mirrors about every border."""
    out, value = [], 0.0
    for k, (a, b) in enumerate(pairwise(borders)):
        sign = -1.0 if k % 2 else 1.0
        out.append((sign, value - sign * float(a)))
        value += sign * float(b - a)
    return out


def _along_y(folded: tuple[float, float]) -> Affine:
    return np.array([[1, 0, 0], [0, folded[0], folded[1]], [0, 0, 1.0]])


def _side_by_side(name: str, several: int, rng: np.random.Generator) -> Plan:
    """Book, slip, unrelated leaves, boards or a single piece, grain leaning up to ten degrees."""
    size = panel_size(rng, 0.5, 3.5)
    w, h = size
    count = 1 if name == "single" else int(rng.integers(2, 10))
    if name in ("book", "slip"):
        count = min(count, 7)
    lean = float(np.deg2rad(rng.normal(0, 4))) if rng.random() < 0.5 else 0.0
    plan = Plan(size, {"book": "book", "slip": "slip", "single": "one"}.get(name, "none"))
    borders = _borders(count, {"book": 0.8, "slip": 0.8, "random": 0.6}.get(name, 0.1), rng) * h
    full = float(np.diff(borders).max())
    tones = tones_of(count, rng)
    for k, ((y0, y1), folded) in enumerate(zip(pairwise(borders), _folded(borders), strict=True)):
        own = shift_by(0, -y0)
        leaf, tone, figure = k, 1.0, 0
        if name == "book":
            own, tone = _along_y(folded), tones[k]
        elif name == "slip":
            own = shift_by(float(rng.normal(0, 5)), 0) @ own
            tone = float(np.exp(rng.normal(0, 0.015)))
        elif name != "single":
            if rng.random() < 0.5:
                own = flip_x(w / 2) @ own
            if rng.random() < 0.3:
                own = flip_y((y1 - y0) / 2) @ own
            leaf = 1000 * k
            tone = float(np.exp(rng.normal(0, 0.08 if name == "boards" else 0.04)))
            figure = int(rng.integers(several)) if name == "boards" else 0
        own = _lean(lean if name in ("book", "slip", "single") else lean + float(rng.normal(0, 0.02)), (w / 2, full / 2)) @ own
        plan.pieces.append(Piece(box_of(0, y0, w, y1), own, leaf, tone, figure))
        if k:
            plan.seams.append(line_of(0, y0, w, y0))
            if name == "book":
                plan.axes.append(line_of(0, y0, w, y0))
    return plan


def _slanting_single(_name: str, _several: int, rng: np.random.Generator) -> Plan:
    """One piece whose grain runs at any angle to the edges."""
    size = panel_size(rng, 0.6, 2.0)
    w, h = size
    return Plan(size, "one", [Piece(box_of(0, 0, w, h), _lean(float(rng.uniform(0, np.pi)), (w / 2, h / 2)))])


def _end_to_end(_name: str, _several: int, rng: np.random.Generator) -> Plan:
    """Leaves mirrored end to end, the cross joint anywhere in the middle half; one to five leaves across."""
    size = panel_size(rng, 0.7, 3.5)
    w, h = size
    count = int(rng.choice([1, 2, 3, 4, 5], p=[0.3, 0.3, 0.15, 0.15, 0.1]))
    borders = _borders(count, 0.8, rng) * h
    x = float(rng.uniform(0.35, 0.65)) * w if rng.random() < 0.4 else w / 2
    tones = tones_of(2 * count, rng)
    plan = Plan(size, "book")
    for j in range(2):
        for k, folded in enumerate(_folded(borders)):
            own = _along_y(folded) @ shift_by(-x, 0)
            if j == 0:
                own = flip_x(0) @ own
            box = box_of(x if j else 0, borders[k], w if j else x, borders[k + 1])
            plan.pieces.append(Piece(box, own, 2 * k + j, tones[(j + k) % 2]))
    lines = [line_of(x, 0, x, h)] + [line_of(0, y, w, y) for y in borders[1:-1]]
    plan.seams, plan.axes = list(lines), list(lines)
    return plan


def _quarters(name: str, _several: int, rng: np.random.Generator) -> Plan:
    size = panel_size(rng, 0.55, 1.8)
    w, h = size
    cx, cy = w * (0.5 + np.clip(rng.normal(0, 0.03), -0.1, 0.1)), h * (0.5 + np.clip(rng.normal(0, 0.03), -0.1, 0.1))
    plan = Plan(size, "book", centre=(float(cx - 0.5), float(cy - 0.5)))
    slant = np.deg2rad(rng.uniform(30, 60))
    direction = np.array([np.cos(slant), np.sin(slant) if name == "diamond" else -np.sin(slant)])
    across = np.array([-direction[1], direction[0]])
    along = np.array([[*direction, 0], [*across, 0], [0, 0, 1.0]]) @ shift_by(-cx, -cy)
    tones = tones_of(4, rng)
    xs, ys = (0.0, float(cx), float(w)), (0.0, float(cy), float(h))
    for j in range(2):
        for k in range(2):
            own = np.eye(3)
            if j == 0:
                own = flip_x(cx) @ own
            if k == 1:
                own = flip_y(cy) @ own
            plan.pieces.append(Piece(box_of(xs[j], ys[k], xs[j + 1], ys[k + 1]), along @ own, 2 * j + k, tones[(j + k) % 2]))
    lines = [line_of(cx, 0, cx, h), line_of(0, cy, w, cy)]
    plan.seams, plan.axes = list(lines), list(lines)
    return plan


def _sunburst(_name: str, _several: int, rng: np.random.Generator) -> Plan:
    """6 to 20 wedges, any first direction, the centre up to a tenth off the middle."""
    size = panel_size(rng, 0.6, 1.7)
    w, h = size
    count = 2 * int(rng.integers(3, 11))
    cx, cy = w * (0.5 + np.clip(rng.normal(0, 0.03), -0.1, 0.1)), h * (0.5 + np.clip(rng.normal(0, 0.03), -0.1, 0.1))
    centre = np.array([cx - 0.5, cy - 0.5])
    plan = Plan(size, "book", centre=(float(centre[0]), float(centre[1])), wedges=count)
    step = 2 * np.pi / count
    start = np.pi / 2 + (float(rng.uniform(0, step)) if rng.random() < 0.5 else float(rng.choice([0.0, step / 2])))
    tones = tones_of(count, rng)
    frame = box_of(0, 0, w, h)
    for k in range(count):
        a0, a1 = start + k * step, start + (k + 1) * step
        middle = (a0 + a1) / 2
        turn = np.array([[np.cos(middle), np.sin(middle), 0], [-np.sin(middle), np.cos(middle), 0], [0, 0, 1.0]])
        own = turn @ shift_by(-cx, -cy)
        if k % 2:
            own = np.diag([1.0, -1, 1]) @ own
        plan.pieces.append(Piece(wedge_of(centre, a0, a1, frame), own, k, tones[k]))
        edge = ray_to(centre, a0, frame)
        plan.seams.append(edge)
        plan.axes.append(edge)
    return plan


def _chevrons(_name: str, _several: int, rng: np.random.Generator) -> Plan:
    """Two to five columns whose slanting strips turn back at every line between them; strips may be wide as the column."""
    size = panel_size(rng, 0.7, 2.6)
    w, h = size
    columns = int(rng.choice([2, 3, 4, 5], p=[0.4, 0.25, 0.25, 0.1]))
    xs = _borders(columns, 0.8, rng) * w
    full = float(np.diff(xs).max())
    slant = np.deg2rad(rng.uniform(28, 62))
    strip = h / rng.uniform(0.6, 6) if rng.random() < 0.75 else 4.0 * (h + w)
    plan = Plan(size, "book")
    along, across = np.array([np.sin(slant), -np.cos(slant)]), np.array([np.cos(slant), np.sin(slant)])
    frame = np.array([[*along, 0], [*across, 0], [0, 0, 1.0]])
    rise = full / np.tan(slant)
    phase = float(rng.uniform(0, strip))
    first = int(np.floor((-phase - rise) / strip)) - 1
    last = int(np.ceil((h + 2 * rise) / strip)) + 1
    for j, ((x0, x1), (sign, at)) in enumerate(zip(pairwise(xs), _folded(xs), strict=True)):
        column = box_of(x0, 0, x1, h)
        for k in range(first, last):
            y0, y1 = phase + k * strip, phase + (k + 1) * strip
            # in folded places u = sign x + at; one column's width to spare on either side
            u = np.array([-full, 2 * full, 2 * full, -full])
            shape = np.c_[(u - at) / sign, np.array([y0, y0, y1, y1]) - rise * u / full] - 0.5
            polygon = cut_polygon(shape, column)
            if polygon is None:
                continue
            own = shift_by(0, -k * strip * float(np.sin(slant))) @ frame @ np.array([[sign, 0, at], [0, 1, 0], [0, 0, 1.0]])
            plan.pieces.append(Piece(polygon, own, min(999, columns * (k - first) + j), float(np.exp(rng.normal(0, 0.02)))))
            edge = np.array([shape[0], shape[1]])
            part = clip_line(edge, column)
            if part is not None:
                plan.seams.append(part)
    for x in xs[1:-1]:
        plan.seams.append(line_of(x, 0, x, h))
        plan.axes.append(line_of(x, 0, x, h))
    return plan


WIDE = {**dict.fromkeys(("book", "slip", "random", "boards"), (_side_by_side,)), "single": (_side_by_side, _slanting_single),
        "end": (_end_to_end,), "diamond": (_quarters,), "reverse_diamond": (_quarters,), "sunburst": (_sunburst,),
        "herringbone": (_chevrons,)}


def varied_plan(name: str, several: int, rng: np.random.Generator, wide: float = 0.5) -> Plan:
    """A plan of a layout: with the chance `wide` one of the wider kind where there is any."""
    if name in WIDE and rng.random() < wide:
        ways = WIDE[name]
        return ways[int(rng.random() < 0.2) % len(ways)](name, several, rng)
    return PLANS[name](name, several, rng)


# -- things on the surface -------------------------------------------------------------------------------------------
def distract(pixels: Pixels, rng: np.random.Generator) -> Pixels:
    """Edging, handles, holes, scratches and marks on some of the panels: none of them is part of a layout."""
    out = pixels.copy()
    h, w = out.shape[:2]
    side = min(h, w)
    if rng.random() < 0.15:  # edging or a frame of another tone
        t = int(side * rng.uniform(0.02, 0.09))
        factor = np.float32(np.exp(rng.normal(0, 0.25)))
        strip = np.ones((h, w), bool)
        top, bottom, left, right = (t * int(on) for on in rng.random(4) < 0.7)
        strip[top:h - bottom, left:w - right] = False
        soft = cv2.GaussianBlur(out, (0, 0), 0.15 * t + 1)
        out[strip] = np.clip(soft[strip] * factor, 0, 255).astype(np.uint8)
    for _ in range(int(rng.choice([0, 1, 2], p=[0.75, 0.15, 0.10]))):  # handles, knobs, keyholes
        cx, cy = rng.uniform(0.1, 0.9) * w, rng.uniform(0.1, 0.9) * h
        a, b = side * rng.uniform(0.02, 0.12), side * rng.uniform(0.008, 0.03)
        angle = float(rng.choice([0.0, 90.0, rng.uniform(0, 180)]))
        shadow = np.zeros((h, w), np.uint8)
        axes = (max(1, int(a)), max(1, int(b)))
        cv2.ellipse(shadow, (int(cx + 0.4 * b), int(cy + 0.6 * b)), axes, angle, 0, 360, 255, -1, cv2.LINE_AA)
        dark = cv2.GaussianBlur(shadow, (0, 0), 1 + 0.5 * b)[..., None] / 255
        out = np.clip(out * (1 - 0.6 * dark), 0, 255).astype(np.uint8)
        colour = tuple(int(v) for v in np.clip(rng.uniform(20, 220) + rng.normal(0, 12, 3), 0, 255))
        cv2.ellipse(out, (int(cx), int(cy)), axes, angle, 0, 360, colour, -1, cv2.LINE_AA)
    for _ in range(int(rng.choice([0, 2, 5], p=[0.8, 0.1, 0.1]))):  # scratches
        p, q = rng.uniform(0, 1, 2) * [w, h], rng.uniform(0, 1, 2) * [w, h]
        q = p + (q - p) * rng.uniform(0.05, 0.5)
        shade = int(rng.uniform(0, 255))
        line = np.zeros((h, w), np.uint8)
        cv2.line(line, tuple(int(v) for v in p), tuple(int(v) for v in q), 255, 1, cv2.LINE_AA)
        k = (line / 255 * rng.uniform(0.2, 0.6))[..., None]
        out = np.asarray(out * (1 - k) + shade * k, np.uint8)
    if rng.random() < 0.1:  # a dark gap right through: two fronts cut from one panel
        line = np.zeros((h, w), np.uint8)
        at = float(rng.uniform(0.15, 0.85))
        ends = ((0, at * h), (w - 1, at * h)) if rng.random() < 0.5 else ((at * w, 0), (at * w, h - 1))
        cv2.line(line, tuple(int(v) for v in ends[0]), tuple(int(v) for v in ends[1]), 255, int(rng.integers(1, 5)), cv2.LINE_AA)
        out = np.asarray(out * (1 - rng.uniform(0.3, 0.9) * (line / 255)[..., None]), np.uint8)
    return np.ascontiguousarray(out)


def clip_segment(line: Polygon, low: tuple[float, float], high: tuple[float, float]) -> Polygon | None:
    """The part of a segment (2, 2) inside a box; None when less than 2 px is."""
    p, d = line[0], line[1] - line[0]
    t0, t1 = 0.0, 1.0
    for k in range(2):
        if abs(d[k]) < 1e-9:
            if not low[k] <= p[k] <= high[k]:
                return None
            continue
        a, b = sorted(((low[k] - p[k]) / d[k], (high[k] - p[k]) / d[k]))
        t0, t1 = max(t0, a), min(t1, b)
    if (t1 - t0) * float(np.hypot(*d)) < 2:
        return None
    return np.array([p + t0 * d, p + t1 * d])

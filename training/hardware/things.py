"""Knobs, pulls, locks, hinges, screws, holes and panes, each drawn on a canvas with its outline as truth.

`s`: canvas pixels a millimetre. Sizes are common practice, no source. Every `draw_*` gives True where it drew.
"""

from __future__ import annotations

import cv2
import numpy as np

from training.hardware.shade import (
    Canvas,
    Plane,
    Points,
    Stuff,
    Window,
    box,
    capsule,
    ellipse,
    lay,
    lit,
    mark,
    rim,
    shadow,
    soft,
    some_metal,
    some_stuff,
    window,
)
from vision.resize import resize_map

KNOB, PULL, KEYHOLE, HINGE, SCREW, HOLE, GLASS = range(1, 8)
#: Spacings at which pulls are drilled, mm.
PULLS = (64.0, 76.0, 96.0, 128.0, 160.0)


def ground_of(canvas: Canvas, win: Window) -> np.ndarray:
    return np.asarray(canvas.rgb[win.rows, win.columns].reshape(-1, 3).mean(axis=0), np.float32)


def dome(distance: Plane, radius: float, high: float, power: float = 2.0) -> Plane:
    """Height of a dome over a shape of signed `distance` whose inside is `radius` deep."""
    depth = np.clip(-distance / max(radius, 1e-6), 0, 1)
    return np.asarray(high * (1 - (1 - depth) ** power) ** (1 / power), np.float32)


def draw_knob(canvas: Canvas, x: float, y: float, s: float, rng: np.random.Generator) -> bool:
    """Turned, cast or square knob on its stem, with or without a plate, seen a little from the side."""
    radius, proud = float(rng.uniform(11, 23)) * s, float(rng.uniform(14, 32)) * s
    win = window(canvas, x, y, 3.2 * radius + proud)
    stuff = some_stuff(rng, ground_of(canvas, win))
    points: list[Points] = []
    if rng.random() < 0.22:
        plate = ellipse(win, x, y, (radius * rng.uniform(1.1, 1.6),) * 2)
        shadow(canvas, win, soft(plate), 0.8 * s)
        lay(canvas, win, soft(plate), lit(dome(plate, 0.3 * radius, 0.1 * radius), stuff, canvas.light))
        points.append(rim(soft(plate), win))
    tx, ty = x + canvas.light.look[0] * proud, y + canvas.light.look[1] * proud
    square = rng.random() < 0.15
    turn = float(rng.uniform(0, np.pi))
    head = box(win, tx, ty, (0.85 * radius,) * 2, turn, 0.2 * radius) if square else ellipse(win, tx, ty, (radius, radius))
    stem = capsule(win, (x, y), (tx, ty), radius * float(rng.uniform(0.35, 0.6)))
    cover = np.maximum(soft(head), soft(stem))
    shadow(canvas, win, soft(stem), 0.3 * proud)
    shadow(canvas, win, soft(head), 0.8 * proud)
    dark = Stuff(stuff.colour * np.float32(0.6), stuff.metal, 0.5 * stuff.gloss, stuff.waves)
    lay(canvas, win, soft(stem), lit(dome(stem, 0.4 * radius, 0.4 * radius), dark, canvas.light))
    high = dome(head, radius, radius * float(rng.uniform(0.15, 0.95)), float(rng.uniform(1.6, 3.5)))
    d = np.hypot(win.x - tx, win.y - ty) / radius
    if rng.random() < 0.5:  # a bead or a dish in the middle
        high = high + np.float32(rng.choice([-1.0, 1.0]) * rng.uniform(0.03, 0.14) * radius) * np.exp(
            -0.5 * ((d - rng.uniform(0, 0.75)) / 0.12) ** 2).astype(np.float32)
    lay(canvas, win, soft(head), lit(high, stuff, canvas.light))
    points.append(rim(cover, win))
    mark(canvas, KNOB, np.concatenate(points))
    return True


def draw_pull(canvas: Canvas, x: float, y: float, s: float, rng: np.random.Generator, turn: float = 0.0) -> bool:
    """Bar, bow, bail, cup or drop pull, middle at x, y, along `turn` radians."""
    kind = str(rng.choice(["bar", "bow", "bail", "cup", "drop", "shell"], p=[0.28, 0.24, 0.2, 0.12, 0.1, 0.06]))
    spacing = float(rng.choice(PULLS)) * s
    if kind in ("drop", "shell"):
        spacing = float(rng.uniform(20, 45)) * s
    thick, proud = float(rng.uniform(3.0, 7.0)) * s, float(rng.uniform(14, 32)) * s
    win = window(canvas, x, y, 0.9 * spacing + 3 * proud + 30 * s)
    ground = ground_of(canvas, win)
    stuff = some_metal(rng) if rng.random() < 0.75 else some_stuff(rng, ground)
    c, t = float(np.cos(turn)), float(np.sin(turn))
    look = (canvas.light.look[0] * proud, canvas.light.look[1] * proud)

    def at(u: float, v: float, top: bool = False) -> tuple[float, float]:
        return x + u * c - v * t + (look[0] if top else 0), y + u * t + v * c + (look[1] if top else 0)

    ends = [at(-spacing / 2, 0), at(spacing / 2, 0)]
    points: list[Points] = []

    def put(distance: Plane, deep: float, high: float, lift: float, what: Stuff = stuff) -> None:
        shadow(canvas, win, soft(distance), lift)
        lay(canvas, win, soft(distance), lit(dome(distance, deep, high), what, canvas.light))
        points.append(rim(soft(distance), win))

    if kind in ("bar", "bow"):
        over = float(rng.uniform(0, 0.22)) * spacing if kind == "bar" else 0.0
        for p, q in zip(ends, (at(-spacing / 2, 0, True), at(spacing / 2, 0, True)), strict=True):
            put(capsule(win, p, q, thick * float(rng.uniform(0.7, 1.3))), thick, thick, 0.3 * proud)
        sag = float(rng.uniform(-0.1, 0.1)) * spacing if kind == "bow" else 0.0
        path = [at(-spacing / 2 - over + k / 8 * (spacing + 2 * over), sag * (1 - (k / 4 - 1) ** 2), True) for k in range(9)]
        bar = np.minimum.reduce([capsule(win, path[k], path[k + 1], thick) for k in range(8)])
        put(np.asarray(bar, np.float32), thick, thick * float(rng.uniform(0.4, 1.0)), 0.9 * proud)
    elif kind == "bail":
        if rng.random() < 0.5:  # one plate behind both posts, else a rosette behind each
            half = (0.62 * spacing, float(rng.uniform(12, 24)) * s)
            plate = box(win, x, y, half, turn, min(half) * 0.8) if rng.random() < 0.5 else ellipse(win, x, y, half, turn)
            put(np.asarray(plate, np.float32), 2 * s, 1.0 * s, 0.8 * s)
        else:
            for p in ends:
                put(ellipse(win, *p, (float(rng.uniform(8, 15)) * s,) * 2), 8 * s, 2.5 * s, 1.0 * s)
        drop = float(rng.uniform(0.2, 0.42)) * spacing
        arc = [at(0.5 * spacing * np.cos(a), drop * np.sin(a) ** 0.7) for a in np.linspace(0, np.pi, 11)]
        ring = np.minimum.reduce([capsule(win, arc[k], arc[k + 1], 0.6 * thick) for k in range(10)])
        put(np.asarray(ring, np.float32), 0.6 * thick, 0.6 * thick, 0.35 * proud)
        for p in ends:
            put(ellipse(win, *p, (1.3 * thick,) * 2), thick, thick, 0.2 * proud)
    elif kind == "cup":
        half = (0.5 * spacing + 8 * s, float(rng.uniform(14, 24)) * s)
        cup = ellipse(win, *at(0, half[1] * 0.4), half, turn)
        lower = (win.y - y) * c - (win.x - x) * t - half[1] * 0.4
        cup = np.maximum(cup, lower).astype(np.float32)
        put(cup, half[1], 0.9 * half[1], 0.8 * proud)
    else:
        put(ellipse(win, x, y, (float(rng.uniform(9, 18)) * s,) * 2), 9 * s, 3 * s, 1.0 * s)
        if kind == "drop":
            long = float(rng.uniform(22, 45)) * s
            put(capsule(win, at(0, 2 * s), at(0, long), float(rng.uniform(3, 7)) * s), 5 * s, 5 * s, 0.3 * proud)
        else:  # a ring that hangs
            r = float(rng.uniform(12, 22)) * s
            put(np.asarray(np.abs(np.hypot(win.x - x, win.y - y - r * 0.9) - r) - 0.5 * thick, np.float32), 0.5 * thick,
                0.5 * thick, 0.3 * proud)
    mark(canvas, PULL, np.concatenate([p for p in points if len(p)]))
    return True


def draw_keyhole(canvas: Canvas, x: float, y: float, s: float, rng: np.random.Generator) -> bool:
    """A keyhole, bare, in a thin rim or in a plate."""
    r = float(rng.uniform(2.2, 4.2)) * s
    if r < 2.2:
        return False
    long = float(rng.uniform(2.2, 4.0)) * r
    win = window(canvas, x, y, 3 * long + 30 * s)
    stuff = some_metal(rng)
    middle = y + 0.4 * long
    points: list[Points] = []
    plate = rng.random()
    shape: Plane | None = None
    if plate < 0.35:
        shape = ellipse(win, x, middle, (float(rng.uniform(2.2, 3.8)) * r, float(rng.uniform(1.0, 1.5)) * long))
    elif plate < 0.5:
        shape = box(win, x, middle, (float(rng.uniform(2.5, 4)) * r, float(rng.uniform(1.1, 1.7)) * long), 0.0, 1.5 * r)
    elif plate < 0.6:  # a shield
        shape = np.minimum(ellipse(win, x, y, (3 * r, 1.8 * r)), capsule(win, (x, y), (x, y + 1.5 * long), 2.1 * r))
    if shape is not None:
        shape = np.asarray(shape, np.float32)
        shadow(canvas, win, soft(shape), 0.9 * s)
        lay(canvas, win, soft(shape), lit(dome(shape, 2 * s, 1.2 * s), stuff, canvas.light))
        points.append(rim(soft(shape), win))
    half_top, half_low = float(rng.uniform(0.4, 0.6)) * r, float(rng.uniform(0.45, 0.9)) * r
    share = np.clip((win.y - y) / long, 0, 1)
    slot = np.maximum(np.abs(win.x - x) - (half_top + (half_low - half_top) * share), np.maximum(win.y - y - long, y - win.y))
    hole = np.asarray(np.minimum(np.hypot(win.x - x, win.y - y) - r, slot), np.float32)
    if 0.6 <= plate < 0.75:  # a thin metal rim let in
        lip = np.asarray(hole - float(rng.uniform(1.0, 2.0)) * s, np.float32)
        lay(canvas, win, soft(lip), lit(dome(lip, s, 0.6 * s), stuff, canvas.light))
        points.append(rim(soft(lip), win))
    dark = np.asarray(rng.uniform(0.01, 0.09) * np.array([1, 0.85, 0.7]), np.float32)
    tone = np.broadcast_to(dark, (*hole.shape, 3)) * (1 + 0.8 * np.clip((win.y - y) / long, 0, 1))[..., None]
    lay(canvas, win, soft(hole), np.asarray(tone, np.float32))
    points.append(rim(soft(hole), win))
    mark(canvas, KEYHOLE, np.concatenate([p for p in points if len(p)]))
    return True


def screw_head(canvas: Canvas, win: Window, x: float, y: float, r: float, stuff: Stuff, rng: np.random.Generator) -> Points:
    head = ellipse(win, x, y, (r, r))
    seat = float(rng.uniform(0, 0.25)) * r
    shadow(canvas, win, soft(head - seat), 0.12 * r)
    lay(canvas, win, soft(head), lit(dome(head, r, r * float(rng.uniform(0.02, 0.4))), stuff, canvas.light))
    drive, turn = str(rng.choice(["cross", "slot", "hex", "star"], p=[0.45, 0.3, 0.15, 0.1])), float(rng.uniform(0, np.pi))
    c, t = float(np.cos(turn)), float(np.sin(turn))
    if drive in ("cross", "slot"):
        reach = (0.9 if drive == "slot" else 0.62) * r
        arms = [(c, t), (-t, c)][: 1 if drive == "slot" else 2]
        cut = np.minimum.reduce([box(win, x, y, (reach, 0.14 * r), float(np.arctan2(b, a))) for a, b in arms])
    else:
        cut = ellipse(win, x, y, (0.45 * r, 0.45 * r))
    lay(canvas, win, soft(np.asarray(cut, np.float32)) * np.float32(0.85),
        np.broadcast_to(stuff.colour * np.float32(0.18), (*head.shape, 3)).astype(np.float32))
    return rim(soft(head), win)


def draw_screw(canvas: Canvas, x: float, y: float, s: float, rng: np.random.Generator) -> bool:
    r = float(rng.uniform(2.8, 5.5)) * s
    if r < 3.2:
        return False
    win = window(canvas, x, y, 3 * r)
    mark(canvas, SCREW, screw_head(canvas, win, x, y, r, some_metal(rng), rng))
    return True


def draw_hinge(canvas: Canvas, x: float, y: float, s: float, rng: np.random.Generator, side: int = 1) -> bool:
    """Leaf with barrel at an edge; `side`: +1 leaf to the right of the barrel, -1 to the left, 0 both."""
    long, wide = float(rng.uniform(35, 90)) * s, float(rng.uniform(10, 24)) * s
    barrel = float(rng.uniform(2.2, 4.5)) * s
    if wide < 5:
        return False
    win = window(canvas, x, y, long + 2 * wide)
    stuff = some_metal(rng)
    points: list[Points] = []
    strap = rng.random() < 0.2
    for sign in ((-1, 1) if side == 0 else (side,)):
        if rng.random() < 0.12 and side:  # only the barrel shows
            continue
        reach = wide * (3.0 if strap else 1.0)
        high = long * (0.22 if strap else 0.5)
        leaf = box(win, x + sign * reach / 2, y, (reach / 2, high), 0.0, float(rng.choice([0.0, 2.0, 4.0])) * s)
        shadow(canvas, win, soft(leaf), 0.7 * s)
        lay(canvas, win, soft(leaf), lit(dome(leaf, 1.5 * s, 0.7 * s), stuff, canvas.light))
        points.append(rim(soft(leaf), win))
        for k in range(int(rng.integers(2, 4))):
            v = (k - 1) * 0.62 * high + rng.normal(0, 0.5)
            sx = x + sign * reach * (0.25 + 0.3 * k if strap else 0.58)
            screw_head(canvas, win, sx, y + (0 if strap else v), 2.6 * s, stuff, rng)
    tube = box(win, x, y, (barrel, long / 2), 0.0, 0.3 * barrel)
    shadow(canvas, win, soft(tube), barrel)
    lay(canvas, win, soft(tube), lit(dome(tube, barrel, barrel), stuff, canvas.light))
    for k in range(1, int(rng.integers(3, 6))):
        yy = y - long / 2 + long * k / 5
        cut = box(win, x, yy, (1.2 * barrel, 0.3 * s))
        canvas.rgb[win.rows, win.columns] *= (1 - 0.6 * soft(cut))[..., None]
    points.append(rim(soft(tube), win))
    mark(canvas, HINGE, np.concatenate([p for p in points if len(p)]))
    return True


def draw_hole(canvas: Canvas, x: float, y: float, r: float, rng: np.random.Generator, core: np.ndarray | None = None) -> bool:
    """A bored hole of `r` pixels: dark, its far wall lit, rim worn or chipped."""
    win = window(canvas, x, y, 3 * r + 3)
    ground = ground_of(canvas, win)
    core = ground if core is None else core
    angle = np.arctan2(win.y - y, win.x - x)
    wobble = 1 + rng.uniform(0, 0.07) * np.cos(angle * int(rng.integers(2, 7)) + rng.uniform(0, 6))
    away = np.hypot(win.x - x, win.y - y)
    cover = soft((away - r * wobble).astype(np.float32))
    light = canvas.light
    toward = np.clip(-((win.x - x) * light.x + (win.y - y) * light.y) / r, -1, 1)
    dark = core * np.float32(rng.uniform(0.04, 0.3))
    wall = dark + (core - dark) * (0.7 * light.hard * np.clip(toward - 0.2, 0, 1))[..., None]
    edge = np.exp(-0.5 * ((away - r * 1.1) / max(0.7, 0.12 * r)) ** 2) * rng.uniform(-0.25, 0.3)
    canvas.rgb[win.rows, win.columns] *= (1 + edge)[..., None]
    lay(canvas, win, cover, np.asarray(wall, np.float32))
    mark(canvas, HOLE, rim(soft((away - r).astype(np.float32)), win))
    return True


def draw_glass(canvas: Canvas, rng: np.random.Generator, other: np.ndarray) -> bool:
    """A pane or mirror in a frame with its bevel; `other`: (h, w, 3) picture of which it shows a dim or mirrored part."""
    h, w = canvas.shape
    wide = sorted(rng.uniform(0, 1, 2)) if rng.random() < 0.4 else [rng.uniform(0.06, 0.25), rng.uniform(0.75, 0.94)]
    high = sorted(rng.uniform(0, 1, 2)) if rng.random() < 0.3 else [rng.uniform(0.06, 0.3), rng.uniform(0.7, 0.94)]
    (x0, x1), (y0, y1) = (np.array(wide) * w, np.array(high) * h)
    if x1 - x0 < 60 or y1 - y0 < 60:
        return False
    a, b, c, d = round(x0), round(x1), round(y0), round(y1)
    scene = np.asarray(cv2.GaussianBlur(other, (0, 0), float(rng.uniform(1, 14))), np.float32)
    scene = resize_map(scene, b - a, d - c)
    clear = rng.random()
    dim, haze_level = (rng.uniform(0.2, 0.8), 0.0) if clear < 0.6 else (0.3, rng.uniform(0.2, 0.6))
    tone = scene * np.float32(dim) + np.float32(haze_level)
    xs, ys = np.meshgrid(np.linspace(0, 1, b - a), np.linspace(0, 1, d - c))
    slope, at = rng.uniform(-1.5, 1.5), rng.uniform(-0.3, 1.0)
    streak = np.zeros_like(xs)
    for _ in range(int(rng.integers(0, 4))):
        place = at + rng.uniform(-0.5, 0.5)
        streak += rng.uniform(0.03, 0.3) / (1 + np.exp(-(0.12 - np.abs(xs + slope * ys - place)) / rng.uniform(0.004, 0.08)))
    if rng.random() < 0.5:  # a window or lamp mirrored
        px, py = rng.uniform(0.1, 0.9, 2)
        spot = (np.abs(xs - px) < rng.uniform(0.03, 0.15)) & (np.abs(ys - py) < rng.uniform(0.03, 0.2))
        streak += rng.uniform(0.2, 0.8) * spot
    haze = rng.uniform(0, 0.25) * (rng.uniform() * xs + ys)
    pane = np.clip(tone + (streak + haze)[..., None], 0, 1)
    canvas.rgb[c:d, a:b] = pane
    bevel = max(2, round(0.012 * min(h, w) * rng.uniform(0.5, 2.5)))
    for k in range(bevel):  # the rebate: lit and dark sides
        sides = (canvas.rgb[c - k - 1 : c - k, a:b], canvas.rgb[d + k : d + k + 1, a:b],
                 canvas.rgb[c:d, a - k - 1 : a - k], canvas.rgb[c:d, b + k : b + k + 1])
        for part, n in zip(sides, ((0, 1), (0, -1), (1, 0), (-1, 0)), strict=True):
            if part.size:
                part *= np.float32(1 + 0.35 * (n[0] * canvas.light.x + n[1] * canvas.light.y) - 0.1)
    canvas.labels[c:d, a:b] = GLASS
    canvas.truth.append((GLASS, np.array([[a, c], [b, c], [b, d], [a, d]], float)))
    np.clip(canvas.rgb, 0, 1, out=canvas.rgb)
    return True

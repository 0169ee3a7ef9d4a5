"""Knobs and pulls, each drawn on a canvas with its outline as truth; `s`: canvas pixels a millimetre.

Sizes are common practice, no source. Every `draw_*` gives True where it drew.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from training.hardware.shade import (
    Canvas,
    Plane,
    Points,
    Stuff,
    Window,
    box,
    capsule,
    dome,
    ellipse,
    ground_of,
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
from training.hardware.things import KNOB, PULL, PULLS

#: Kinds of pulls and how often each is drawn.
PULL_KINDS = {"bar": 0.2, "strip": 0.18, "bow": 0.17, "bail": 0.15, "cup": 0.1, "drop": 0.06, "ring": 0.04, "hollow": 0.1}


def extruded(win: Window, shape: Callable[[float, float], Plane], low: tuple[float, float], high: tuple[float, float]) -> Plane:
    """Signed distance to a prism seen aslant: its shape at every height from `low` (x, y) to `high`."""
    count = int(np.clip(np.hypot(high[0] - low[0], high[1] - low[1]) / 2, 1, 13))
    steps = [(k / count * (high[0] - low[0]), k / count * (high[1] - low[1])) for k in range(count + 1)]
    layers = [shape(low[0] + dx, low[1] + dy) for dx, dy in steps]
    return np.asarray(np.minimum.reduce(layers), np.float32)


def draw_knob(canvas: Canvas, x: float, y: float, s: float, rng: np.random.Generator) -> bool:
    """Turned, cast, square or block knob on its stem, with or without a plate, seen more or less from the side."""
    radius, proud = float(rng.uniform(10, 23)) * s, float(rng.uniform(14, 34)) * s
    win = window(canvas, x, y, 3.0 * radius + 1.5 * proud)
    stuff = some_stuff(rng, ground_of(canvas, win))
    points: list[Points] = []
    if rng.random() < 0.22:
        plate = ellipse(win, x, y, (radius * float(rng.uniform(1.1, 1.6)),) * 2)
        shadow(canvas, win, soft(plate), 0.8 * s)
        lay(canvas, win, soft(plate), lit(dome(plate, 0.3 * radius, 0.1 * radius), stuff, canvas.light))
        points.append(rim(soft(plate), win))
    tx, ty = x + canvas.light.look[0] * proud, y + canvas.light.look[1] * proud
    form = str(rng.choice(["round", "square", "block"], p=[0.72, 0.12, 0.16]))
    turn = float(rng.uniform(0, np.pi)) if rng.random() < 0.5 else 0.0
    dark = Stuff(stuff.colour * np.float32(rng.uniform(0.35, 0.75)), stuff.metal, 0.5 * stuff.gloss, stuff.waves)

    def top(a: float, b: float) -> Plane:
        if form == "round":
            return ellipse(win, a, b, (radius, radius))
        return box(win, a, b, (0.85 * radius,) * 2, turn, (0.2 if form == "square" else 0.03) * radius)

    head = top(tx, ty)
    thick = float(rng.uniform(0.0, 0.5))  # share of its height that the head takes
    side = extruded(win, top, (tx - thick * (tx - x), ty - thick * (ty - y)), (tx, ty))
    stem = capsule(win, (x, y), (tx, ty), radius * float(rng.uniform(0.3, 0.7)))
    cover = np.maximum(soft(side), soft(stem))
    shadow(canvas, win, soft(stem), 0.3 * proud)
    shadow(canvas, win, soft(side), 0.8 * proud)
    lay(canvas, win, soft(stem), lit(dome(stem, 0.4 * radius, 0.4 * radius), dark, canvas.light))
    lay(canvas, win, soft(side), lit(dome(side, 0.25 * radius, 0.2 * radius), dark, canvas.light))
    high = dome(head, radius, radius * float(rng.uniform(0.15, 0.95)), float(rng.uniform(1.6, 3.5)))
    if form == "block":
        high = dome(head, 0.1 * radius, 0.1 * radius)
    elif rng.random() < 0.5:  # a bead or a dish in the middle
        d = np.hypot(win.x - np.float32(tx), win.y - np.float32(ty)) / np.float32(radius)
        ring = np.exp(-0.5 * ((d - np.float32(rng.uniform(0, 0.75))) / np.float32(0.12)) ** 2)
        high = high + np.float32(rng.choice([-1.0, 1.0]) * rng.uniform(0.03, 0.14) * radius) * ring
    lay(canvas, win, soft(head), lit(high, stuff, canvas.light))
    points.append(rim(cover, win))
    mark(canvas, KNOB, np.concatenate(points))
    return True


def draw_hollow(canvas: Canvas, x: float, y: float, s: float, rng: np.random.Generator, turn: float = 0.0) -> bool:
    """A grip cut or let into the face: a slot, a dish with a metal rim, or a notch in the panel's upper edge."""
    half = float(rng.uniform(32, 70)) * s, float(rng.uniform(9, 22)) * s
    form = str(rng.choice(["slot", "dish", "notch"], p=[0.35, 0.35, 0.3]))
    if form == "notch" and turn == 0.0:
        y = 0.0
    if half[1] < 3.5:
        return False
    win = window(canvas, x, y, 1.3 * half[0] + 8 * s)
    ground = ground_of(canvas, win)
    shape = box(win, x, y, half, turn, half[1] * float(rng.choice([0.15, 0.6, 1.0])))
    points = [rim(soft(shape), win)]
    c, t = float(np.cos(turn)), float(np.sin(turn))
    if form == "dish" and rng.random() < 0.75:
        stuff, wide = some_metal(rng), float(rng.uniform(2, 6)) * s
        plate = np.asarray(shape - wide, np.float32)
        shadow(canvas, win, soft(plate), 0.7 * s)
        lay(canvas, win, soft(plate), lit(dome(plate, wide, 0.4 * wide), stuff, canvas.light))
        points.append(rim(soft(plate), win))
        floor = stuff.colour * np.float32(rng.uniform(0.35, 0.9))
    else:
        floor = ground * np.float32(rng.uniform(0.05, 0.7 if form == "dish" else 0.25))
    across = ((win.y - np.float32(y)) * np.float32(c) - (win.x - np.float32(x)) * np.float32(t)) / np.float32(half[1])
    tone = np.clip(np.float32(0.85) + np.float32(rng.uniform(-0.1, 0.5)) * across, 0.1, 1.6)
    edge = np.clip(1 + shape / np.float32(max(2.0, 0.35 * half[1])), 0, 1)  # shadow under the upper lip
    tone = tone * (1 - np.float32(rng.uniform(0.2, 0.7)) * edge * (across < 0))
    lay(canvas, win, soft(shape), np.clip(floor * tone[..., None], 0, 1).astype(np.float32))
    mark(canvas, PULL, np.concatenate([p for p in points if len(p)]))
    return True


def draw_pull(canvas: Canvas, x: float, y: float, s: float, rng: np.random.Generator, turn: float = 0.0) -> bool:
    """Bar, strip, bow, bail, cup, drop, ring or hollow pull, middle at x, y, along `turn` radians."""
    kind = str(rng.choice(list(PULL_KINDS), p=list(PULL_KINDS.values())))
    if kind == "hollow":
        return draw_hollow(canvas, x, y, s, rng, turn)
    spacing = float(rng.choice((*PULLS, 192.0, 256.0) if kind in ("bar", "strip") and rng.random() < 0.3 else PULLS)) * s
    if kind in ("drop", "ring"):
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

    if kind == "strip":  # a flat or square section on posts, or right on the face
        half = (0.5 * spacing * float(rng.uniform(1.0, 1.25)), thick * float(rng.uniform(0.6, 2.2)))
        raised = rng.random() < 0.75
        for p, q in zip(ends, (at(-spacing / 2, 0, True), at(spacing / 2, 0, True)), strict=True):
            if raised:
                put(capsule(win, p, q, 0.8 * thick), thick, thick, 0.3 * proud)
        low, high = (at(0, 0, True), at(0, 0, True)) if raised else (at(0, 0), at(0, 0, True))
        back = (low[0] - 0.3 * look[0], low[1] - 0.3 * look[1]) if raised else low
        dark = Stuff(stuff.colour * np.float32(0.5), stuff.metal, 0.4 * stuff.gloss, stuff.waves)
        body = extruded(win, lambda a, b: box(win, a, b, half, turn, 0.1 * half[1]), back, high)
        put(body, 2 * thick, 0.5 * thick, 0.9 * proud, dark)
        put(box(win, *high, half, turn, 0.1 * half[1]), 0.3 * thick, 0.3 * thick, 0.0)
    elif kind in ("bar", "bow"):
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

"""Locks, hinges, screws and holes, each drawn on a canvas with its outline as truth.

`s`: canvas pixels a millimetre. Sizes are common practice, no source. Every `draw_*` gives True where it drew.
"""

from __future__ import annotations

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
    window,
)

KNOB, PULL, KEYHOLE, HINGE, SCREW, HOLE, GLASS = range(1, 8)
#: Spacings at which pulls are drilled, mm.
PULLS = (64.0, 76.0, 96.0, 128.0, 160.0)


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
    """Butt, strap or concealed hinge at an edge; `side`: +1 leaf to the right of the barrel, -1 to the left, 0 both."""
    form = str(rng.choice(["butt", "strap", "cup"], p=[0.62, 0.2, 0.18]))
    if form == "cup":
        return draw_cup_hinge(canvas, x, y, s, rng, side)
    long, wide = float(rng.uniform(35, 90)) * s, float(rng.uniform(10, 24)) * s
    barrel = float(rng.uniform(2.2, 4.5)) * s
    if wide < 5:
        return False
    strap = form == "strap"
    reach = wide * (float(rng.uniform(2.5, 7.0)) if strap else 1.0)
    high = long * (float(rng.uniform(0.13, 0.25)) if strap else 0.5)
    win = window(canvas, x, y, max(long, reach + 2 * wide))
    stuff = some_metal(rng)
    points: list[Points] = []
    tip, round_tip = float(rng.uniform(0.25, 1.0)), rng.random() < 0.5
    bare = rng.random() < 0.12 and side != 0 and not strap  # only the barrel shows
    for sign in (() if bare else (-1, 1) if side == 0 else (side,)):
        leaf = box(win, x + sign * reach / 2, y, (reach / 2, high), 0.0, float(rng.choice([0.0, 2.0, 4.0])) * s)
        if strap:  # narrower towards its tip, which is round, or spread like a spear
            along = np.clip(sign * (win.x - np.float32(x)) / np.float32(reach), 0, 1)
            leaf = np.maximum(leaf, np.abs(win.y - np.float32(y)) - np.float32(high) * (1 - np.float32(1 - tip) * along))
            if round_tip:
                leaf = np.minimum(leaf, ellipse(win, x + sign * reach, y, (1.3 * high * tip + 2 * s,) * 2))
        leaf = np.asarray(leaf, np.float32)
        shadow(canvas, win, soft(leaf), 0.7 * s)
        lay(canvas, win, soft(leaf), lit(dome(leaf, 1.5 * s, 0.7 * s), stuff, canvas.light))
        points.append(rim(soft(leaf), win))
        for k in range(int(rng.integers(2, 4))):
            v = (k - 1) * 0.62 * high + rng.normal(0, 0.5)
            sx = x + sign * reach * (0.2 + 0.33 * k if strap else 0.58)
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


def draw_cup_hinge(canvas: Canvas, x: float, y: float, s: float, rng: np.random.Generator, side: int) -> bool:
    """A concealed hinge as seen inside a door: a cup of 35 mm let in, ears with screws, an arm towards the edge."""
    r, sign = 17.5 * s, side if side else int(rng.choice([-1, 1]))
    if r < 5:
        return False
    x = x + sign * float(rng.uniform(20, 26)) * s
    win = window(canvas, x, y, 5 * r)
    stuff = Stuff(np.full(3, rng.uniform(0.5, 0.85), np.float32), float(rng.uniform(0.4, 0.9)), float(rng.uniform(0.3, 0.9)),
                  rng.uniform(0, 6.3, 4))
    ears = box(win, x - sign * 0.1 * r, y, (0.55 * r, float(rng.uniform(1.5, 1.9)) * r), 0.0, 0.3 * r)
    plate = np.asarray(np.minimum(ears, ellipse(win, x, y, (1.08 * r, 1.08 * r))), np.float32)
    cup = ellipse(win, x, y, (0.88 * r, 0.88 * r))
    half_arm = float(rng.uniform(0.8, 1.9)) * r
    arm = box(win, x - sign * half_arm, y, (half_arm, float(rng.uniform(0.4, 0.62)) * r), 0.0, 0.15 * r)
    shadow(canvas, win, soft(plate), 0.8 * s)
    lay(canvas, win, soft(plate), lit(dome(plate, 1.2 * s, 0.9 * s), stuff, canvas.light))
    hollow = Stuff(stuff.colour * np.float32(rng.uniform(0.3, 0.8)), stuff.metal, stuff.gloss, stuff.waves)
    lay(canvas, win, soft(cup), lit(-dome(cup, 0.5 * r, 0.35 * r), hollow, canvas.light))
    for sy in (-1, 1):
        screw_head(canvas, win, x - sign * 0.1 * r, y + sy * 1.38 * r, 3.2 * s, stuff, rng)
    points = [rim(soft(plate), win)]
    if rng.random() < 0.8:
        shadow(canvas, win, soft(arm), 4 * s)
        lay(canvas, win, soft(arm), lit(dome(arm, 2.5 * s, 2.5 * s), stuff, canvas.light))
        for k in range(int(rng.integers(1, 3))):
            screw_head(canvas, win, x - sign * half_arm * (0.7 + 0.7 * k), y, 3.0 * s, stuff, rng)
        points.append(rim(soft(arm), win))
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

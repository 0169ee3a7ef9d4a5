"""What looks like damage and is none: knots, fittings, shadows, stickers, inlay, dust, printed distress and the like."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from training.damage.fields import Mask, cloud, grid, grown, ragged, soft, spot, stroke, turned, wander
from training.damage.marks import Work

Draw = Callable[[Work], "Mask | None"]


def knot(work: Work) -> Mask | None:
    """A knot: dark oval with rings, the grain flowing round it (the picture is bent round the place)."""
    base, rng, shape = work.base, work.rng, work.shape
    if base.face not in ("solid_wood", "veneer", "printed") or base.edge:
        return None
    r = work.size(5, 22, 5, 0.15)
    cx, cy = work.inside(0.08)
    u, v = turned(shape, cx, cy, 0.0)
    rx, ry = r * float(rng.uniform(1.0, 1.7)), r
    dist = np.sqrt((u / rx) ** 2 + (v / ry) ** 2).astype(np.float32)
    y, x = (np.broadcast_to(a, shape).astype(np.float32) for a in grid(shape))
    push = np.exp(-np.abs(u) / (2.5 * rx)) * ry * np.exp(-np.abs(v) / (2 * ry))
    surface = work.surface
    surface.colour = np.asarray(
        cv2.remap(
            surface.colour, x, np.asarray(y - np.sign(v) * push, np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT
        ),
        np.float32,
    )
    inside = soft(1 - dist, 0.35)
    rings = 1 + 0.16 * np.sin(dist * float(rng.uniform(14, 26)) + 0.6 * cloud(shape, r / 2, r / 2, rng))
    tone = base.bare.mean(axis=(0, 1)) if base.face == "printed" else base.colour.mean(axis=(0, 1))
    wood = np.clip(tone * rng.uniform(0.45, 0.85) * np.array([1.05, 0.92, 0.8]), 0, 1)
    surface.paint(inside * np.float32(rng.uniform(0.6, 0.95)), np.asarray(np.clip(wood * rings[..., None], 0, 1), np.float32))
    bark = np.exp(-(((dist - 1) / 0.13) ** 2)) * np.clip(0.5 + 0.5 * cloud(shape, r, r, rng), 0, 1)
    surface.tone(np.asarray(bark, np.float32), float(rng.uniform(0.25, 0.7)))
    if rng.random() < 0.4 and base.face != "printed":
        for _ in range(int(rng.integers(1, 4))):
            line = wander((cx, cy), float(rng.uniform(0, 6.28)), 0.8 * r, rng, step=2)
            surface.tone(stroke(shape, line, np.full(len(line), 0.9)), 0.35)
    return dist < 1.3


def resin(work: Work) -> Mask | None:
    """Resin pockets and mineral streaks: dark or amber lenses along the grain, flat."""
    base, rng, shape = work.base, work.rng, work.shape
    if base.face not in ("solid_wood", "veneer", "printed") or base.edge:
        return None
    out = np.zeros(shape, bool)
    for _ in range(int(rng.integers(1, 5))):
        cx, cy = work.inside(0.03)
        rx, ry = work.size(15, 120, 12, 0.6), max(1.2, work.draw(0.8, 4))
        field = soft(ragged(shape, cx, cy, rx, ry, rng, rough=0.25, splinter=8.0), 0.7)
        work.surface.tone(
            field * np.float32(rng.uniform(0.4, 0.9)),
            ((0.45, 0.33, 0.24), (0.72, 0.50, 0.28), (0.5, 0.5, 0.45))[int(rng.integers(3))],
        )
        out |= field > 0.4
    return out


def spalting(work: Work) -> Mask | None:
    """Dark zone lines wandering over pale patches: wood that fungus coloured before it was sawn, sound and flat."""
    base, rng, shape = work.base, work.rng, work.shape
    if base.face not in ("solid_wood", "veneer") or base.edge:
        return None
    size = work.size(15, 60, 14, 0.3)
    field = cloud(shape, size, 3 * size, rng, 3)
    line = np.exp(-((field / 0.035) ** 2)) * soft(cloud(shape, 2 * size, 3 * size, rng) + 0.3, 0.6)
    work.surface.tone(soft(field, 0.2) * 0.6, (1.06, 1.07, 1.1))
    work.surface.tone(np.asarray(np.clip(line, 0, 1), np.float32), float(rng.uniform(0.25, 0.5)))
    return grown(line > 0.4, 1)


def knob(work: Work) -> Mask | None:
    """A pull: a round knob or a bar, with its own shading, gleam and cast shadow."""
    base, rng, shape, surface = work.base, work.rng, work.shape, work.surface
    if base.edge:
        return None
    h, w = shape
    metal = rng.random() < 0.6
    tone = rng.uniform(0.08, 0.75) * (np.array([1, 0.93, 0.8]) if metal else np.array([0.9, 0.62, 0.42]))
    if rng.random() < 0.6:
        r = work.size(9, 22, 6, 0.2)
        u, v = turned(shape, float(rng.uniform(0.2, 0.8) * w), float(rng.uniform(0.25, 0.75) * h), 0.0)
        inside = 1 - np.hypot(u, v) / r
    else:
        half, r = work.size(35, 90, 16, 0.5), work.size(4, 10, 3.5, 0.1)
        u, v = turned(
            shape, float(rng.uniform(0.3, 0.7) * w), float(rng.uniform(0.3, 0.7) * h), float(rng.choice([0.0, 0.0, np.pi / 2]))
        )
        inside = 1 - np.hypot(np.maximum(np.abs(u) - half, 0), v) / r
    cover = soft(np.asarray(inside * r, np.float32), 1.2)
    surface.paint(cover, np.asarray(np.clip(tone, 0, 1), np.float32))
    surface.height += np.asarray(np.sqrt(np.clip(inside, 0, 1)) * min(9.0, 0.9 * r), np.float32)
    surface.gloss = np.maximum(surface.gloss, cover * np.float32(0.9 if metal else 0.4))
    return grown(cover > 0.3, 0.8 * r)


def keyhole(work: Work) -> Mask | None:
    """A keyhole, with or without its metal plate."""
    base, rng, shape, surface = work.base, work.rng, work.shape, work.surface
    if base.edge:
        return None
    r = max(2.0, work.px(2.8))
    cx, cy = work.inside(0.2)
    u, v = turned(shape, cx, cy, 0.0)
    out = np.zeros(shape, bool)
    if rng.random() < 0.6:
        plate = soft(np.asarray(4.5 * r - np.hypot(u * 1.5, v), np.float32), 1.0)
        surface.paint(plate, np.asarray(rng.uniform(0.3, 0.75) * np.array([1, 0.85, 0.55]), np.float32))
        surface.height += plate * 0.8
        surface.gloss = np.maximum(surface.gloss, plate * np.float32(0.8))
        out |= plate > 0.3
    hole = np.maximum(
        soft(np.asarray(r - np.hypot(u, v + r), np.float32), 0.9),
        soft(np.asarray(np.minimum(0.55 * r - np.abs(u), np.minimum(v + r, 3 * r - v)), np.float32), 0.9),
    )
    surface.paint(hole, (0.03, 0.025, 0.02))
    surface.height -= hole * 2
    return grown(out | (hole > 0.3), 2)


def screws(work: Work) -> Mask | None:
    """Screw heads, plugs or drilled pin holes, in a row at even spacing."""
    rng, shape, surface = work.rng, work.shape, work.surface
    h, w = shape
    way = str(rng.choice(["head", "pin", "plug"]))
    r = max(1.4, work.px({"head": 3.5, "pin": 2.5, "plug": 5.0}[way]))
    count, pitch = int(rng.integers(1, 7)), max(4 * r, work.px(32.0 if way == "pin" else float(rng.uniform(32, 160))))
    x0, y0 = work.inside(0.08)
    down = rng.random() < 0.4 and not work.base.edge
    out = np.zeros(shape, bool)
    tone = np.asarray(rng.uniform(0.3, 0.8) * np.array([1, 0.95, 0.82]), np.float32)
    for k in range(count):
        x, y = (x0, y0 + k * pitch) if down else (x0 + k * pitch, y0)
        if not (r < x < w - r and r < y < h - r):
            continue
        u, v = turned(shape, x, y, float(rng.uniform(0, np.pi)))
        dist = np.hypot(u, v)
        cover = soft(np.asarray(r - dist, np.float32), 1.0)
        if way == "pin":
            surface.paint(cover, (0.06, 0.045, 0.035))
            surface.height -= cover * 2.5
        elif way == "head":
            surface.paint(cover, tone)
            surface.gloss = np.maximum(surface.gloss, cover * np.float32(0.8))
            slot = soft(np.asarray(0.25 * r - np.minimum(np.abs(u), np.abs(v)), np.float32), 0.8) * cover * (dist < 0.7 * r)
            surface.tone(np.asarray(slot, np.float32), 0.2)
            surface.tone(np.asarray(np.exp(-(((dist - r) / 0.8) ** 2)), np.float32), 0.6)
        else:
            surface.tone(cover * np.float32(rng.uniform(0.4, 1)), float(rng.uniform(0.6, 1.25)))
            surface.tone(np.asarray(np.exp(-(((dist - r) / 0.7) ** 2)), np.float32), 0.7)
        out |= dist < r + 2
    return out if out.any() else None


def glare(work: Work) -> Mask | None:
    """A lamp mirrored in the finish: a burnt-out spot or streak with a soft rim."""
    rng, shape = work.rng, work.shape
    cx, cy = work.inside(0.1)
    side = min(shape)
    hill = spot(
        shape, cx, cy, float(rng.uniform(0.06, 0.3)) * side, float(rng.uniform(0.04, 0.12)) * side, float(rng.uniform(0, np.pi))
    )
    work.surface.paint(np.asarray(np.clip(hill * float(rng.uniform(0.6, 1.6)), 0, 1), np.float32), (1.0, 0.99, 0.96))
    return hill > 0.35


def shadow(work: Work) -> Mask | None:
    """A cast shadow with a straight or leafy edge, or a strip under an overhang."""
    rng, shape = work.rng, work.shape
    angle = float(rng.uniform(0, np.pi))
    _, v = turned(shape, *work.inside(0.15), angle)
    width = float(rng.uniform(0.08, 0.5)) * min(shape)
    field = width - np.abs(v) if rng.random() < 0.6 else v
    if rng.random() < 0.4:
        field = field + 0.3 * width * cloud(shape, width, width, rng)
    cover = soft(np.asarray(field, np.float32), float(np.exp(rng.uniform(np.log(1.5), np.log(40)))))
    work.surface.shade *= 1 - cover * np.float32(rng.uniform(0.25, 0.72))
    return cover > 0.5


def sticker(work: Work) -> Mask | None:
    """A paper label or a piece of tape with some scribble."""
    rng, shape, surface = work.rng, work.shape, work.surface
    if work.base.edge:
        return None
    u, v = turned(shape, *work.inside(0.12), float(rng.normal(0, 0.2)))
    half, tall = work.size(10, 50, 9, 0.35), work.size(7, 25, 7, 0.25)
    cover = soft(np.asarray(np.minimum(half - np.abs(u), tall - np.abs(v)), np.float32), 1.0)
    tone = np.asarray(
        [(0.95, 0.94, 0.90), (0.95, 0.85, 0.3), (0.85, 0.78, 0.62), (0.9, 0.35, 0.3)][int(rng.integers(4))], np.float32
    )
    surface.paint(cover, tone)
    surface.height += cover * 0.3
    rows = (
        (np.sin(v * float(rng.uniform(0.9, 1.6))) > 0.4)
        & (cloud(shape, 2, 3, rng, 1) > -0.2)
        & (np.abs(u) < 0.75 * half)
        & (np.abs(v) < 0.75 * tall)
    )
    if rng.random() < 0.7:
        surface.tone(rows.astype(np.float32) * cover, 0.25)
    return cover > 0.5


def inlay(work: Work) -> Mask | None:
    """Stringing parallel to the borders, or an oval medallion: sharp, flat, of another wood."""
    base, rng, shape, surface = work.base, work.rng, work.shape, work.surface
    if base.face not in ("solid_wood", "veneer", "printed") or base.edge:
        return None
    h, w = shape
    tone = np.asarray([(0.87, 0.77, 0.58), (0.10, 0.07, 0.05), (0.6, 0.36, 0.2)][int(rng.integers(3))], np.float32)
    if rng.random() < 0.65:
        inset, wide = float(rng.uniform(0.05, 0.22)) * min(shape), max(1.0, work.draw(1.5, 6))
        y, x = grid(shape)
        box = np.minimum(np.minimum(x, w - 1 - x), np.minimum(y, h - 1 - y))
        cover = soft(np.asarray(0.5 * wide - np.abs(box - inset), np.float32), 0.9)
    else:
        u, v = turned(shape, *work.inside(0.3), 0.0)
        r = work.size(20, 70, 14, 0.3)
        dist = np.hypot(u / 1.6, v)
        cover = np.maximum(
            soft(np.asarray(r - dist, np.float32), 1.0) * 0.75, soft(np.asarray(1.2 - np.abs(dist - r), np.float32), 0.9)
        )
    surface.paint(np.asarray(cover * float(rng.uniform(0.6, 1)), np.float32), tone)
    return cover > 0.4


def gap(work: Work) -> Mask | None:
    """Gaps or grooves between boards or fronts: dark, straight, from border to border."""
    rng, shape, surface = work.rng, work.shape, work.surface
    h, w = shape
    along_x = rng.random() < 0.7
    out = np.zeros(shape, bool)
    y, x = grid(shape)
    for _ in range(int(rng.integers(1, 4))):
        at = float(rng.uniform(0.06, 0.94) * (h if along_x else w))
        wide = max(0.9, work.draw(0.6, 4))
        line = np.exp(
            -((((y if along_x else x) - at - (x if along_x else y) * float(rng.normal(0, 0.003))) / wide) ** 2)
        ) * np.ones(shape)
        surface.tone(np.asarray(line, np.float32), float(rng.uniform(0.08, 0.5)))
        surface.height -= np.asarray(line * min(2.5, wide), np.float32)
        out |= line > 0.3
    return out


def pores(work: Work) -> Mask | None:
    """Open pores of oak or ash filled with dark or white: many short dashes along the grain."""
    base, rng, shape = work.base, work.rng, work.shape
    if base.face not in ("solid_wood", "veneer") or base.edge:
        return None
    dash = np.clip(cloud(shape, max(0.9, work.px(0.5)), max(4, work.px(9)), rng, 1) - 1.1, 0, 0.6) / 0.6
    dash = dash * soft(cloud(shape, max(6, work.px(10)), max(60, work.px(200)), rng) + 0.4, 1.0)
    work.surface.tone(np.asarray(dash * float(rng.uniform(0.4, 0.9)), np.float32), float(rng.choice([0.4, 0.55, 1.5])))
    work.surface.height -= np.asarray(0.25 * dash, np.float32)
    return None


def distress(work: Work) -> Mask | None:
    """A print of worn old boards: cracks, wormholes and stains that are ink and nothing else."""
    base, rng, shape, surface = work.base, work.rng, work.shape, work.surface
    if base.face != "printed" or base.edge:
        return None
    out = np.zeros(shape, bool)
    ink = np.zeros(shape, np.float32)
    h, w = shape
    for _ in range(int(rng.integers(2, 7))):
        points = wander(
            (float(rng.uniform(-0.1, 0.9) * w), float(rng.uniform(0, 1) * h)),
            float(rng.normal(0, 0.03)),
            float(rng.uniform(0.1, 0.5) * w),
            rng,
        )
        np.maximum(
            ink,
            stroke(shape, points, np.full(len(points), max(0.8, work.draw(0.5, 2)))) * np.float32(rng.uniform(0.4, 0.9)),
            out=ink,
        )
    for _ in range(int(rng.integers(0, 25))):
        r = max(0.9, work.draw(0.6, 2))
        np.maximum(ink, spot(shape, *work.inside(0.02), r, r) * np.float32(rng.uniform(0.4, 0.9)), out=ink)
    for _ in range(int(rng.integers(0, 4))):
        r = work.size(8, 40, 7, 0.2)
        np.maximum(ink, 0.35 * soft(ragged(shape, *work.inside(0.05), 2 * r, r, rng, splinter=3), 1.0), out=ink)
    soaked = cv2.GaussianBlur(ink, (0, 0), max(0.5, 0.4 / base.mm))
    surface.tone(np.asarray(soaked, np.float32), (0.38, 0.33, 0.28))
    out |= soaked > 0.15
    return out


def dust(work: Work) -> Mask | None:
    """Dust, crumbs and fluff lying on the face."""
    rng, shape = work.rng, work.shape
    dots = np.zeros(shape, np.float32)
    h, w = shape
    for _ in range(int(rng.integers(10, 90))):
        x, y = int(rng.uniform(0, w)), int(rng.uniform(0, h))
        dots[y, x] = rng.uniform(0.4, 1)
    dots = np.clip(2.2 * cv2.GaussianBlur(dots, (0, 0), 0.7), 0, 1)
    for _ in range(int(rng.integers(0, 3))):
        hair = wander(work.inside(0.05), float(rng.uniform(0, 6.28)), float(rng.uniform(8, 30)), rng, bend=0.5, step=3)
        np.maximum(dots, stroke(shape, hair, np.full(len(hair), 0.6)), out=dots)
    veil = soft(cloud(shape, 80, 80, rng), 1.5) * np.float32(rng.uniform(0, 0.12))
    work.surface.paint(np.maximum(dots * np.float32(rng.uniform(0.4, 0.9)), veil), (0.82, 0.80, 0.76))
    return grown(dots > 0.3, 1)


def sliver(work: Work) -> Mask | None:
    """An outline drawn a little too wide: a strip of wall, floor or a neighbouring part along a border."""
    rng, shape, surface = work.rng, work.shape, work.surface
    side = int(rng.integers(4))
    h, w = shape
    depth = np.arange(h)[:, None] * np.ones(w) if side in (0, 2) else np.arange(w)[None] * np.ones((h, 1))
    depth = (h - 1 - depth) if side == 2 else (w - 1 - depth) if side == 1 else depth
    n = w if side in (0, 2) else h
    t = np.arange(n) / n
    edge = np.clip(float(rng.uniform(0.005, 0.035)) * min(shape) + float(rng.normal(0, 0.02)) * min(shape) * (t - 0.5), 0, None)
    edge = edge[None, :] if side in (0, 2) else edge[:, None]
    cover = soft(np.asarray(edge - depth, np.float32), 1.2)
    tone = rng.uniform(0.04, 0.9) * np.array([1, rng.uniform(0.9, 1), rng.uniform(0.8, 1)])
    surface.paint(cover, np.asarray(tone, np.float32))
    if rng.random() < 0.5:  # a dark line where parts meet
        surface.tone(np.asarray(np.exp(-(((edge - depth) / 1.2) ** 2)), np.float32), float(rng.uniform(0.2, 0.7)))
    return grown(cover > 0.3, 2)


#: Name -> (how it is drawn, how often among foolers).
FOOLERS: dict[str, tuple[Draw, float]] = {
    "knot": (knot, 1.3),
    "resin": (resin, 0.8),
    "spalting": (spalting, 0.4),
    "handle": (knob, 1.0),
    "keyhole": (keyhole, 0.6),
    "screws": (screws, 1.0),
    "glare": (glare, 0.8),
    "shadow": (shadow, 1.0),
    "sticker": (sticker, 0.6),
    "inlay": (inlay, 0.7),
    "gap": (gap, 1.0),
    "pores": (pores, 0.6),
    "printed_distress": (distress, 1.5),
    "dust": (dust, 0.7),
    "sliver": (sliver, 1.2),
}

"""Marks in the face: water rings and tide lines, burns, ink, mould, insect holes."""

from __future__ import annotations

import numpy as np

from training.damage.fields import closed, cloud, grown, ragged, soft, spot, turned
from training.damage.marks import Mark, Work


def water_mark(work: Work) -> Mark | None:
    """White rings or haze in a finish, a dark tide line on any face."""
    rng, shape, base = work.rng, work.shape, work.base
    if base.edge:
        return None
    way = str(rng.choice(["ring", "ring", "haze", "tide"])) if base.face != "bare_board" and base.face != "opaque" else "tide"
    mask = np.zeros(shape, bool)
    surface = work.surface
    if way == "ring":
        r = float(np.clip(work.draw(28, 48), 13, 0.36 * min(shape)))
        wide = max(2.0, r * float(rng.uniform(0.07, 0.2)))
        x0, y0 = work.inside(0.15)
        for k in range(1 + int(rng.random() < 0.3)):
            cx, cy = x0 + k * r * float(rng.normal(0, 0.7)), y0 + k * r * float(rng.normal(0, 0.7))
            u, v = turned(shape, cx, cy, 0.0)
            dist, round_ = np.hypot(u, v), np.arctan2(v, u)
            band = np.exp(-(((dist - r - 0.06 * r * cloud(shape, r, r, rng)) / (0.5 * wide)) ** 2))
            gaps = np.clip(
                0.85
                + 0.4 * np.cos(round_ - rng.uniform(0, 6.28)) * float(rng.uniform(0, 1))
                + 0.25 * cloud(shape, wide * 3, wide * 3, rng),
                0,
                1.1,
            )
            ring = np.clip(band * gaps + 0.12 * rng.random() * (dist < r), 0, 1)
            surface.paint(np.asarray(ring * float(rng.uniform(0.22, 0.55)), np.float32), (0.93, 0.90, 0.86))
            surface.gloss *= np.asarray(1 - 0.5 * ring, np.float32)
            mask |= ring > 0.3
    elif way == "haze":
        rx, ry = work.size(20, 90, 16, 0.4), work.size(14, 60, 12, 0.3)
        field = ragged(shape, *work.inside(0.12), rx, ry, rng, rough=0.25, splinter=1.3)
        haze = soft(field, float(rng.uniform(0.4, 0.9))) * np.clip(0.75 + 0.25 * cloud(shape, ry / 2, ry / 2, rng), 0, 1)
        surface.paint(np.asarray(haze * float(rng.uniform(0.2, 0.5)), np.float32), (0.92, 0.90, 0.88))
        surface.gloss *= np.asarray(1 - 0.6 * haze, np.float32)
        mask |= haze > 0.4
    else:
        rx, ry = work.size(18, 140, 16, 0.45), work.size(14, 90, 12, 0.4)
        where = work.border()[:2] if rng.random() < 0.5 else work.inside(0.1)
        field = ragged(shape, *where, rx, ry, rng, rough=0.22, splinter=1.8)
        line = np.exp(-((field / float(rng.uniform(0.05, 0.12))) ** 2)) * np.clip(0.8 + 0.4 * cloud(shape, 12, 12, rng), 0.1, 1.2)
        inner = soft(field, 0.2)
        dark = float(rng.uniform(0.25, 0.6))
        surface.tone(np.asarray(np.clip(line, 0, 1) * dark, np.float32), (0.45, 0.38, 0.32))
        surface.tone(np.asarray(inner * dark * float(rng.uniform(0.2, 0.7)), np.float32), (0.62, 0.55, 0.48))
        surface.gloss *= np.asarray(1 - 0.5 * inner, np.float32)
        mask |= field > -0.06
    return Mark("water_mark", mask)


def burn(work: Work) -> Mark | None:
    """Scorched by a cigarette or something hot: black or brown in the middle, brown towards the rim."""
    rng, shape = work.rng, work.shape
    if work.base.edge:
        return None
    if rng.random() < 0.65:
        rx, ry = max(6.0, work.draw(8, 24)), max(4.0, work.draw(4, 9))
    else:
        rx, ry = work.size(25, 90, 14, 0.35), work.size(22, 70, 12, 0.3)
    field = ragged(shape, *work.inside(0.08), rx, ry, rng, rough=0.09, splinter=1.5, angle=float(rng.uniform(0, np.pi)))
    brown, black = soft(field + 0.1, 0.9), soft(field - float(rng.uniform(0.15, 0.8)), 0.5)
    work.surface.tone(brown * np.float32(rng.uniform(0.6, 0.95)), (0.52, 0.36, 0.24))
    work.surface.paint(black * np.float32(rng.uniform(0.5, 0.95)), (0.07, 0.05, 0.04))
    work.surface.gloss *= 1 - 0.7 * brown
    work.surface.height -= black * np.float32(rng.uniform(0, 0.8)) * (1 + 0.3 * cloud(shape, 3, 3, rng))
    return Mark("burn", brown > 0.4)


def stain(work: Work) -> Mark | None:
    """Ink or another strong colour soaked in: sharp blots, arms along the grain, drops about it."""
    rng, shape, base = work.rng, work.shape, work.base
    if base.edge:
        return None
    colour = [(0.07, 0.08, 0.22), (0.06, 0.06, 0.07), (0.45, 0.06, 0.10), (0.25, 0.10, 0.20), (0.12, 0.30, 0.16)][
        int(rng.integers(5))
    ]
    r = work.size(6, 45, 7, 0.25)
    cx, cy = work.inside(0.1)
    field = ragged(shape, cx, cy, r * float(rng.uniform(0.9, 1.6)), r, rng, rough=0.3, splinter=2.5 if not base.film else 1.0)
    cover = soft(field, float(rng.uniform(0.15, 0.6)))
    for _ in range(int(rng.poisson(1.5))):
        d = r * float(rng.uniform(0.08, 0.22))
        drop = ragged(shape, cx + float(rng.normal(0, 1.6)) * r, cy + float(rng.normal(0, 1.6)) * r, d, d, rng, rough=0.1)
        np.maximum(cover, soft(drop * d, 1.2), out=cover)
    uneven = np.clip(0.85 + 0.15 * cloud(shape, r / 2, r / 2, rng), 0.3, 1)
    work.surface.paint(np.asarray(cover * uneven * float(rng.uniform(0.5, 0.92)), np.float32), colour)
    return Mark("stain", cover > 0.4)


def mould(work: Work) -> Mark | None:
    """Clusters of soft dark grey-green specks that run together in the middle."""
    rng, shape = work.rng, work.shape
    rx, ry = work.size(25, 150, 18, 0.45), work.size(18, 90, 13, 0.4)
    where = work.border()[:2] if rng.random() < 0.5 else work.inside(0.08)
    zone = ragged(shape, *where, rx, ry, rng, rough=0.35, splinter=1.2)
    fine, coarse = max(1.3, work.px(1.5)), max(2.6, work.px(5))
    specks = np.maximum(cloud(shape, fine, fine, rng, 1), 0.9 * cloud(shape, coarse, coarse, rng, 1) + 0.1)
    level = specks + 1.2 * np.clip(zone, -2, 0.7) - float(rng.uniform(0.7, 1.2))
    cover = soft(level, 0.8) * np.float32(rng.uniform(0.45, 0.9))
    film = soft(zone, 0.9) * np.float32(rng.uniform(0, 0.22))
    colour = np.array(
        [(0.13, 0.15, 0.12), (0.10, 0.10, 0.10), (0.22, 0.26, 0.20), (0.40, 0.43, 0.38)][int(rng.integers(4))], np.float32
    )
    tint = np.broadcast_to(colour, (*shape, 3)).astype(np.float32)
    work.surface.paint(film, tint)
    work.surface.paint(cover, tint)
    work.surface.gloss *= 1 - np.maximum(0.7 * cover, film)
    dense = closed(cover > 0.3, max(3.0, 2.2 * coarse))
    return Mark("mould", dense & (zone > -0.9))


def insect_holes(work: Work) -> Mark | None:
    """Round exit holes of 1 to 3 mm, sharp-rimmed and dark, strewn or in clusters, some with a little pale dust."""
    rng, shape, base = work.rng, work.shape, work.base
    if base.mm > 1.1 or (base.film and base.face == "printed") or base.core in ("fibreboard",):
        return None
    h, w = shape
    count = int(rng.integers(3, 22))
    cx, cy = work.inside(0.15)
    spread = work.size(12, 70, 14, 0.25)
    surface = work.surface
    holes = np.zeros(shape, np.float32)
    radius = work.px(float(rng.uniform(0.6, 1.4)), 0.9)
    for _ in range(count):
        x, y = cx + float(rng.normal(0, spread)), cy + float(rng.normal(0, 0.7 * spread))
        if not (1 < x < w - 2 and 1 < y < h - 2):
            continue
        r = radius * float(rng.uniform(0.8, 1.25))
        u, v = turned(shape, x, y, 0.0)
        hole = soft(r - np.hypot(u, v * float(rng.uniform(1.0, 1.15))), 0.9)
        np.maximum(holes, hole, out=holes)
        if rng.random() < 0.22:
            dust = spot(shape, x + float(rng.normal(0, r)), y + 2.2 * r, 2.2 * r, 1.4 * r) * np.clip(
                0.5 + 0.6 * cloud(shape, 1.2, 1.2, rng, 1), 0, 1
            )
            surface.paint(np.asarray(0.75 * dust, np.float32), (0.86, 0.77, 0.60))
    surface.paint(holes, (0.055, 0.04, 0.03))
    surface.height -= holes * 2.5
    surface.gloss *= 1 - holes
    return Mark("insect_holes", closed(grown(holes > 0.4, 2.0), max(9.0, 7 * radius)))

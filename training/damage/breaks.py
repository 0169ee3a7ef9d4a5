"""Breaks and swelling: cracks along the grain, deep scratches, board edges swollen by water."""

from __future__ import annotations

import numpy as np

from training.damage.fields import cloud, grid, grown, soft, stroke, wander
from training.damage.marks import Mark, Work, depth_to_side


def crack(work: Work) -> Mark | None:
    """A split along the grain: widest at an end, dark inside, one side often standing a little higher."""
    rng, shape, base = work.rng, work.shape, work.base
    if base.face not in ("solid_wood", "veneer", "opaque") or base.core != "lumber" or base.edge:
        return None
    h, w = shape
    length = min(0.9 * w, max(28.0, work.draw(40, 400)))
    from_end = rng.random() < 0.55
    y0 = float(rng.uniform(0.08, 0.92) * h)
    x0 = 0.0 if from_end else float(rng.uniform(0.05, max(0.06, 0.95 - length / w)) * w)
    points = wander((x0, y0), float(rng.normal(0, 0.03)), length, rng, bend=0.07)
    if from_end and rng.random() < 0.5:
        points[:, 0] = w - 1 - points[:, 0]
    t = np.linspace(0, 1, len(points))
    widest = max(1.0, work.draw(0.4, 3.0))
    widths = widest * ((1 - t) ** 0.7 if from_end else np.sin(np.pi * np.clip(t, 0.02, 0.98)) ** 0.6)
    widths = np.maximum(widths * np.exp(rng.normal(0, 0.25, len(t))), 0.25)
    line = stroke(shape, points, widths)
    for _ in range(int(rng.poisson(0.8))):  # side checks
        k = int(rng.integers(len(points)))
        side = wander(
            (points[k, 0], points[k, 1] + rng.normal(0, 3)),
            float(rng.normal(0, 0.05)),
            length * float(rng.uniform(0.1, 0.35)),
            rng,
        )
        np.maximum(line, stroke(shape, side, np.full(len(side), widest * 0.35)), out=line)
    dark = np.asarray(base.colour.mean(axis=(0, 1)) * rng.uniform(0.08, 0.35), np.float32)
    work.surface.paint(np.clip(line * float(rng.uniform(0.75, 1.0)), 0, 1), np.broadcast_to(dark, (h, w, 3)).astype(np.float32))
    work.surface.height -= line * np.float32(min(3.0, widest))
    work.surface.gloss *= 1 - line
    if rng.random() < 0.5:
        y, _ = grid(shape)
        middle = np.interp(np.arange(w), np.sort(points[:, 0]), points[np.argsort(points[:, 0]), 1]).astype(np.float32)
        span = ((np.arange(w) > points[:, 0].min()) & (np.arange(w) < points[:, 0].max())).astype(np.float32)
        below = y - middle[None]
        work.surface.height += (
            np.float32(rng.uniform(0.2, 0.9)) * np.exp(-np.clip(below, 0, None) / max(3, work.px(6))) * (below > 0) * span[None]
        )
    return Mark("crack", grown(line > 0.2, 2.0))


def scratch(work: Work) -> Mark | None:
    """One or several scratches through the finish: pale or dark grooves with a lit and a shaded side."""
    rng, shape, base = work.rng, work.shape, work.base
    if base.name.startswith("edge") and base.name != "edge_banded":
        return None
    angle, length = float(rng.uniform(0, np.pi)), float(np.clip(work.draw(25, 260), 24, 0.8 * max(shape)))
    x0, y0 = work.inside(0.05)
    white = rng.random() < 0.65
    line = np.zeros(shape, np.float32)
    for k in range(1 + int(rng.poisson(0.7))):
        start = (x0 + float(rng.normal(0, 5)) * k, y0 + float(rng.normal(0, 5)) * k)
        points = wander(
            start,
            angle + float(rng.normal(0, 0.06)),
            length * float(rng.uniform(0.6, 1)),
            rng,
            bend=float(rng.uniform(0.005, 0.06)),
        )
        width = max(0.9, work.draw(0.4, 1.8)) * (0.5 + 0.5 * np.sin(np.pi * np.linspace(0.05, 0.95, len(points))))
        np.maximum(line, stroke(shape, points, width), out=line)
    line *= np.clip(0.95 + 0.3 * cloud(shape, 9, 9, rng), 0.25, 1)
    tone = (
        np.clip(base.colour.mean(axis=(0, 1)) * rng.uniform(1.25, 1.9) + 0.12, 0, 1)
        if white
        else base.colour.mean(axis=(0, 1)) * rng.uniform(0.25, 0.6)
    )
    work.surface.paint(np.clip(line * float(rng.uniform(0.6, 1.0)), 0, 1), np.broadcast_to(tone, (*shape, 3)).astype(np.float32))
    work.surface.height -= line * np.float32(rng.uniform(0.3, 1.1))
    work.surface.gloss *= 1 - 0.8 * line
    return Mark("scratch", grown(line > 0.22, 2.0))


def swollen(work: Work) -> Mark | None:
    """A board's edge or border swollen by water: a bulge, puckered or split skin, a stain, rough particles showing."""
    rng, shape, base = work.rng, work.shape, work.base
    if base.core not in ("particle_board", "fibreboard"):
        return None
    h, w = shape
    y, x = grid(shape)
    surface = work.surface
    if base.edge:
        centre = float(rng.choice([0.0, w - 1.0])) if rng.random() < 0.5 else float(rng.uniform(0.15, 0.85) * w)
        half = float(np.clip(work.draw(25, 120), 24, 0.45 * w))
        along = np.clip(1 - ((x - centre) / half) ** 2, 0, 1) * np.ones(shape, np.float32)
        bulge = along**1.3 * np.sqrt(np.clip(1 - ((y - h / 2) / (0.62 * h)) ** 2, 0, 1))
        mask = along > 0.12
        rise = float(rng.uniform(0.10, 0.22)) * h
    else:
        _, _, side = work.border()
        away = depth_to_side(shape, side)
        n = w if side in (0, 2) else h
        along = np.broadcast_to(x if side in (0, 2) else y, shape)
        centre, half = float(rng.uniform(0, 1) * n), float(rng.uniform(0.15, 0.6) * n)
        reach = (
            work.size(10, 55, 10, 0.25)
            * np.clip(1 - ((along - centre) / half) ** 2, 0, 1)
            * (1 + 0.15 * cloud(shape, 30, 30, rng))
        )
        t = np.clip(1 - away / np.maximum(reach, 1e-3), 0, 1)
        bulge = t * t * (3 - 2 * t)
        mask = (t > 0.05) & (reach > 2)
        rise = float(rng.uniform(0.16, 0.35)) * float(reach.max())
    lumps = cloud(shape, max(8, work.px(12)), max(10, work.px(20)), rng, 2)
    surface.height += np.asarray(rise * bulge * (1 + 0.10 * lumps), np.float32)
    wet = bulge * np.clip(0.7 + 0.3 * lumps, 0, 1) * float(rng.uniform(0.0, 0.55))
    surface.tone(np.asarray(wet, np.float32), (0.68, 0.60, 0.52))
    surface.gloss *= np.asarray(1 - 0.6 * bulge, np.float32)
    word = None
    if base.edge or rng.random() < 0.45:  # the skin has burst or the raw edge roughened
        split = np.clip(cloud(shape, max(1.0, work.px(0.7)), max(6, work.px(18)), rng, 2) - 1.35, 0, 1) * np.clip(
            2 * bulge - 0.5, 0, 1
        )
        surface.paint(np.clip(2.0 * split, 0, 0.9), (0.20, 0.14, 0.09))
        surface.height -= np.asarray(0.9 * split, np.float32)
        if not base.film:
            word = "particles" if base.core == "particle_board" else "fibre"
    return Mark("swollen_edge", np.asarray(mask & soft(np.asarray(bulge, np.float32) - 0.03, 0.01).astype(bool)), word)

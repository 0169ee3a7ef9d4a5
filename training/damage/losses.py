"""Material gone: chips that show the core, crumbled corners, faces worn through, flaking finish."""

from __future__ import annotations

import numpy as np

from training.damage.fields import Floats, closed, cloud, grid, ragged, soft
from training.damage.marks import Mark, Work, beneath, depth_to_side


def _hollow(work: Work, cover: Floats, depth: float, under: Floats) -> None:
    """Take the face away where `cover` is 1: what lies below shows, lower by `depth` px, matt and rough."""
    rng, surface = work.rng, work.surface
    surface.paint(cover, under)
    surface.gloss *= 1 - 0.95 * cover
    rough = min(0.25, 0.08 * depth) * cloud(work.shape, 2.5, 5.0, rng)
    surface.height -= cover * np.asarray(depth - rough, np.float32)


def chip(work: Work) -> Mark | None:
    """A piece of the face broken out, mostly at a border or corner; splintered along the grain on wood."""
    rng, shape, base = work.rng, work.shape, work.base
    if base.face == "bare_board":
        return None
    woody = base.face in ("veneer", "solid_wood")
    rx, ry = work.size(6, 60, 8, 0.3), work.size(4, 26, 6, 0.22)
    if rng.random() < 0.72:
        cx, cy, _ = work.border()
        if rng.random() < 0.35:
            h, w = shape
            cx, cy = float(rng.choice([0, w - 1])), float(rng.choice([0, h - 1]))
    else:
        cx, cy = work.inside(0.1)
    field = ragged(shape, cx, cy, rx, ry, rng, rough=0.32 if woody else 0.22, splinter=4.0 if woody else 1.2)
    cover = soft(field * min(rx, ry), 1.0)
    deep = base.face == "solid_wood" or rng.random() < 0.4
    under, word = beneath(work, deep=deep)
    depth = max(0.7, work.px(float(rng.uniform(0.5, 1.1)) if not deep else float(rng.uniform(0.8, 3.0))))
    if base.face == "solid_wood":  # a gouge: sloping sides, torn fibres
        fibres = 1 + 0.10 * cloud(shape, 1.0, 9, rng)
        under = np.asarray(np.clip(under * fibres[..., None], 0, 1), np.float32)
    dirt = np.clip(cloud(shape, 6, 12, rng) * 0.5, -0.4, 1) * np.float32(rng.uniform(0, 0.35))
    glue = np.clip(cloud(shape, 4, 8, rng) - 0.6, 0, 1) * np.float32(rng.uniform(0, 0.45)) if base.face == "veneer" else 0.0
    _hollow(work, cover, min(depth, 5.0), np.asarray(np.clip(under * (1 - dirt - glue)[..., None], 0, 1), np.float32))
    rim = np.clip(soft(field * min(rx, ry) + 1.6, 1.0) - cover, 0, 1) * np.clip(0.6 + 0.5 * cloud(shape, 4, 4, rng), 0, 1)
    work.surface.paint(rim * np.float32(rng.uniform(0.0, 0.6)), (0.88, 0.77, 0.62) if woody else (0.92, 0.90, 0.86))
    return Mark("chip", cover > 0.5, word)


def crumbled(work: Work) -> Mark | None:
    """A board's corner or edge broken away: loose particles or fibre, partly gone so that the background shows."""
    rng, shape, base = work.rng, work.shape, work.base
    if base.core not in ("particle_board", "fibreboard") or base.face in ("solid_wood",):
        return None
    h, w = shape
    corner = rng.random() < 0.8
    cx, cy = (float(rng.choice([0, w - 1])), float(rng.choice([0, h - 1]))) if corner else work.border()[:2]
    r = work.size(12, 50, 10, 0.45)
    rx, ry = r * float(rng.uniform(0.8, 1.6)), r * float(rng.uniform(0.7, 1.2))
    field = ragged(shape, cx, cy, rx, ry, rng, rough=0.28, splinter=1.1)
    cover = soft(field * r, 1.2)
    under, word = beneath(work, deep=True)
    loose = cloud(shape, 2.2, 2.8, rng)
    under = np.asarray(np.clip(under * (1 + 0.10 * loose)[..., None], 0, 1), np.float32)
    work.surface.height += cover * 0.35 * loose
    _hollow(work, cover, float(np.clip(r * 0.12, 1.0, 5.0)), under)
    if rng.random() < 0.75:
        out = soft((field - float(rng.uniform(0.3, 0.62))) * r + 0.6 * loose, 1.5)
        back = np.asarray(rng.uniform(0.05, 0.75) * np.array([1, rng.uniform(0.85, 1), rng.uniform(0.7, 1)]), np.float32)
        work.surface.paint(
            out, np.broadcast_to(back * (1 + 0.04 * cloud(shape, 9, 9, rng))[..., None], (h, w, 3)).astype(np.float32)
        )
        work.surface.height -= out * 4
    rim = np.clip(soft(field * r + 2.2, 1.5) - cover, 0, 1)
    if base.film:
        work.surface.height += 0.8 * rim * cloud(shape, 3, 6, rng)
        work.surface.tone(rim * np.float32(rng.uniform(0, 0.6)), 1.2)
    return Mark("crumbled", cover > 0.5, word)


def worn_through(work: Work) -> Mark | None:
    """Colour or face worn off along an arris, at corners or where hands go: soft and pale on wood, sharp on film."""
    rng, shape, base = work.rng, work.shape, work.base
    if base.edge or base.face == "bare_board":
        return None
    h, w = shape
    width = work.size(3, 22, 3.5, 0.18)
    way = str(rng.choice(["arris", "arris", "corner", "patch"]))
    if way == "arris":
        _, _, side = work.border()
        y, x = grid(shape)
        n = w if side in (0, 2) else h
        along = np.broadcast_to(x if side in (0, 2) else y, shape)
        middle, half = float(rng.uniform(0, 1) * n), float(rng.uniform(0.15, 0.9) * n)
        field = 1 - depth_to_side(shape, side) / width - np.clip(np.abs(along - middle) / half, 0, 3) ** 4
        field = field + 0.55 * cloud(shape, max(3, width), max(6, 3 * width), rng, 3)
    elif way == "corner":
        cx, cy = float(rng.choice([0, w - 1])), float(rng.choice([0, h - 1]))
        field = ragged(shape, cx, cy, 2.2 * width + 8, 1.8 * width + 8, rng, rough=0.35, splinter=1.5)
    else:
        cx, cy = work.inside(0.15)
        field = ragged(shape, cx, cy, 2.5 * width + 8, 1.6 * width + 6, rng, rough=0.35, splinter=2.5)
    under, word = beneath(work)
    if base.film or (base.face == "veneer" and rng.random() < 0.5):
        cover = soft(field * width, float(rng.uniform(1.0, 2.5)))
        halo = soft(field * width + 3, 4.0) * 0.4
        step = work.px(0.3)
    else:  # stain and finish go first: the same wood, paler
        word, step = "same_wood", 0.0
        fresh = np.clip(0.5 * base.bare + 0.5 * base.bare.mean(axis=(0, 1)), 0, 1) * np.float32(rng.uniform(0.95, 1.12))
        gain = float((fresh - base.colour).mean())
        under = np.asarray(fresh if gain > 0.06 else np.clip(base.colour * 1.3 + 0.06, 0, 1), np.float32)
        cover = soft(field, float(rng.uniform(0.6, 1.3))) * np.float32(rng.uniform(0.65, 0.98))
        halo = 0.0 * cover
    pale = np.clip(base.colour * 1.2 + 0.05, 0, 1)
    work.surface.paint(np.clip(halo - cover, 0, 1), np.asarray(pale, np.float32))
    work.surface.paint(cover, under)
    work.surface.gloss *= 1 - 0.8 * cover
    work.surface.height -= cover * np.float32(min(step, 1.5))
    return Mark("worn_through", cover > 0.45, word)


def flaking(work: Work) -> Mark | None:
    """Paint or clear coat come off in flakes: many torn islands, a sharp step in colour and gloss, curled rims."""
    rng, shape, base = work.rng, work.shape, work.base
    if base.edge or base.face == "bare_board" or base.face == "printed":
        return None
    reach = work.size(30, 200, 24, 0.4)
    cx, cy = work.inside(0.05) if rng.random() < 0.6 else work.border()[:2]
    zone = ragged(shape, cx, cy, reach * float(rng.uniform(0.9, 1.8)), reach, rng, rough=0.25)
    cell = max(3.0, work.draw(3, 14))
    islands = cloud(shape, cell, cell * float(rng.uniform(1.0, 2.5)), rng, 3)
    # beyond the zone hardly an island is left: what flakes, flakes in one place
    field = islands + 1.5 * np.clip(zone, -3.5, 0.8) - float(rng.uniform(0.2, 0.9))
    cover = soft(field * cell * 0.5, float(rng.uniform(0.8, 1.4)))
    word: str | None
    if base.face == "opaque":
        under, word = (base.bare, "same_wood") if base.core in ("lumber", "plywood") else beneath(work)
        if rng.random() < 0.25:
            primer = np.asarray(rng.uniform(0.55, 0.95) * np.array([1, rng.uniform(0.9, 1), rng.uniform(0.8, 1)]), np.float32)
            under, word = np.broadcast_to(primer, (*shape, 3)).astype(np.float32), None
        depth = float(rng.uniform(0.3, 0.9))
    else:  # clear coat: dull, paler wood between remains of warm, shiny film
        grey = base.colour.mean(axis=2, keepdims=True)
        dull = np.clip((base.colour + (grey - base.colour) * 0.35) * float(rng.uniform(1.12, 1.4)) + 0.05, 0, 1)
        under, word, depth = np.asarray(dull, np.float32), "same_wood", float(rng.uniform(0.2, 0.6))
    work.surface.paint(cover, np.asarray(under * np.float32(rng.uniform(0.85, 1.05)), np.float32))
    work.surface.gloss *= 1 - 0.9 * cover
    work.surface.height -= cover * np.float32(depth)
    rim = np.clip(soft(field * cell * 0.5 + 1.8, 1.2) - cover, 0, 1)
    work.surface.height += rim * np.float32(rng.uniform(0.0, 0.8)) * np.clip(cloud(shape, 6, 6, rng), 0, 1)
    return Mark("flaking_finish", closed(cover > 0.5, max(3.0, 1.2 * cell)), word)

"""Faces that come off: lifted or bubbled veneer and film, a banding peeling away, plies coming apart."""

from __future__ import annotations

import cv2
import numpy as np

from training.damage.fields import cloud, grid, ragged, soft, turned
from training.damage.marks import Mark, Work, depth_to_side


def lifted(work: Work) -> Mark | None:
    """A bubble, a strip lifting at a border, or a lip lifting along a crack or seam."""
    if work.base.face not in ("veneer", "printed"):
        return None
    way = str(work.rng.choice(["bubble", "strip", "lip"], p=[0.4, 0.35, 0.25]))
    return {"bubble": _bubble, "strip": _strip, "lip": _lip}[way](work)


def _bubble(work: Work) -> Mark:
    rng, shape = work.rng, work.shape
    rx, ry = work.size(14, 70, 13, 0.3), work.size(9, 35, 9, 0.22)
    cx, cy = work.inside(0.12)
    field = ragged(shape, cx, cy, rx, ry, rng, rough=0.12, splinter=1.5, angle=float(rng.normal(0, 0.25)))
    dome = cv2.GaussianBlur(np.clip(field, 0, 1), (0, 0), 0.22 * min(rx, ry))
    dome = np.clip(1.25 * dome, 0, 1)
    dome = dome * dome * (3 - 2 * dome)
    rise = float(rng.uniform(0.2, 0.45)) * min(rx, ry)
    work.surface.height += rise * dome * (1 + 0.12 * cloud(shape, 0.8 * ry, 1.2 * ry, rng, 1))
    if rng.random() < 0.3:  # the bubble has cracked along the grain
        y, x = grid(shape)
        line = np.exp(-(((y - cy - 0.1 * ry * cloud(shape, 8, 40, rng)) / 0.8) ** 2)) * soft(0.8 - np.abs(x - cx) / rx, 0.3)
        work.surface.tone(np.clip(line, 0, 1), float(rng.uniform(0.15, 0.4)))
    return Mark("lifted_face", np.asarray(dome > 0.06))


def _strip(work: Work) -> Mark:
    """The face stands off along a border: a curved rise towards it, a pale torn rim, darkness below."""
    rng, shape = work.rng, work.shape
    x0, y0, side = work.border()
    away = depth_to_side(shape, side)
    y, x = grid(shape)
    along = (x - x0) if side in (0, 2) else (y - y0)
    reach, half = work.size(10, 60, 10, 0.3), work.size(25, 140, 18, 0.45)
    hinge = reach * np.clip(1 - (along / half) ** 2, 0, 1) * (1 + 0.10 * cloud(shape, reach, 2 * reach, rng, 1))
    lift = np.clip((hinge - away) / max(reach, 1), 0, 1)
    mask = (hinge - away > 0.5) & (np.abs(along) < half)
    rise = float(rng.uniform(0.12, 0.35)) * reach
    work.surface.height += rise * lift**1.7 * (1 + 0.12 * cloud(shape, reach, 2 * reach, rng, 1) * lift)
    # the free rim: uneven, broken pale wood or paper at its edge, and darkness under it
    gap = np.clip(float(rng.uniform(1.2, 3.5)) * lift**0.7 + 0.5 * cloud(shape, 3, 8, rng), 0, None) * (lift > 0.35)
    under = soft(gap - away, 1.0) * mask
    work.surface.paint(under, (0.07, 0.05, 0.04))
    work.surface.gloss *= 1 - under
    work.surface.height -= under * np.float32(rise * 1.1)
    rim = soft(gap + 1.2 - away, 0.8) * mask * (1 - under)
    pale = (0.86, 0.74, 0.57) if work.base.face == "veneer" else (0.90, 0.88, 0.84)
    work.surface.paint(rim * np.float32(rng.uniform(0.3, 0.9)), pale)
    return Mark("lifted_face", mask & (lift > 0.12))


def _lip(work: Work) -> Mark:
    """Along a crack in the face one side has lifted: a dark gap, a lit or shaded slope."""
    rng, shape = work.rng, work.shape
    cx, cy = work.inside(0.12)
    half, reach = work.size(20, 110, 16, 0.45), work.size(8, 35, 8, 0.2)
    angle = float(rng.normal(0, 0.12)) + (np.pi / 2 if rng.random() < 0.2 else 0.0)
    u, v = turned(shape, cx, cy, angle)
    v = v + 0.04 * reach * cloud(shape, 10, 40, rng)
    span = np.clip(1 - (u / half) ** 2, 0, 1)
    lift = np.clip(1 - v / (reach * np.maximum(span, 0.05)), 0, 1) * (v >= 0) * span
    work.surface.height += float(rng.uniform(0.12, 0.3)) * reach * lift**1.5
    line = np.exp(-((v + 0.6) ** 2) / (0.5 + 0.9 * span) ** 2) * (span > 0.02)
    work.surface.tone(np.clip(line * (0.4 + 0.6 * span), 0, 1), float(rng.uniform(0.08, 0.3)))
    rim = np.exp(-((v - 1.2) ** 2)) * span
    work.surface.tone(np.clip(rim, 0, 1), 1.25)
    mask = ((v > -2) & (v < reach * span)) & (np.abs(u) < half)
    return Mark("lifted_face", mask)


def lifted_banding(work: Work) -> Mark | None:
    """The strip over an edge has come off from one end, or stands off in a bow; the core shows where it is gone."""
    if work.base.name != "edge_banded":
        return None
    rng, shape, surface = work.rng, work.shape, work.surface
    h, w = shape
    x = np.broadcast_to(np.arange(w, dtype=np.float32)[None], shape)
    from_left = rng.random() < 0.5
    x = x if from_left else x[:, ::-1]
    gone = float(rng.uniform(0.06, 0.4)) * w if rng.random() < 0.75 else 0.0
    tear = (
        gone
        + 0.04 * h * cloud(shape, h / 4, 6, rng)
        + np.float32(rng.normal(0, 0.12)) * (np.arange(h, dtype=np.float32)[:, None] - h / 2)
    )
    bare = soft(tear - x, 1.0) if gone else np.zeros(shape, np.float32)
    tone = np.float32(rng.uniform(0.8, 1.0))
    glue = np.clip(cloud(shape, 5, 14, rng) - 0.8, 0, 1) * np.float32(rng.uniform(0, 0.5))
    surface.paint(bare, work.base.bare * tone * (1 - glue[..., None]))
    surface.gloss *= 1 - 0.95 * bare
    thick = work.px(float(rng.uniform(0.5, 2.0)), 0.5)
    surface.height -= bare * np.float32(thick)
    curl = work.size(15, 70, 14, 1.2)
    straight = np.float32(float(tear.mean()))
    rise = np.clip(1 - (x - straight) / curl, 0, 1) * (x >= tear)
    surface.height += np.float32(rng.uniform(0.1, 0.3) * curl) * rise**2
    rim = np.exp(-(((x - tear - 1) / 1.2) ** 2)) if gone else np.zeros(shape, np.float32)
    surface.tone(rim.astype(np.float32), float(rng.uniform(0.35, 1.3)))
    mask = (bare > 0.5) | (rise > 0.12)
    return Mark("lifted_banding", np.asarray(mask), _core_word(work) if gone else None)


def _core_word(work: Work) -> str:
    return "particles" if work.base.core == "particle_board" else "fibre"


def delaminated(work: Work) -> Mark | None:
    """Plies have parted along a glue line: a dark lens, open towards an end or closed at both, layers pushed aside."""
    if work.base.name != "edge_plywood":
        return None
    rng, shape, surface = work.rng, work.shape, work.surface
    h, w = shape
    x = np.arange(w, dtype=np.float32)
    at = float(rng.uniform(0.12, 0.88)) * h
    half = float(rng.uniform(0.12, 0.4)) * w
    centre = float(rng.choice([0.0, w - 1.0])) if rng.random() < 0.55 else float(rng.uniform(0.2, 0.8) * w)
    most = max(2.5, min(0.3 * h, work.px(float(rng.uniform(0.8, 3.0)))))
    gap = most * np.clip(1 - (np.abs(x - centre) / half) ** float(rng.uniform(1.2, 2.2)), 0, 1)
    gap = gap * (1 + 0.2 * cloud((1, w), 1, 20, rng)[0])
    line = at + 1.2 * cloud((1, w), 1, 60, rng)[0]
    y, xx = (np.broadcast_to(v, shape).astype(np.float32) for v in grid(shape))
    upper, lower = line - gap / 2, line + gap / 2
    source = np.where(
        y < line,
        y + gap / 2 * np.clip(y / np.maximum(line, 1), 0, 1),
        y - gap / 2 * np.clip((h - y) / np.maximum(h - line, 1), 0, 1),
    )
    surface.colour = np.asarray(
        cv2.remap(surface.colour, xx, np.asarray(source, np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE),
        np.float32,
    )
    inside = soft(np.minimum(y - upper, lower - y), 1.0) * (gap > 0.6)
    fibres = np.clip(cloud(shape, 0.8, 5, rng) - 0.9, 0, 1)
    surface.paint(inside, (0.05, 0.035, 0.025))
    surface.paint(inside * fibres * 0.8, (0.62, 0.48, 0.33))
    surface.height -= inside * 3.0
    splintered = (
        np.clip(cloud(shape, 1.5, 10, rng) - 0.7, 0, 1) * soft(gap + 2 - np.abs(y - line), 2.0) * (1 - inside) * (gap > 0.3)
    )
    surface.tone(splintered, 1.3)
    mask = (np.abs(y - line) < gap / 2 + 1.5) & (gap > 0.5)
    return Mark("delaminated_ply", np.asarray(mask))

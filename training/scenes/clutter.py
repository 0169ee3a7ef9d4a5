"""Household things that fill a room: pictures and shelves on the wall, cartons, books and rugs; boxes with a made-up face."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from training.figure.noise import widen
from training.scenes.config import draw
from training.scenes.furniture import Piece, Prop, box

#: Side of a made-up face, texels.
_FACE = 128
_KINDS = {"spines": 0.22, "blocks": 0.3, "lines": 0.18, "check": 0.15, "speckle": 0.15}


def _colour(rng: np.random.Generator) -> tuple[float, float, float]:
    """sRGB 0..255: mostly muted, white and black among them."""
    grey, mix = float(rng.uniform(5, 240)), float(rng.uniform(0, 0.6))
    rgb = grey * (1 - mix) + mix * rng.uniform(10, 240, 3)
    return float(rgb[0]), float(rgb[1]), float(rgb[2])


def face_picture(rng: np.random.Generator, kind: str | None = None) -> NDArray[np.uint8]:
    """(128, 128, 3) sRGB: rows of book spines, printed blocks, lines of writing, woven checks or mixed small things."""
    kind = kind or draw(rng, _KINDS)
    out = np.empty((_FACE, _FACE, 3), np.float32)
    out[:] = _colour(rng)
    if kind == "spines":
        x = 0
        while x < _FACE:
            wide = int(rng.integers(4, 16))
            top = int(rng.integers(0, 30))
            cv2.rectangle(out, (x, top), (x + wide - 1, _FACE), _colour(rng), -1)
            cv2.rectangle(out, (x + 1, top + 12), (x + wide - 2, top + 18), _colour(rng), -1)
            x += wide
    elif kind == "blocks":
        for _ in range(int(rng.integers(3, 12))):
            a, b = rng.integers(0, _FACE, 2), rng.integers(8, 70, 2)
            corner, end = (int(a[0]), int(a[1])), (int(a[0] + b[0]), int(a[1] + b[1]))
            if rng.random() < 0.7:
                cv2.rectangle(out, corner, end, _colour(rng), -1)
            else:
                cv2.circle(out, corner, int(b[0] // 2), _colour(rng), -1)
    elif kind == "lines":
        ink = _colour(rng)
        for y in range(6, _FACE, int(rng.integers(6, 12))):
            x = 6
            while x < _FACE - 10:
                run = int(rng.integers(3, 14))
                cv2.line(out, (x, y), (min(x + run, _FACE - 6), y), ink, 2)
                x += run + int(rng.integers(2, 5))
    elif kind == "check":
        pitch, share, other = int(rng.integers(6, 30)), float(rng.uniform(0.3, 0.7)), np.array(_colour(rng), np.float32)
        band = (np.arange(_FACE) % pitch < share * pitch).astype(np.float32)
        out += (other - out) * (0.5 * band[None, :, None] + 0.5 * band[:, None, None])
    else:
        for _ in range(int(rng.integers(40, 160))):
            x, y = (int(v) for v in rng.integers(0, _FACE, 2))
            cv2.ellipse(out, (x, y), (int(rng.integers(2, 9)), int(rng.integers(1, 6))),
                        float(rng.uniform(0, 180)), 0, 360, _colour(rng), -1)
    shade = widen(rng.uniform(0.85, 1.12, (5, 5)).astype(np.float32), (_FACE, _FACE))
    return np.clip(out * shade[..., None] + 0.5, 0, 255).astype(np.uint8)


def _thing(rng: np.random.Generator, low: tuple[float, float, float], high: tuple[float, float, float]) -> Prop:
    colour = tuple(v / 255 for v in _colour(rng))
    made = box(draw(rng, {"clutter": 0.75, "fabric": 0.25}), low, high, colour, float(rng.uniform(0.3, 0.8)))
    return replace(made, picture=face_picture(rng)) if rng.random() < 0.75 else made


def clutter(piece: Piece, wall_y: float, seed: int) -> list[Prop]:
    """Things about a piece whose wall stands at `wall_y`; half of the rooms are full, some stay bare."""
    rng = np.random.default_rng([seed, 305])
    w, d, h = piece.size
    fullness = float(rng.choice([0.15, 0.6, 1.0, 1.5], p=[0.2, 0.3, 0.3, 0.2]))
    out: list[Prop] = []
    for _ in range(rng.poisson(3.0 * fullness)):  # on the wall
        wide, high = float(rng.uniform(120, 900)), float(rng.uniform(100, 700))
        x = float(rng.uniform(-1400, 1400))
        low = h + 60 if abs(x) < (w + wide) / 2 + 20 else 300.0
        z = float(rng.uniform(low, max(1900.0, low + 200)))
        deep = float(rng.choice([6, 12, 25, 180], p=[0.3, 0.3, 0.25, 0.15]))
        out.append(_thing(rng, (x - wide / 2, wall_y - deep, z), (x + wide / 2, wall_y - 1, z + (25.0 if deep > 100 else high))))
    for _ in range(rng.poisson(5.0 * fullness)):  # on the floor, beside the piece
        bw, bd, bh = (float(v) for v in rng.uniform([60, 60, 40], [600, 450, 900]))
        side = float(rng.choice([-1, 1]))
        x = side * (w / 2 + bw / 2 + float(rng.exponential(220)) + 25)
        y = wall_y - 20 - bd - float(rng.uniform(0, 900))
        out.append(_thing(rng, (x - bw / 2, y, 0.6), (x + bw / 2, y + bd, bh)))
    if rng.random() < 0.3 * min(fullness, 1.0) + 0.1:  # a rug before it
        y = -d - float(rng.uniform(60, 300))
        x, wide, deep = float(rng.uniform(-300, 300)), float(rng.uniform(700, 1700)), float(rng.uniform(500, 1100))
        rug = box("fabric", (x - wide / 2, y - deep, 0.3), (x + wide / 2, y, 7.0), tuple(v / 255 for v in _colour(rng)), 0.9)
        out.append(replace(rug, picture=face_picture(rng, draw(rng, {"check": 0.5, "blocks": 0.3, "speckle": 0.2}))))
    if piece.kind in ("chest", "cabinet", "table", "bookcase") and rng.random() < 0.55:  # on top
        for _ in range(1 + rng.poisson(2.0 * fullness)):
            bw, bd, bh = (float(v) for v in rng.uniform([20, 20, 8], [260, 180, 330]))
            x, y = float(rng.uniform(-w / 2 + 40, w / 2 - 40)), float(rng.uniform(-d * 0.7, -40))
            out.append(_thing(rng, (x - bw / 2, y - bd / 2, h + 0.6), (x + bw / 2, y + bd / 2, h + bh)))
    return out

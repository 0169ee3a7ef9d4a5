"""What is seen behind and below a board: wall, floor, carcase or dark, with the board's own soft shadow."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from training.edges import paints
from training.figure.finish import STAINS
from training.figure.noise import fractal, value_noise
from vision.resize import resize_map

Colours = NDArray[np.float32]
GROUNDS = ("wall", "floor", "carcase", "dark", "bench", "carpet")


def ground(kind: str, shape: tuple[int, int], px_per_mm: float, rng: np.random.Generator) -> Colours:
    """(h, w, 3) linear light of a background of one kind."""
    h, w = shape
    yy, xx = np.meshgrid(np.arange(h, dtype=np.float32), np.arange(w, dtype=np.float32), indexing="ij")
    salt = int(rng.integers(1, 2**30))
    if kind in ("carcase", "floor", "bench"):
        texel = 1.0 / px_per_mm * float(rng.uniform(0.6, 1.6))
        board = paints.any_board(paints.any_log(rng), rng)
        tint = np.array(STAINS[str(rng.choice(list(STAINS)))])
        fine = max(1, int(2 / max(px_per_mm, 0.5)))
        x, y = np.arange(w // 2 + 1) * 2 * texel, np.arange(h // 2 + 1) * 2 * texel * fine
        fill = paints.along_grain(board, 0.0, paints.Finish(), salt)
        rgb = fill(x - x.mean(), paints.back_and_forth(y - y.mean(), 150.0), 2 * texel) * tint
        if kind == "floor":  # boards side by side
            pitch = max(20, int(rng.uniform(60, 140) * px_per_mm / 2))
            for k in range(0, rgb.shape[0], pitch):
                rgb[k:k + pitch] *= rng.uniform(0.8, 1.1)
                rgb[k] *= 0.5
        out: NDArray[np.floating] = resize_map(np.asarray(rgb, np.float32), w, h)
        out = np.clip(out, 0, 1) ** 2.2
        if kind == "bench":
            out = np.asarray(cv2.GaussianBlur(out, (0, 0), float(rng.uniform(1, 8))), np.float32)
    elif kind == "dark":
        out = np.full((h, w, 3), rng.uniform(0.005, 0.06), np.float32)
    else:
        colour = rng.uniform(0.25, 0.9) * np.clip(rng.normal(1, 0.06, 3), 0.7, 1.2)
        soft = 1 + 0.05 * fractal(salt, xx / 160, yy / 160)
        if kind == "carpet":
            soft = soft * (1 + 0.22 * value_noise(salt + 1, xx / 3, yy / 2.4) + 0.12 * value_noise(salt + 2, xx / 1.5, yy / 1.5))
        out = np.clip(colour * soft[..., None], 0, 1) ** 2.2
    ramp = 1 + 0.3 * rng.uniform(-1, 1) * (yy / h - 0.5) + 0.3 * rng.uniform(-1, 1) * (xx / w - 0.5)
    return np.asarray(out * ramp[..., None], np.float32)


def two_grounds(shape: tuple[int, int], px_per_mm: float, horizon: float, rng: np.random.Generator) -> Colours:
    """Wall above the line at share `horizon` of the height, something else below it."""
    kinds = rng.choice(GROUNDS, 2, p=[0.3, 0.15, 0.25, 0.12, 0.12, 0.06])
    above, below = (ground(str(k), shape, px_per_mm, rng) for k in kinds)
    tilt = rng.normal(0, 0.04)
    yy, xx = np.meshgrid(np.linspace(0, 1, shape[0]), np.linspace(-0.5, 0.5, shape[1]), indexing="ij")
    share = np.clip((yy + tilt * xx - horizon) * 60, 0, 1)[..., None]
    return np.asarray(above * (1 - share) + below * share, np.float32)


def shade(canvas: Colours, cover: NDArray[np.float32], depth_px: float, rng: np.random.Generator) -> Colours:
    """The board's shadow on what lies behind and below it: dark close by, soft further off."""
    depth_px = depth_px / 4
    down = float(rng.uniform(0.2, 1.0)) * depth_px
    side = float(rng.normal(0, 0.35)) * depth_px
    move = np.array([[1, 0, side], [0, 1, down]], np.float32)
    small = resize_map(cover, cover.shape[1] // 4, cover.shape[0] // 4)
    cast = cv2.warpAffine(small, move, (small.shape[1], small.shape[0]), borderMode=cv2.BORDER_REPLICATE)
    soft = cv2.GaussianBlur(cast, (0, 0), max(0.5, depth_px * float(rng.uniform(0.1, 0.5))))
    close = cv2.GaussianBlur(small, (0, 0), max(0.5, 0.15 * depth_px))
    soft, close = (resize_map(np.asarray(m, np.float32), cover.shape[1], cover.shape[0]) for m in (soft, close))
    dark = np.clip(1 - float(rng.uniform(0.2, 0.75)) * soft - float(rng.uniform(0.1, 0.5)) * close, 0.04, 1)
    keep = cover[..., None]
    return np.asarray(canvas * (keep + (1 - keep) * dark[..., None]), np.float32)

"""Things that are no panel's edge yet look like one: flat colour pictures in linear light, rows down, and their outline.

Each trap fills a band of rows that an eager finder would outline, with something board-like above it.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from training.edges import paints
from training.figure.noise import fractal, value_noise

Colours = NDArray[np.float32]


def _wood(shape: tuple[int, int], texel: float, rng: np.random.Generator) -> Colours:
    board = paints.any_board(paints.any_log(rng), rng)
    fill = paints.along_grain(board, 0.0, paints.any_finish(rng), int(rng.integers(1, 2**30)))
    x, y = ((np.arange(n, dtype=np.float64) - n / 2) * texel for n in (shape[1], shape[0]))
    return fill(x, paints.back_and_forth(y, 150.0), texel)


def _colour(rng: np.random.Generator, low: float = 0.15, high: float = 0.95) -> NDArray[np.float32]:
    return np.asarray(np.clip(rng.uniform(low, high) * rng.normal(1, 0.12, 3), 0.02, 1), np.float32)


def _drawers(shape: tuple[int, int], thick: int, rng: np.random.Generator) -> Colours:
    """Drawer fronts or shelves one above another, dark gaps between: stripes of one pitch."""
    h, w = shape
    count = int(rng.integers(3, 8))
    texel = float(rng.uniform(1.0, 3.0))
    wood = _wood(shape, texel, rng)
    out = wood.copy()
    edges = np.linspace(0, h, count + 1)
    gap = max(1, int(h / count * rng.uniform(0.05, 0.3)))
    for k in range(count):
        a, b = int(edges[k]), int(edges[k + 1])
        out[a:b] *= np.float32(rng.uniform(0.85, 1.1))
        out[b - gap:b] *= np.linspace(0.5, rng.uniform(0.08, 0.3), gap, dtype=np.float32)[:, None, None]
        if rng.random() < 0.7:  # a light top rim
            out[a:a + max(1, gap // 3)] *= 1.25
        if rng.random() < 0.5:  # a knob
            at = int(w * rng.uniform(0.3, 0.7)), (a + b - gap) // 2
            cv2.circle(out, at, max(1, (b - a) // 7), (0.1, 0.1, 0.1), -1, cv2.LINE_AA)
    return out


def _books(shape: tuple[int, int], thick: int, rng: np.random.Generator) -> Colours:
    """A pile of books from the side: covers and fine page lines."""
    h, w = shape
    out = np.zeros((h, w, 3), np.float32)
    y = 0
    while y < h:
        size = max(3, int(h * rng.uniform(0.12, 0.4)))
        cover, page = _colour(rng), np.array([0.93, 0.9, 0.82], np.float32) * np.float32(rng.uniform(0.8, 1))
        block = np.broadcast_to(page, (size, w, 3)).copy()
        block *= (rng.normal(1, 0.08, (size, 1, 1)) * (1 + 0.02 * rng.normal(size=(size, w, 1)))).astype(np.float32)
        rim = max(1, size // 9)
        block[:rim], block[-rim:] = cover, cover * 0.8
        if rng.random() < 0.4:  # the spine
            block[:] = cover * (1 + 0.1 * np.sin(np.linspace(0, np.pi, size, dtype=np.float32)))[:, None, None]
        start = int(rng.integers(0, max(1, w // 12)))
        block[:, :start] *= 0.15
        out[y:y + size] = block[:min(size, h - y)]
        y += size
    return out


def _rope(shape: tuple[int, int], thick: int, rng: np.random.Generator) -> Colours:
    """Turns of rope or cord lying side by side."""
    h, w = shape
    count = int(rng.integers(2, 7))
    yy, xx = np.meshgrid(np.arange(h, dtype=np.float32), np.arange(w, dtype=np.float32), indexing="ij")
    yy = yy + 0.03 * h * fractal(int(rng.integers(1, 2**30)), xx / (2.5 * h), yy / h)
    phase = yy / h * count
    across = np.abs((phase % 1) - 0.5) * 2
    turn = np.sin(2 * np.pi * (xx / (h / count) * rng.uniform(0.8, 1.6) + (phase % 1) * 0.9 + np.floor(phase) * 0.37))
    tone = np.sqrt(np.clip(1 - across**2, 0.02, 1)) * (0.8 + 0.2 * turn) * (1 + 0.08 * value_noise(7, xx / 1.7, yy / 1.2))
    return np.asarray(np.clip(_colour(rng, 0.4, 0.9) * np.array([1, 0.9, 0.7]) * tone[..., None], 0, 1), np.float32)


def _card(shape: tuple[int, int], thick: int, rng: np.random.Generator) -> Colours:
    """Corrugated card: liners with a wave between them, one to three walls."""
    h, w = shape
    walls = int(rng.integers(1, 4))
    yy, xx = np.meshgrid(np.arange(h, dtype=np.float32), np.arange(w, dtype=np.float32), indexing="ij")
    p = yy / h * walls
    f = p % 1
    pitch = h / walls * rng.uniform(1.2, 2.4)
    wave = 0.5 + 0.36 * np.sin(2 * np.pi * xx / pitch + np.floor(p) * 1.3 + 0.3 * fractal(3, xx / 90, yy / 90))
    line = np.exp(-(((f - wave) / 0.09) ** 2))
    liner = np.exp(-((np.minimum(f, 1 - f) / 0.08) ** 2))
    tone = 0.22 + 0.78 * np.clip(np.maximum(line, liner), 0, 1)
    tone = tone * (1 + 0.05 * value_noise(9, xx / 2, yy / 2)) * rng.uniform(0.8, 1.15)
    return np.asarray(np.array([0.72, 0.56, 0.38]) * tone[..., None], np.float32)


def _louvre(shape: tuple[int, int], thick: int, rng: np.random.Generator) -> Colours:
    """Slats, each shaded from light to dark."""
    h, w = shape
    count = int(rng.integers(3, 9))
    yy = np.linspace(0, count, h, endpoint=False, dtype=np.float32)[:, None, None]
    f = yy % 1
    shade = np.clip(1.1 - 0.5 * f, 0, 1) * np.where(f > rng.uniform(0.75, 0.92), 0.25, 1)
    base = _colour(rng, 0.3, 0.95) if rng.random() < 0.5 else _wood(shape, float(rng.uniform(0.5, 2)), rng)
    return np.asarray(np.broadcast_to(base, (h, w, 3)) * shade, np.float32)


def _carpet(shape: tuple[int, int], thick: int, rng: np.random.Generator) -> Colours:
    """Pile or gravel: round specks of one size from rim to rim, no finer skins."""
    h, w = shape
    yy, xx = np.meshgrid(np.arange(h, dtype=np.float32), np.arange(w, dtype=np.float32), indexing="ij")
    size, salt = float(rng.uniform(1.5, 5)), int(rng.integers(1, 2**30))
    tone = 1 + rng.uniform(0.15, 0.4) * value_noise(salt, xx / size, yy / size)
    tone += 0.2 * value_noise(salt + 1, xx / size * 2, yy / size * 2)
    tone += 0.06 * fractal(salt + 2, xx / 40, yy / 40)
    return np.asarray(np.clip(_colour(rng, 0.3, 0.8) * tone[..., None], 0, 1), np.float32)


_MAKERS = {"drawers": _drawers, "books": _books, "rope": _rope, "card": _card, "louvre": _louvre, "carpet": _carpet}


def trap_picture(name: str, size: tuple[int, int], thick: int, rng: np.random.Generator) -> tuple[Colours, NDArray[np.float64]]:
    """(linear light (h, w, 3), outline (4, 2)) of a trap whose band is `thick` px high, tilted a little and in perspective."""
    w, h = size
    flat_h, flat_w = thick * 4, w
    band = np.clip(_MAKERS[name]((max(8, thick), flat_w), thick, rng), 0, 1) ** 2.2
    above, below = _wood((2 * thick, flat_w), float(rng.uniform(0.3, 1.5)), rng) ** 2.2, np.broadcast_to(
        _colour(rng, 0.02, 0.7) ** 2.2, (flat_h - 2 * thick - band.shape[0] + thick, flat_w, 3))
    if rng.random() < 0.4:
        above = np.broadcast_to(_colour(rng) ** 2.2, above.shape)
    flat = np.concatenate([above, band * np.float32(rng.uniform(0.5, 1.1)), below]).astype(np.float32)
    top, bottom = float(len(above)), float(len(above) + len(band))
    tilt, squeeze = rng.normal(0, 0.05) * w, rng.uniform(-0.2, 0.2)
    middle = h * rng.uniform(0.4, 0.6)
    source = np.array([[0, top], [flat_w, top], [flat_w, bottom], [0, bottom]], np.float32)
    lh, rh = thick * (1 - squeeze / 2), thick * (1 + squeeze / 2)
    target = np.array([[0, middle - tilt / 2 - lh / 2], [w, middle + tilt / 2 - rh / 2], [w, middle + tilt / 2 + rh / 2],
                       [0, middle - tilt / 2 + lh / 2]], np.float32)
    matrix = cv2.getPerspectiveTransform(source - 0.5, target - 0.5)
    picture = cv2.warpPerspective(flat, matrix, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(picture, np.float32), target.astype(np.float64) - 0.5

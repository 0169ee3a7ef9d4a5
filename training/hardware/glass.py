"""Panes and mirrors: what shows through or is mirrored, streaks of light, shelves behind, glazing bars before."""

from __future__ import annotations

import cv2
import numpy as np

from training.hardware.shade import Canvas
from training.hardware.things import GLASS
from vision.resize import resize_map


def _behind(size: tuple[int, int], other: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """(h, w, 3) of what a pane shows: a dim inside, with shelves and things on them now and then, or a mirrored room."""
    h, w = size
    scene = np.asarray(cv2.GaussianBlur(other, (0, 0), float(rng.uniform(1, 14))), np.float32)
    scene = resize_map(scene, w, h)
    dim, haze = (rng.uniform(0.15, 0.8), 0.0) if rng.random() < 0.6 else (0.3, rng.uniform(0.2, 0.6))
    scene = scene * np.float32(dim) + np.float32(haze)
    if rng.random() < 0.45:  # shelves, a shadow under each, things on them
        n = int(rng.integers(1, 5))
        for k in range(1, n + 1):
            y, t = int(h * (k + rng.uniform(-0.1, 0.1)) / (n + 1)), max(2, int(h * rng.uniform(0.01, 0.03)))
            scene[y : y + t] = scene[y : y + t] * 0.5 + np.float32(rng.uniform(0.15, 0.45))
            scene[y + t : y + 4 * t] *= np.float32(rng.uniform(0.5, 0.9))
            for _ in range(int(rng.integers(0, 7))):
                x, wide, high = rng.uniform(0, w), rng.uniform(0.02, 0.12) * w, rng.uniform(0.2, 0.9) * h / (n + 1)
                tone = np.asarray(rng.uniform(0.05, 0.7, 3), np.float32)
                scene[max(0, int(y - high)) : y, int(x) : int(x + wide) + 1] = tone * np.float32(dim + haze)
        scene = np.asarray(cv2.GaussianBlur(scene, (0, 0), float(rng.uniform(0.7, 3))), np.float32)
    return scene


def draw_glass(canvas: Canvas, rng: np.random.Generator, other: np.ndarray) -> bool:
    """A pane or mirror in a frame with its bevel; `other`: (h, w, 3) picture of which it shows a dim or mirrored part."""
    h, w = canvas.shape
    wide = sorted(rng.uniform(0, 1, 2)) if rng.random() < 0.3 else [rng.uniform(0.04, 0.25), rng.uniform(0.75, 0.96)]
    high = sorted(rng.uniform(0, 1, 2)) if rng.random() < 0.3 else [rng.uniform(0.04, 0.3), rng.uniform(0.7, 0.96)]
    (x0, x1), (y0, y1) = (np.array(wide) * w, np.array(high) * h)
    if x1 - x0 < 60 or y1 - y0 < 60:
        return False
    a, b, c, d = round(x0), round(x1), round(y0), round(y1)
    frame = canvas.rgb[c:d, a:b].copy()
    scene = _behind((d - c, b - a), other, rng)
    xs, ys = np.meshgrid(np.linspace(0, 1, b - a, dtype=np.float32), np.linspace(0, 1, d - c, dtype=np.float32))
    slope, at = float(rng.uniform(-1.5, 1.5)), float(rng.uniform(-0.3, 1.0))
    streak = np.zeros_like(xs)
    for _ in range(int(rng.integers(0, 4))):
        place, width = at + float(rng.uniform(-0.5, 0.5)), float(rng.uniform(0.03, 0.2))
        fall = np.clip((width - np.abs(xs + slope * ys - place)) / float(rng.uniform(0.004, 0.08)), -30, 30)
        streak += float(rng.uniform(0.03, 0.3)) / (1 + np.exp(-fall))
    if rng.random() < 0.5:  # a window or lamp mirrored, its own bars in it
        px, py = (float(v) for v in rng.uniform(0.1, 0.9, 2))
        half = float(rng.uniform(0.03, 0.2)), float(rng.uniform(0.03, 0.25))
        spot = (np.abs(xs - px + 0.1 * slope * ys) < half[0]) & (np.abs(ys - py) < half[1])
        if rng.random() < 0.5:
            spot &= (np.abs(xs - px + 0.1 * slope * ys) > 0.08 * half[0]) & (np.abs(ys - py) > 0.08 * half[1])
        streak += float(rng.uniform(0.2, 0.8)) * cv2.GaussianBlur(spot.astype(np.float32), (0, 0), float(rng.uniform(0.6, 4)))
    haze = float(rng.uniform(0, 0.25)) * (float(rng.uniform()) * xs + ys)
    canvas.rgb[c:d, a:b] = np.clip(scene + (streak + haze)[..., None], 0, 1)
    _rebate(canvas, (a, b, c, d), max(2, round(0.012 * min(h, w) * float(rng.uniform(0.5, 2.5)))))
    columns, rows = [a, b], [c, d]
    if rng.random() < 0.35:  # glazing bars part it
        bar = max(4, round(min(h, w) * float(rng.uniform(0.02, 0.05))))
        for cuts, low, far in ((columns, a, b), (rows, c, d)):
            n = int(rng.integers(1, 4))
            for k in range(1, n):
                cuts.insert(-1, low + round((far - low) * k / n))
        for x in columns[1:-1]:
            canvas.rgb[c:d, x - bar // 2 : x + bar // 2] = frame[:, x - a - bar // 2 : x - a + bar // 2]
            canvas.rgb[c:d, x + bar // 2 : x + bar // 2 + 2] *= 0.6
        for y in rows[1:-1]:
            canvas.rgb[y - bar // 2 : y + bar // 2, a:b] = frame[y - c - bar // 2 : y - c + bar // 2]
            canvas.rgb[y + bar // 2 : y + bar // 2 + 2, a:b] *= 0.6
    canvas.labels[c:d, a:b] = GLASS
    canvas.truth.append((GLASS, np.array([[a, c], [b, c], [b, d], [a, d]], float)))
    np.clip(canvas.rgb, 0, 1, out=canvas.rgb)
    return True


def _rebate(canvas: Canvas, at: tuple[int, int, int, int], deep: int) -> None:
    """Lit and dark sides of the frame round a pane; `at`: left, right, top, bottom."""
    a, b, c, d = at
    for k in range(deep):
        sides = (canvas.rgb[c - k - 1 : c - k, a:b], canvas.rgb[d + k : d + k + 1, a:b],
                 canvas.rgb[c:d, a - k - 1 : a - k], canvas.rgb[c:d, b + k : b + k + 1])
        for part, n in zip(sides, ((0, 1), (0, -1), (1, 0), (-1, 0)), strict=True):
            if part.size:
                part *= np.float32(1 + 0.35 * (n[0] * canvas.light.x + n[1] * canvas.light.y) - 0.1)

"""Figure with known geometry: gratings that wander along their length, mirrored or repeated at known places."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import Panel, WorkingView


def wandering(rows: int, cols: int, seed: int, *, period: float = 9.0) -> NDArray[np.float32]:
    """(rows, cols) 0..1 grain along +x whose lines wander, so that no two places along it are alike."""
    rng = np.random.default_rng(seed)
    y = np.arange(rows, dtype=np.float32)[:, None]
    coarse = rng.normal(size=(max(3, rows // 25 + 3), max(3, cols // 45 + 3))).astype(np.float32)
    bend = cv2.resize(coarse, (cols, rows), interpolation=cv2.INTER_CUBIC)
    fleck = cv2.GaussianBlur(rng.normal(size=(rows, cols)).astype(np.float32), (0, 0), sigmaX=5, sigmaY=1.2)
    return np.asarray(0.5 + 0.22 * np.sin(2 * np.pi * (y + 3.0 * bend) / period) + 1.0 * fleck * 0.35, np.float32)


def straight(rows: int, cols: int, seed: int, *, noise: float = 0.02) -> NDArray[np.float32]:
    """(rows, cols) straight streaks along +x with fine noise: the same all along the grain."""
    rng = np.random.default_rng(seed)
    lines = cv2.GaussianBlur(rng.normal(size=(rows, 1)).astype(np.float32), (0, 0), sigmaX=0.1, sigmaY=1.5)
    grit = rng.normal(size=(rows, cols)).astype(np.float32)
    return np.asarray(0.5 + 0.25 * lines + noise * grit, np.float32)


def picture(grey: NDArray[np.floating]) -> NDArray[np.uint8]:
    """(h, w, 3) wood-coloured picture of a 0..1 map."""
    colour = np.array([190.0, 140.0, 95.0])
    return np.clip(colour * (0.55 + 0.8 * np.asarray(grey, float)[..., None]), 0, 255).astype(np.uint8)


def view_of(pixels: NDArray[np.uint8]) -> WorkingView:
    """A view that is all panel."""
    h, w = pixels.shape[:2]
    panel = Panel("p1", "photo", ((0.0, 0.0), (float(w), 0.0), (float(w), float(h)), (0.0, float(h))), source="given")
    known = np.ones((h, w), bool)
    return WorkingView(panel, pixels, known, np.eye(3), 1.0, pixels, known, (0, 0))


def radial(size: int, wedges: int, centre: tuple[float, float], *, tangent: bool = False, start: float = 0.0,
           seed: int = 0) -> NDArray[np.float32]:
    """Equal wedges about a centre, each a straight grating along (or across) its own middle, mirrored in turn."""
    y, x = np.mgrid[0:size, 0:size].astype(np.float64)
    dx, dy = x - centre[0], -(y - centre[1])
    polar = (np.arctan2(dy, dx) - np.radians(start)) % (2 * np.pi)
    k = np.floor(polar / (2 * np.pi / wedges)).astype(int)
    middle = np.radians(start) + (k + 0.5) * 2 * np.pi / wedges
    out = dx * np.cos(middle) + dy * np.sin(middle)
    side = -dx * np.sin(middle) + dy * np.cos(middle)
    across = np.where(k % 2 == 0, out if tangent else side, out if tangent else -side)
    noise = cv2.GaussianBlur(np.random.default_rng(seed).normal(size=(size, size)), (0, 0), 1.0)
    return np.asarray(0.5 + 0.25 * np.sin(2 * np.pi * across / 8.0) + 0.15 * noise, np.float32)

"""Photos of a strip with known borders: a face above, a narrow side, a floor below, turned and drawn at sub-pixel places."""

from __future__ import annotations

import cv2
import numpy as np


def photo_of(strip, *, face=None, angle=4.0, size=(900, 420), middle=(450.0, 210.0), floor=60, noise=2.0, seed=0):
    """(pixels, outline (4, 2), point on the face) of a (t, n, 3) strip laid at `angle` degrees round `middle`."""
    rng = np.random.default_rng(seed)
    t, n = strip.shape[:2]
    face = np.full((150, n, 3), 185, np.uint8) if face is None else face
    below = np.full((150, n, 3), floor, np.uint8)
    whole = np.concatenate([face, strip, below]).astype(np.float32)
    k = np.deg2rad(angle)
    turn = np.array([[np.cos(k), -np.sin(k)], [np.sin(k), np.cos(k)]])
    centre = np.array([n / 2 - 0.5, len(face) + t / 2 - 0.5])
    matrix = np.c_[turn, np.array(middle) - turn @ centre]
    pixels = cv2.warpAffine(whole, matrix, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    pixels = np.clip(pixels + rng.normal(0, noise, pixels.shape), 0, 255).astype(np.uint8)
    corners = np.array([[0, 0], [n, 0], [n, t], [0, t]], float) - 0.5 + [0, len(face)]
    outline = corners @ turn.T + matrix[:, 2]
    at = np.array([n / 2, len(face) / 2]) @ turn.T + matrix[:, 2]
    return pixels, outline, (float(at[0]), float(at[1]))


def distance(point, line):
    (x0, y0), (x1, y1) = line
    d = np.array([x1 - x0, y1 - y0])
    q = np.array(point) - [x0, y0]
    return float(abs(d[0] * q[1] - d[1] * q[0]) / np.hypot(*d))

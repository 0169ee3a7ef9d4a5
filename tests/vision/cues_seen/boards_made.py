"""Drawn boards with known joints, spots and sheens for the tests of this room."""

from __future__ import annotations

import cv2
import numpy as np

from vision.resize import fit_within, resize
from vision.types import Panel, WorkingView

SHAPE = (360, 480)
JOINTS = (90, 180, 270)
WOOD = np.array([190.0, 145.0, 100.0])


def view_of(rgb):
    """The working view of an upright panel that fills its photo."""
    pixels = np.clip(np.rint(rgb), 0, 255).astype(np.uint8)
    h, w = pixels.shape[:2]
    size = fit_within(w, h, max_side=640)
    sx, sy = w / size[0], h / size[1]
    panel = Panel("p1", "a", ((0.0, 0.0), (float(w), 0.0), (float(w), float(h)), (0.0, float(h))), source="given")
    return WorkingView(panel, resize(pixels, *size), np.ones(size[::-1], bool), np.diag([sx, sy, 1.0]), float(np.sqrt(sx * sy)),
                       pixels, np.ones((h, w), bool), (0, 0))


def smooth(rng, sx, sy, shape=SHAPE):
    """Unit noise drawn out to (sx, sy)."""
    n = cv2.GaussianBlur(rng.normal(size=shape).astype(np.float32), (0, 0), sigmaX=sx, sigmaY=sy)
    return n / n.std()


def grain(rng, shape=SHAPE):
    """Broken streaks along x, about unit strength: figure that runs through nowhere."""
    return 0.7 * smooth(rng, 25, 1.5, shape) + 0.7 * smooth(rng, 14, 3, shape)


def boards(seed, *, steps=(0.0, 0.0, 0.0, 0.0), gap=0.0, jitter=0.0, figure=0.03):
    """Float RGB of four boards, grain and joints along x. `steps`: log tone of each; `gap`: share of light that a 3 px joint
    keeps back; `jitter`: px by which it strays from straight."""
    rng = np.random.default_rng(seed)
    rows = np.arange(SHAPE[0])[:, None] + np.zeros(SHAPE[1])
    tone = figure * grain(rng)
    stray = jitter * cv2.GaussianBlur(rng.normal(size=(1, SHAPE[1])).astype(np.float32), (0, 0), 12)
    stray *= jitter / max(float(stray.std()), 1e-6) if jitter else 0.0
    at = rows - stray
    tone += np.array(steps)[np.digitize(at, np.array(JOINTS) - 0.5)]
    light = np.exp(tone)
    for joint in JOINTS:
        light *= np.where(np.abs(at - joint) < 1.6, 1 - gap, 1.0)
    return WOOD * light[..., None] + rng.normal(scale=1.5, size=(*SHAPE, 3))

"""A drawn panel with straight grain, for tests of findings and cues."""

from __future__ import annotations

import numpy as np

from vision import grain
from vision.edges.strips import located as located_on_edges
from vision.findings import PanelContext, Weight
from vision.measure import PanelMeasure, measure_view
from vision.types import Panel, WorkingView


def straight_grain(height: int = 240, width: int = 320, seed: int = 0) -> np.ndarray:
    """(h, w, 3) uint8 brown panel, grain along x."""
    rng = np.random.default_rng(seed)
    rows = np.cumsum(rng.normal(0, 1, height))
    rows = np.sin(2 * np.pi * (np.arange(height) / 9 + 0.1 * rows)) * 18
    tone = 130 + np.repeat(rows[:, None], width, 1) + rng.normal(0, 2, (height, width))
    return np.clip(tone[..., None] * np.array([1.1, 0.85, 0.6]), 0, 255).astype(np.uint8)


def context(pixels: np.ndarray, weights: dict[str, Weight] | None = None) -> PanelContext:
    """Context of a whole picture as one panel, shifted by (100, 50) on its photo."""
    h, w = pixels.shape[:2]
    outline = ((100.0, 50.0), (100.0 + w, 50.0), (100.0 + w, 50.0 + h), (100.0, 50.0 + h))
    mask = np.ones((h, w), bool)
    to_photo = np.array([[1.0, 0, 100], [0, 1, 50], [0, 0, 1]])
    view = WorkingView(Panel("a", "p", outline), pixels, mask, to_photo, 1.0, pixels, mask, (100, 50))
    field, values = measure_view(view)
    measured = PanelMeasure(view, field, values, {})
    return PanelContext(view.panel, measured, grain.located(view, field), located_on_edges(view, field), weights or {})

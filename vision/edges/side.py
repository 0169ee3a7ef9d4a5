"""The narrow side that a panel may be: measured once a view, as features of the classifier and as a report to show."""

from __future__ import annotations

import math
from weakref import WeakKeyDictionary

import cv2
import numpy as np

from vision.edges.edge import EdgeReport, measure_edge
from vision.edges.shown import SHOWN_NUMBERS
from vision.features import Feature
from vision.types import GrainField, WorkingView

#: A panel at least this many times longer than wide on the photo may be a narrow side; nothing is measured on others.
LEAST_ASPECT = 2.0

_UNITS = {"shown_layer_px": "px", "shown_ply_count": "count"}
FEATURES: tuple[Feature, ...] = tuple(
    Feature(f"edge_{name}", "edge_make", _UNITS.get(name, "log"), about) for name, about in SHOWN_NUMBERS.items()
)

_DONE: WeakKeyDictionary[WorkingView, list[EdgeReport | None]] = WeakKeyDictionary()


def side_report(view: WorkingView) -> EdgeReport | None:
    """What the panel shows if it is a narrow side; None where it is too broad, thin or short, or the whole photo is not at
    hand. Chances suppose that it is one: whether it is, the view says."""
    if view not in _DONE:
        _DONE[view] = [_report(view)]
    return _DONE[view][0]


def _report(view: WorkingView) -> EdgeReport | None:
    outline = np.asarray(view.panel.outline, dtype=np.float32)
    _, (wide, tall), _ = cv2.minAreaRect(outline)
    if view.photo_pixels is None or max(wide, tall) < LEAST_ASPECT * max(1.0, min(wide, tall)):
        return None
    px_per_mm = view.px_scale / view.mm_per_px if view.mm_per_px else None
    return measure_edge(view.photo_pixels, view.panel.outline, px_per_mm=px_per_mm)


def measure(view: WorkingView, field: GrainField) -> dict[str, float]:
    """Feature values of one view; nan where no narrow side was measured."""
    report = side_report(view)
    if report is None:
        return {f.name: math.nan for f in FEATURES}
    return {f"edge_{name}": float(report.numbers[name]) for name in SHOWN_NUMBERS}

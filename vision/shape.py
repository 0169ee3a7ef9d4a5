"""Shape of a panel on the photo: only what does not depend on how carefully somebody drew its outline."""

from __future__ import annotations

import math

import numpy as np

from vision.features import Feature
from vision.types import WorkingView

FEATURES: tuple[Feature, ...] = (
    Feature("shape_log_aspect", "shape", "log2", "Long side over short side of the rectified panel, as a base-2 logarithm."),
    Feature("shape_log_short_px", "shape", "log2 px", "Short side of the panel in photo pixels, as a base-2 logarithm."),
    Feature("shape_fill", "shape", "1", "Share of the rectified rectangle that the outline fills."),
)


def measure(view: WorkingView) -> dict[str, float]:
    """Shape numbers of one working view; see FEATURES for names and units."""
    h, w = view.mask.shape
    filled = float(view.mask.mean())
    long_side, short_side = max(h, w), max(1.0, min(h, w) * filled)
    return {
        "shape_log_aspect": math.log2(long_side / max(1, min(h, w))),
        "shape_log_short_px": math.log2(max(1.0, short_side * view.px_scale)),
        "shape_fill": filled if np.isfinite(filled) else math.nan,
    }

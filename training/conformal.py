"""Thresholds of prediction sets, from probabilities given to authors held out.

Score of a row: 1 - probability of its true class. Label-conditional: each class has a threshold of its own, so the
promise (the truth is in the set at least `level` of the time) holds class by class, whatever the mix. A class with few
specimens would have a threshold of mere luck: all rows together count as `pooled` more specimens of it, which trades some
of the promise of a rare class for sets that say something. Rows are weighted so that each specimen counts once; with equal
weights and nothing pooled this is split conformal prediction as usual, quantile ceil((n + 1) level) / n (Vovk and others,
Algorithmic Learning in a Random World, 2005; Angelopoulos and Bates, 2021).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def quantile(scores: Array, weight: Array, level: float) -> float:
    """Least t such that rows with score <= t hold a share `level` of all weight, one new row of typical weight (sum of
    squares over sum) with an infinite score counted in. inf when the rows are too few to promise the level."""
    if not 0 < level < 1:
        raise ValueError(f"level must lie between 0 and 1, got {level}")
    used = weight > 0
    s, w = scores[used], weight[used]
    if len(s) == 0:
        return float("inf")
    order = np.argsort(s, kind="stable")
    share = np.cumsum(w[order]) / (w.sum() + (w * w).sum() / w.sum())
    at = int(np.searchsorted(share, level - 1e-12))
    return float(s[order][at]) if at < len(s) else float("inf")


def thresholds(
    probabilities: Array, labels: NDArray[np.int8], weight: Array, classes: Sequence[str], level: float, *, pooled: float = 0.0
) -> dict[str, float]:
    """Least probability with which a class stays in the set; 0 where a class has too few rows to promise the level.

    `probabilities` (n, classes) held out; `labels` (n,), -1 = unknown, left out; `weight` (n,); `pooled`: weight of all rows
    together in the threshold of each class, inf for one threshold for all.
    """
    known = (labels >= 0) & (weight > 0)
    p, y, w = probabilities[known], labels[known], weight[known]
    scores = 1 - p[np.arange(len(y)), y]
    out = {}
    for k, name in enumerate(classes):
        own = np.where(y == k, w, 0.0)
        out[name] = max(0.0, 1 - quantile(scores, w if np.isinf(pooled) else own + pooled * w / w.sum(), level))
    return out


def in_sets(probabilities: Array, limits: Sequence[float]) -> NDArray[np.bool_]:
    """(n, classes) membership; the likeliest class is always in. As `vision.inference.sets.chosen`, for many rows."""
    kept = probabilities + 1e-9 >= np.asarray(limits)
    kept[np.arange(len(kept)), probabilities.argmax(axis=1)] = True
    return np.asarray(kept)

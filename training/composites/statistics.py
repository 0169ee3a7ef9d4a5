"""Rates, intervals over groups, areas under curves and the cost of likelihood ratios."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def threshold_at(negatives: Floats, rate: float) -> float:
    """Lowest threshold that at most `rate` of the negatives exceed; never below the lowest finite score (a method that
    found nothing says nothing)."""
    order = np.sort(np.asarray(negatives, dtype=float))[::-1]
    return float(order[int(np.floor(rate * len(order)))]) if len(order) else float("-inf")


def auc(positive: Floats, negative: Floats) -> float:
    """Area under the curve: the chance that a positive scores above a negative, ties half; nan without both."""
    p, n = np.asarray(positive, dtype=float), np.asarray(negative, dtype=float)
    if not len(p) or not len(n):
        return float("nan")
    both = np.concatenate([p, n])
    _, place, counts = np.unique(both, return_inverse=True, return_counts=True)
    ends = np.cumsum(counts)
    ranks = (ends - (counts - 1) / 2)[place]
    return float((ranks[: len(p)].sum() - len(p) * (len(p) + 1) / 2) / (len(p) * len(n)))


def mean_of(values: Floats) -> Callable[[NDArray[np.intp]], float]:
    """The mean of `values` as a statistic of indices."""
    return lambda k: float(values[k].mean())


def group_bootstrap(groups: Sequence[str], statistic: Callable[[NDArray[np.intp]], float], *, times: int = 1000, seed: int = 5,
                    ) -> tuple[float, float]:
    """95 % interval of `statistic(indices)` when whole groups are drawn anew with replacement."""
    names, place = np.unique(np.asarray(groups), return_inverse=True)
    members = [np.flatnonzero(place == k) for k in range(len(names))]
    rng = np.random.default_rng(seed)
    values = []
    for _ in range(times):
        value = statistic(np.concatenate([members[k] for k in rng.integers(len(names), size=len(names))]))
        if np.isfinite(value):
            values.append(value)
    if not values:
        return float("nan"), float("nan")
    return float(np.percentile(values, 2.5)), float(np.percentile(values, 97.5))


def wilson(hits: int, n: int) -> tuple[float, float]:
    """95 % score interval of a proportion (Wilson 1927); (0, 1) for n = 0."""
    if n == 0:
        return 0.0, 1.0
    z, p = 1.959964, hits / n
    middle, half = (p + z * z / (2 * n)), z * np.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return float(max(0, (middle - half) / (1 + z * z / n))), float(min(1, (middle + half) / (1 + z * z / n)))


def ratio_cost(log_ratios_true: Floats, log_ratios_false: Floats) -> tuple[float, float]:
    """(cost, least cost) in bits of natural log likelihood ratios (Bruemmer and du Preez 2006): 1 says nothing, 0 is perfect;
    the least cost is what the best monotone calibration of the same scores would reach, so the gap is miscalibration."""
    def cost(p: Floats, n: Floats) -> float:
        return float(0.5 * (np.logaddexp(0, -p).mean() + np.logaddexp(0, n).mean()) / np.log(2))

    p, n = np.asarray(log_ratios_true, dtype=float), np.asarray(log_ratios_false, dtype=float)
    if not len(p) or not len(n):
        return float("nan"), float("nan")
    from sklearn.isotonic import IsotonicRegression

    scores = np.concatenate([p, n])
    truth = np.r_[np.ones(len(p)), np.zeros(len(n))]
    weight = np.where(truth > 0, 0.5 / len(p), 0.5 / len(n))
    fitted = IsotonicRegression(out_of_bounds="clip").fit(scores, truth, sample_weight=weight).predict(scores)
    fitted = np.clip(fitted, 1e-9, 1 - 1e-9)
    odds = np.log(fitted / (1 - fitted))
    return cost(p, n), cost(odds[truth > 0], odds[truth == 0])

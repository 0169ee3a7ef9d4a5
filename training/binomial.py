"""Exact interval of a share (Clopper and Pearson, "The use of confidence or fiducial limits", Biometrika 26, 1934)."""

from __future__ import annotations


def exact_interval(hits: int, trials: int, level: float = 0.95) -> tuple[float, float]:
    """Clopper-Pearson interval of a share."""
    from scipy.stats import beta

    tail = (1 - level) / 2
    low = 0.0 if hits == 0 else float(beta.ppf(tail, hits, trials - hits + 1))
    high = 1.0 if hits == trials else float(beta.ppf(1 - tail, hits + 1, trials - hits))
    return low, high

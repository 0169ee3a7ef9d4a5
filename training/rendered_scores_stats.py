"""Figures over weighted panels, and their intervals by drawing groups of panels whole.

A figure is a function of the panels' weights (n,): ones for the value itself, how often each panel's group was drawn for one
round of the bootstrap.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.figures import auc

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
Figure = Callable[[Array], float]
BINS = 10
FLOOR = 1e-6


def mean(values: Array | Bools, use: Bools) -> Figure:
    """Weighted mean over the panels in use; nan without any."""
    v = values.astype(np.float64)[use]

    def figure(weight: Array) -> float:
        w = weight[use]
        return float(w @ v / w.sum()) if w.sum() > 0 else float("nan")

    return figure


def balanced(truth: NDArray[np.intp], answer: NDArray[np.intp], use: Bools, classes: int) -> Figure:
    """Mean over the classes that occur of the share answered right."""
    each = [mean(answer == c, use & (truth == c)) for c in range(classes)]

    def figure(weight: Array) -> float:
        known = [v for v in (f(weight) for f in each) if np.isfinite(v)]
        return float(np.mean(known)) if known else float("nan")

    return figure


def area(score: Array, positive: Bools, use: Bools) -> Figure:
    """Area under the ROC curve of telling `positive` panels from the others in use."""
    s, p = score[use], positive[use]
    order = np.argsort(s, kind="stable")
    at = np.flatnonzero(use)[order]
    s, p = s[order], p[order]
    return lambda weight: auc(s, p, weight[at])


def bins_of(probability: Array, bins: int = BINS) -> NDArray[np.intp]:
    """(n,) number of the bin of each row: bins of equal mass, by rank."""
    rank = np.empty(len(probability), dtype=np.intp)
    rank[np.argsort(probability, kind="stable")] = np.arange(len(probability))
    return np.asarray(rank * bins // max(1, len(probability)), dtype=np.intp)


def calibration_error(probability: Array, hit: Bools, use: Bools, bins: int = BINS) -> Figure:
    """Expected calibration error: mean over bins of equal mass of |mean probability - share true|, weighted by the bins."""
    gap = (probability - hit)[use]
    at = bins_of(probability[use], bins)

    def figure(weight: Array) -> float:
        w = weight[use]
        if w.sum() <= 0:
            return float("nan")
        return float(np.abs(np.bincount(at, weights=w * gap, minlength=bins)).sum() / w.sum())

    return figure


def error_by_luck(probability: Array, use: Bools, rounds: int = 40, seed: int = 0, bins: int = BINS) -> float:
    """Mean calibration error of a true forecaster: outcomes drawn, one by one, with just these probabilities."""
    rng = np.random.default_rng(seed)
    p = probability[use]
    if len(p) == 0:
        return float("nan")
    everything = np.ones(len(p), dtype=bool)
    found = [calibration_error(p, rng.random(len(p)) < p, everything, bins)(np.ones(len(p))) for _ in range(rounds)]
    return float(np.mean(found))


def log_loss(distribution: Array, truth: NDArray[np.intp], use: Bools) -> Figure:
    """Mean negative log probability of the true class, probabilities not below FLOOR."""
    loss = np.zeros(len(truth))
    rows = np.flatnonzero(use)
    loss[rows] = -np.log(np.maximum(FLOOR, distribution[rows, truth[rows]]))
    return mean(loss, use)


def brier(distribution: Array, truth: NDArray[np.intp], use: Bools) -> Figure:
    """Mean squared distance of the distribution from the truth, summed over classes (0 to 2)."""
    hot = np.zeros_like(distribution)
    rows = np.flatnonzero(use)
    hot[rows, truth[rows]] = 1
    return mean(((distribution - hot) ** 2).sum(axis=1), use)


def base_rate(truth: NDArray[np.intp], use: Bools, classes: int) -> Array:
    """(n, classes) the shares of the classes among the panels in use, said of every panel: the rival to beat, and a strong one,
    since it knows the test's own mix."""
    counts = np.bincount(truth[use], minlength=classes).astype(np.float64)
    return np.tile(counts / max(1.0, counts.sum()), (len(truth), 1))


def order_within(score: Array, positive: Bools, negative: Bools, key: NDArray[np.str_]) -> tuple[Figure, int]:
    """Share of pairs of a positive and a negative panel with one `key` in which the positive scores higher (ties half), and the
    number of pairs. A pair weighs as its positive panel does."""
    by_key: dict[str, list[int]] = {}
    for i in np.flatnonzero(negative):
        by_key.setdefault(str(key[i]), []).append(int(i))
    pairs = [(i, j) for i in np.flatnonzero(positive).tolist() for j in by_key.get(str(key[i]), [])]
    if not pairs:
        return (lambda _: float("nan")), 0
    a, b = np.array(pairs).T
    won = (score[a] > score[b]) + 0.5 * (score[a] == score[b])

    def figure(weight: Array) -> float:
        w = weight[a]
        return float(w @ won / w.sum()) if w.sum() > 0 else float("nan")

    return figure, len(pairs)


@dataclass(frozen=True)
class Value:
    """A figure with its 95 % interval, the panels and groups of pieces it rests on."""

    value: float
    low: float
    high: float
    panels: int
    groups: int


def values(
    wanted: Mapping[str, tuple[Figure, Bools]], group: NDArray[np.str_], rounds: int = 200, seed: int = 0
) -> dict[str, Value]:
    """Every figure with its interval; `wanted`: name -> (figure, the panels it rests on); `group` (n,): what is drawn whole."""
    names, at = np.unique(group, return_inverse=True)
    rng = np.random.default_rng(seed)
    draws: dict[str, list[float]] = {k: [] for k in wanted}
    for _ in range(rounds):
        weight = np.bincount(rng.integers(0, len(names), len(names)), minlength=len(names))[at].astype(np.float64)
        for key, (figure, _) in wanted.items():
            draws[key].append(figure(weight))
    out = {}
    for key, (figure, use) in wanted.items():
        known = np.array([v for v in draws[key] if np.isfinite(v)])
        low, high = np.quantile(known, [0.025, 0.975]) if len(known) > rounds / 2 else (float("nan"), float("nan"))
        out[key] = Value(figure(np.ones(len(at))), float(low), float(high), int(use.sum()), len(np.unique(at[use])))
    return out

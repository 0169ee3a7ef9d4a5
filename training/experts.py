"""Experts: one small smooth classifier a group of measurements, for each question.

A group's numbers are centred on their median, scaled, clipped, squared terms and marks of what is missing are added, and
a multinomial logistic regression with a strong ridge penalty is fitted on classes of equal total weight. Everything is
smooth and convex: the same numbers give the same probabilities on any machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

Array = NDArray[np.float64]
CLIP = 4.0
#: A number missing in at least this share of panels gets a mark of its own.
MARK_MISSING = 0.02


def log_softmax(scores: Array) -> Array:
    """Log probabilities along the last axis."""
    top = scores - scores.max(axis=-1, keepdims=True)
    return np.asarray(top - np.log(np.exp(top).sum(axis=-1, keepdims=True)))


@dataclass(frozen=True, eq=False)
class Preparation:
    """How raw numbers (n, k), nan = missing, become a design matrix. `median`, `scale` (k,); `marked` indices with a mark."""

    median: Array
    scale: Array
    marked: NDArray[np.intp]

    @staticmethod
    def fit(values: NDArray[np.float32], weight: Array) -> Preparation:
        """Medians and half-widths of the middle 80 % of weighted rows."""
        x = values.astype(np.float64)
        x[~np.isfinite(x)] = np.nan
        kept = x[weight > 0]
        some = np.isfinite(kept).any(axis=0)
        low, median, high = (np.zeros(x.shape[1]) for _ in range(3))
        low[some], median[some], high[some] = np.nanquantile(kept[:, some], [0.1, 0.5, 0.9], axis=0)
        scale = (high - low) / 2.56
        spread = np.zeros(x.shape[1])
        spread[some] = np.nanstd(kept[:, some], axis=0)
        scale = np.where(scale > 1e-9, scale, np.where(spread > 1e-9, spread, 1.0))
        share = np.isnan(kept).mean(axis=0)
        # float32 is what the shipped model holds.
        as32 = [a.astype(np.float32).astype(np.float64) for a in (median, scale)]
        return Preparation(as32[0], as32[1], np.flatnonzero((share >= MARK_MISSING) & (share < 1)))

    def __call__(self, values: NDArray[np.float32]) -> Array:
        """(n, 2 k + marked) design matrix: clipped z, (z^2 - 1) / 4, marks."""
        x = values.astype(np.float64)
        missing = ~np.isfinite(x)
        z = np.clip((np.where(missing, self.median, x) - self.median) / self.scale, -CLIP, CLIP)
        z[missing] = 0.0
        return np.hstack([z, z * z / CLIP, missing[:, self.marked].astype(np.float64)])


@dataclass(frozen=True, eq=False)
class Expert:
    """A fitted expert. `preparation` is None for looks, whose numbers are used as they are; `coef` (inputs, classes),
    `bias` (classes,)."""

    preparation: Preparation | None
    coef: Array
    bias: Array

    def log_probs(self, numbers: NDArray[np.float32]) -> Array:
        """(n, classes) log probabilities under an even prior."""
        x = numbers.astype(np.float64) if self.preparation is None else self.preparation(numbers)
        return log_softmax(x @ self.coef + self.bias)


def balanced(labels: NDArray[np.int8], weight: Array, classes: int) -> Array:
    """Weights rescaled so that every class that occurs has the same total, 1 over the number that occur."""
    out = np.zeros(len(labels))
    present = [c for c in range(classes) if weight[labels == c].sum() > 0]
    for c in present:
        rows = labels == c
        out[rows] = weight[rows] / weight[rows].sum() / len(present)
    return out


def fit_logistic(
    x: Array, labels: NDArray[np.int8], weight: Array, classes: int, penalty: float, start: Array | None = None
) -> tuple[Array, Array]:
    """Multinomial logistic regression: minimises the weighted mean log loss + penalty / 2 * sum of squared coefficients.

    `weight` sums to 1; the bias is penalised a thousandth as much, which only fixes its free constant and keeps a class
    that never occurs finite. Strictly convex, solved to a gradient of 1e-7; `start` (inputs + 1, classes) only saves time.
    """
    n, k = x.shape
    rows = np.arange(n)
    kept = np.concatenate([np.full((k, classes), penalty), np.full((1, classes), penalty * 1e-3)])
    x1 = np.hstack([x, np.ones((n, 1))])

    def loss(flat: Array) -> tuple[float, Array]:
        w = flat.reshape(k + 1, classes)
        lp = log_softmax(x1 @ w)
        slope = np.exp(lp)
        slope[rows, labels] -= 1
        slope *= weight[:, None]
        value = -float(weight @ lp[rows, labels]) + 0.5 * float((kept * w * w).sum())
        return value, (x1.T @ slope + kept * w).ravel()

    first = np.zeros((k + 1) * classes) if start is None else start.ravel()
    found = minimize(loss, first, jac=True, method="L-BFGS-B",
                     options={"maxiter": 2000, "gtol": 1e-7, "ftol": 1e-15, "maxcor": 20})
    w = found.x.reshape(k + 1, classes)
    return w[:-1], w[-1]


def fit_expert(
    numbers: NDArray[np.float32], labels: NDArray[np.int8], weight: Array, classes: int, *, penalty: float, prepare: bool,
    reference: Array | None = None, near: Expert | None = None,
) -> Expert:
    """Expert on rows with a known label and some weight. `prepare` for features, not for looks; `reference`: weights of
    the rows that medians and scales are taken from (default `weight`); `near`: a similar expert to start from."""
    used = (labels >= 0) & (weight > 0)
    if not used.any():
        raise ValueError("no labelled row to teach an expert on")
    preparation = Preparation.fit(numbers, reference if reference is not None else weight) if prepare else None
    x = numbers[used].astype(np.float64) if preparation is None else preparation(numbers[used])
    start = None if near is None or len(near.coef) != x.shape[1] else np.vstack([near.coef, near.bias])
    coef, bias = fit_logistic(x, labels[used], weight[used] / weight[used].sum(), classes, penalty, start)
    return Expert(preparation, coef, bias)


def mixed_weight(labels: Sequence[NDArray[np.int8]], weights: Sequence[Array], shares: Sequence[float], classes: int) -> Array:
    """Weights of stacked tables: classes even within each table, and each table counting `shares`."""
    parts = [share * balanced(y, w, classes) for y, w, share in zip(labels, weights, shares, strict=True)]
    return np.concatenate(parts)

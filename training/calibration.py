"""From held-out evidence to calibrated probabilities: priors, table of cores under faces, temperature, decision limits."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from training.experts import Array, log_softmax
from vision.inference import joint

#: Pseudo-specimens added to every possible core under a face: nothing possible is ever ruled out by a small sample.
CORE_SMOOTHING = 1.0
TEMPERATURES = (0.25, 4.0)


def specimen_weight(weight: Array, specimen: NDArray[np.str_], use: NDArray[np.bool_]) -> Array:
    """Trust shared out so that each specimen's used rows count at most as one; 0 for rows not used."""
    _, at = np.unique(specimen, return_inverse=True)
    counts = np.bincount(at[use], minlength=at.max() + 1)
    out = np.zeros(len(weight))
    out[use] = weight[use] / counts[at[use]]
    return out


def mix(labels: NDArray[np.int8], weight: Array, classes: int, smoothing: float = 1.0) -> Array:
    """(classes,) share of each class among labelled rows, `smoothing` pseudo-specimens added to each."""
    known = labels >= 0
    counts = np.bincount(labels[known], weights=weight[known], minlength=classes) + smoothing
    return np.asarray(counts / counts.sum())


def hedged(share: Array, power: float) -> Array:
    """Base rates pulled towards an even mix: share ** power, made to sum to 1 (power 1 keeps them, 0 is even)."""
    raised = share**power
    return np.asarray(raised / raised.sum())


def core_table(face: NDArray[np.int8], core: NDArray[np.int8], weight: Array) -> Array:
    """(6, 4) T(core | face) over possible pairs, with CORE_SMOOTHING. What is no board says nothing about cores: uniform."""
    counts = np.zeros(joint.POSSIBLE.shape)
    known = (face >= 0) & (core >= 0)
    np.add.at(counts, (face[known], core[known]), weight[known])
    counts[joint.FACES.index("not_wood")] = 0
    table = np.where(joint.POSSIBLE, counts + CORE_SMOOTHING, 0.0)
    return np.asarray(table / table.sum(axis=1, keepdims=True))


def temperature(evidence: Array, labels: NDArray[np.int8], weight: Array, offset: Array) -> float:
    """T in TEMPERATURES that minimises the weighted log loss of offset + evidence / T (Guo and others, 2017)."""
    used = (labels >= 0) & (weight > 0)
    e, y, w, base = evidence[used], labels[used], weight[used] / weight[used].sum(), offset[used]
    rows = np.arange(len(y))

    def loss(log_t: float) -> float:
        return -float(w @ log_softmax(base + e / np.exp(log_t))[rows, y])

    bounds = tuple(float(v) for v in np.log(TEMPERATURES))
    return float(np.exp(minimize_scalar(loss, bounds=bounds, method="bounded", options={"xatol": 1e-6}).x))


def least_probability(
    top: Array, right: NDArray[np.bool_], weight: Array, *, target: float, least_rows: int = 20
) -> tuple[float, float, float]:
    """Lowest limit on the leading probability with which decided rows are right at least `target` of the time.

    `top`, `right`, `weight`: of rows that could be decided (their set has one class). Only limits that leave at least
    `least_rows` rows decided are tried; without one that reaches the target, the most accurate is taken.
    Returns (limit, accuracy, weight decided); (1.01, nan, 0) where there are too few rows: nothing is ever decided.
    """
    order = np.argsort(-top, kind="stable")
    order = order[weight[order] > 0]
    if len(order) < least_rows:
        return 1.01, float("nan"), 0.0
    w = np.cumsum(weight[order])
    accuracy = np.cumsum(weight[order] * right[order]) / w
    last = np.append(np.diff(top[order]) != 0, True)
    tried = np.flatnonzero(last & (np.arange(len(order)) >= least_rows - 1))
    good = [i for i in tried if accuracy[i] >= target]
    at = good[-1] if good else tried[np.argmax(accuracy[tried])]
    return float(top[order][at]), float(accuracy[at]), float(w[at])


def reliability(
    probability: Array, hit: NDArray[np.bool_], weight: Array, edges: Sequence[float]
) -> list[tuple[float, float, float, float]]:
    """Rows (bin start, weight, mean probability, share that came true) of the bins that hold anything."""
    at = np.clip(np.searchsorted(edges, probability, side="right") - 1, 0, len(edges) - 2)
    out = []
    for k in range(len(edges) - 1):
        w = weight[at == k]
        if w.sum() > 0:
            means = [float(np.average(v[at == k], weights=w)) for v in (probability, hit.astype(float))]
            out.append((float(edges[k]), float(w.sum()), means[0], means[1]))
    return out

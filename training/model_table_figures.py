"""Figures of merit of the model table: means over specimens of the mean within each, 95 % bootstraps over authors, and the same
draws of authors for all models, so that two models can be compared pair by pair."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.experts import Array, log_softmax
from training.figures import PRINTED, SOLID, VENEER, auc
from training.tables import Table
from vision.inference.joint import FACES

SLOPES = np.geomspace(0.25, 4.0, 111)
BINS = 5
#: Keys of the columns, in their order.
LOSS, BRIER, BALANCED, PRINT, SHEET = "log loss", "Brier", "balanced accuracy", "AUC wood/print", "AUC solid/veneer"
SLOPE, ECE, WRONG, CORE = "slope", "ECE", "confident and wrong", "core log loss"


@dataclass(frozen=True, eq=False)
class Draws:
    """`times` (draws + 1, n): how often each row's author was drawn, the first row once each; `specimen` (n,) indices."""

    times: Array
    specimen: NDArray[np.intp]

    @staticmethod
    def of(author: NDArray[np.str_], specimen: NDArray[np.str_], rounds: int, seed: int = 0) -> Draws:
        """Authors resampled whole."""
        names, at = np.unique(author, return_inverse=True)
        rng = np.random.default_rng(seed)
        drawn = [np.bincount(rng.integers(0, len(names), len(names)), minlength=len(names)) for _ in range(rounds)]
        times = np.array([np.ones(len(names)), *drawn])[:, at]
        return Draws(times, np.unique(np.char.add(np.char.add(author, "/"), specimen), return_inverse=True)[1])

    def weight(self, use: NDArray[np.bool_]) -> Array:
        """(draws + 1, n) weights with which a weighted mean is the mean over specimens."""
        counts = np.bincount(self.specimen[use], minlength=int(self.specimen.max(initial=0)) + 1)
        return np.asarray(self.times * (use / np.maximum(1, counts[self.specimen])))


def mean(values: Array | NDArray[np.bool_], weight: Array) -> Array:
    """(draws + 1,) weighted means of (n,) values; nan where nothing was drawn."""
    total = weight.sum(axis=1)
    return np.asarray(np.where(total > 0, weight @ values.astype(np.float64) / np.where(total > 0, total, 1.0), np.nan))


def calibration_error(top: Array, right: NDArray[np.bool_], weight: Array) -> Array:
    """(draws + 1,) expected calibration error of the leading class over BINS bins that hold equally much of the first weights."""
    used = weight[0] > 0
    order = np.argsort(top[used])
    share = np.cumsum(weight[0][used][order])
    at = np.zeros(len(top), dtype=np.intp)
    at[np.flatnonzero(used)[order]] = np.minimum(BINS - 1, (BINS * (share - 1e-9) / share[-1]).astype(np.intp))
    gap = right.astype(np.float64) - top
    parts = np.stack([np.abs((weight * (at == k)) @ gap) for k in range(BINS)])
    return np.asarray(parts.sum(axis=0) / np.maximum(1e-12, weight.sum(axis=1)))


def chance_error(top: Array, draws: Draws, use: NDArray[np.bool_], rounds: int = 200, seed: int = 0) -> float:
    """Mean calibration error that a perfectly calibrated classifier with these probabilities would show on as many specimens."""
    rng = np.random.default_rng(seed)
    weight = draws.weight(use)[:1]
    n = int(draws.specimen.max()) + 1
    lucky = [calibration_error(top, rng.random(n)[draws.specimen] < top, weight)[0] for _ in range(rounds)]
    return float(np.mean(lucky))


def slope(face: Array, y: NDArray[np.int8], weight: Array) -> Array:
    """(draws + 1,) power to which all probabilities would have to be raised to fit best: 1 is calibrated, less is too sure."""
    log = np.log(np.maximum(face, 1e-12))
    rows = np.arange(len(y))
    fits = np.stack([log_softmax(s * log)[rows, np.maximum(y, 0)] for s in SLOPES], axis=1)
    return np.asarray(SLOPES[(weight @ fits).argmax(axis=1)])


def figures(table: Table, face: Array, core: Array, use: NDArray[np.bool_], draws: Draws) -> dict[str, Array]:
    """Every figure, (draws + 1,) values: the first is on the panels as they are. `use`: the rows that count."""
    y = table.face
    rows = np.arange(len(y))
    is_face = use & (y >= 0) & (table.view == 0)
    w = draws.weight(is_face)
    right = face.argmax(axis=1) == y
    said = np.maximum(1e-6, face[rows, np.maximum(y, 0)])
    top = face.max(axis=1)
    recalls = np.stack([mean(right, draws.weight(is_face & (y == k))) for k in range(len(FACES))])
    known = np.isfinite(recalls)
    wood = face[:, SOLID] + face[:, VENEER]
    is_wood = (y == SOLID) | (y == VENEER)
    print_rows = is_face & (is_wood | (y == PRINTED))

    def areas(chosen: NDArray[np.bool_], score: Array, positive: NDArray[np.bool_]) -> Array:
        weight = draws.weight(chosen & positive) + draws.weight(chosen & ~positive)
        return np.array([auc(score[chosen], positive[chosen], v[chosen]) for v in weight])

    edge = use & (table.view > 0) & (table.core >= 0)
    return {
        LOSS: mean(-np.log(said), w),
        BRIER: mean(((face - np.eye(len(FACES))[np.maximum(y, 0)]) ** 2).sum(axis=1), w),
        BALANCED: np.where(known, recalls, 0).sum(axis=0) / np.maximum(1, known.sum(axis=0)),
        PRINT: areas(print_rows, wood / np.maximum(1e-9, wood + face[:, PRINTED]), is_wood),
        SHEET: areas(is_face & is_wood, face[:, SOLID] / np.maximum(1e-9, wood), y == SOLID),
        SLOPE: slope(face, y, w),
        ECE: calibration_error(top, right, w),
        WRONG: mean((top >= 0.9) & ~right, w),
        CORE: mean(-np.log(np.maximum(1e-6, core[rows, np.maximum(table.core, 0)])), draws.weight(edge)),
    }


def interval(values: Array) -> tuple[float, float]:
    """Middle 95 % of the draws of a figure (the first value, of the panels as they are, is no draw)."""
    drawn = values[1:][np.isfinite(values[1:])]
    if len(drawn) == 0:
        return float("nan"), float("nan")
    return float(np.quantile(drawn, 0.025)), float(np.quantile(drawn, 0.975))

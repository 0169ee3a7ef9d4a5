"""Figures of merit of answers on labelled panels, and their intervals.

Every figure is a mean over specimens of the mean within a specimen, so ten photos of one thing count once; recalls are
averaged over classes; intervals are 95 % bootstraps over authors.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.experts import Array
from vision.inference.joint import CORES, FACES
from vision.inference.model import TARGETS

Bools = NDArray[np.bool_]
SOLID, VENEER, PRINTED = (FACES.index(f) for f in ("solid_wood", "veneer", "printed"))


@dataclass(frozen=True, eq=False)
class Scored:
    """n panels with truth (indices, -1 = unknown) and answers. `face_set` (n, 6) bool; `author`, `specimen` (n,) names."""

    author: NDArray[np.str_]
    specimen: NDArray[np.str_]
    true_face: NDArray[np.int8]
    true_core: NDArray[np.int8]
    true_view: NDArray[np.int8]
    face: Array
    core: Array
    core_visible: Array
    view: NDArray[np.intp]
    face_set: Bools
    decided: Bools

    def rows(self, which: Bools) -> Scored:
        """Some of the panels."""
        return Scored(**{k: v[which] for k, v in vars(self).items()})


def group_weight(specimen: NDArray[np.intp], use: Bools, times: Array) -> Array:
    """(n,) weights with which a plain weighted mean is the mean over specimens of the mean within each; `times` (n,): how
    often the row's author was drawn."""
    counts = np.bincount(specimen[use], minlength=int(specimen.max(initial=0)) + 1)
    out = np.zeros(len(specimen))
    out[use] = times[use] / counts[specimen[use]]
    return out


def auc(score: Array, positive: Bools, weight: Array) -> float:
    """Weighted area under the ROC curve, each kind's weight as given; nan without both kinds."""
    a, b = score[positive], score[~positive]
    wa, wb = weight[positive], weight[~positive]
    if wa.sum() == 0 or wb.sum() == 0:
        return float("nan")
    order = np.argsort(b)
    below = np.concatenate([[0.0], np.cumsum(wb[order])])
    low, high = np.searchsorted(b[order], a, "left"), np.searchsorted(b[order], a, "right")
    return float((wa * (below[low] + below[high]) / 2).sum() / (wa.sum() * wb.sum()))


def _mean(values: Array | Bools, weight: Array) -> float:
    return float(weight @ values.astype(np.float64) / weight.sum()) if weight.sum() > 0 else float("nan")


def figures(s: Scored, times: Array | None = None, specimen: NDArray[np.intp] | None = None) -> dict[str, float]:
    """All figures; `times` (n,) draws of each row's author in a bootstrap; `specimen` (n,) indices."""
    at = np.unique(s.specimen, return_inverse=True)[1] if specimen is None else specimen
    t = np.ones(len(at)) if times is None else times
    is_face = (s.true_face >= 0) & (s.true_view == 0)

    def w(use: Bools) -> Array:
        return group_weight(at, use, t)

    def balanced(use: Bools, truth: NDArray[np.int8], answer: NDArray[np.intp], classes: int) -> float:
        each = [_mean(answer == c, w(use & (truth == c))) for c in range(classes)]
        known = [v for v in each if np.isfinite(v)]
        return float(np.mean(known)) if known else float("nan")

    y = np.maximum(s.true_face, 0)
    rows = np.arange(len(y))
    answer = s.face.argmax(axis=1)
    right = answer == s.true_face
    wood = s.face[:, SOLID] + s.face[:, VENEER]
    rest = s.face[:, PRINTED + 1 :].sum(axis=1)
    is_wood = (s.true_face == SOLID) | (s.true_face == VENEER)

    def pair(use: Bools, score: Array, positive: Bools) -> float:
        weight = w(use & positive) + w(use & ~positive)
        return auc(score[use], positive[use], weight[use])

    out = {
        "face: coverage (decided)": _mean(s.decided, w(is_face)),
        "face: right when decided": _mean(right, w(is_face & s.decided)),
        "face: balanced accuracy, forced": balanced(is_face, s.true_face, answer, len(FACES)),
        **{f"face: recall {c}, forced": _mean(right, w(is_face & (s.true_face == k))) for k, c in enumerate(FACES)},
        "face: confident and wrong (p>=0.9)": _mean((s.face.max(axis=1) >= 0.9) & ~right, w(is_face)),
        "called solid at p>=0.9, is not": _mean(s.face[:, SOLID] >= 0.9, w(is_face & (s.true_face != SOLID))),
        "face: log loss (uniform 1.792)": _mean(-np.log(np.maximum(1e-6, s.face[rows, y])), w(is_face)),
        "face: Brier (uniform 0.833)": _mean(((s.face - np.eye(len(FACES))[y]) ** 2).sum(axis=1), w(is_face)),
        "face: truth in set": _mean(s.face_set[rows, y], w(is_face)),
        "face: mean set size": _mean(s.face_set.sum(axis=1), w(is_face)),
        "AUC wood against print": pair(is_face & (is_wood | (s.true_face == PRINTED)),
                                       wood / np.maximum(1e-9, wood + s.face[:, PRINTED]), is_wood),
        "AUC wood against paint, board, other": pair(is_face & (s.true_face != PRINTED),
                                                     wood / np.maximum(1e-9, wood + rest), is_wood),
        "AUC solid against veneer": pair(is_face & is_wood, s.face[:, SOLID] / np.maximum(1e-9, wood), s.true_face == SOLID),
    }
    edges = (s.true_view > 0) & (s.true_core >= 0)
    out["core at edges: balanced, forced"] = balanced(edges, s.true_core, s.core.argmax(axis=1), len(CORES))
    out["core at edges: said visible"] = _mean(s.core_visible >= 0.5, w(edges))
    out["view: balanced"] = balanced(s.true_view >= 0, s.true_view, s.view, len(TARGETS["view"]))
    return out


def intervals(
    s: Scored, measure: Callable[..., dict[str, float]] = figures, rounds: int = 300, seed: int = 0
) -> dict[str, tuple[float, float]]:
    """95 % bootstrap interval of every figure, resampling authors whole."""
    authors, at = np.unique(s.author, return_inverse=True)
    specimen = np.unique(np.char.add(np.char.add(s.author, "/"), s.specimen), return_inverse=True)[1]
    rng = np.random.default_rng(seed)
    draws: dict[str, list[float]] = {}
    for _ in range(rounds):
        times = np.bincount(rng.integers(0, len(authors), len(authors)), minlength=len(authors))[at].astype(np.float64)
        for key, value in measure(s, times, specimen).items():
            if np.isfinite(value):
                draws.setdefault(key, []).append(value)
    return {k: (float(np.quantile(v, 0.025)), float(np.quantile(v, 0.975))) for k, v in draws.items() if len(v) > rounds / 3}

"""The taught decision on candidate bands: a few hundred small trees and a calibration, as plain arrays."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from vision.edges.find_numbers import NAMES
from vision.errors import ModelMismatch

MODEL: Final = Path(__file__).parent.parent / "models" / "strips.npz"
#: What the second step weighs for the likeliest band of each side: its own log odds, by how much it beats the next band of
#: that side at another depth, the best other side's log odds, and whether those two agree in depth.
SECOND: Final = ("own", "ahead", "other", "agree", "other_agrees")


@dataclass(frozen=True, eq=False)
class StripModel:
    """`feature`, `cut`, `left`, `right`, `value`: (trees, nodes), leaves pointing at themselves; `bias`: log odds before any
    tree; `steps`: depth of the deepest; `weights`: (1 + SECOND,) of the second step; `least`: chance to be told."""

    feature: NDArray[np.int16]
    cut: NDArray[np.float32]
    left: NDArray[np.int16]
    right: NDArray[np.int16]
    value: NDArray[np.float32]
    bias: float
    steps: int
    weights: NDArray[np.float64]
    least: float

    def log_odds(self, numbers: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) uncalibrated log odds of (n, len(NAMES)) numbers."""
        x = numbers.astype(np.float32)
        rows, trees = np.arange(len(x))[:, None], np.arange(len(self.feature))[None]
        at = np.zeros((len(x), len(self.feature)), np.intp)
        for _ in range(self.steps):
            f = self.feature[trees, at]
            at = np.where(x[rows, f] <= self.cut[trees, at], self.left[trees, at], self.right[trees, at]).astype(np.intp)
        return np.asarray(self.bias + self.value[trees, at].sum(axis=1, dtype=np.float64))

    def chance(self, second: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) calibrated chances of (n, len(SECOND)) numbers."""
        return np.asarray(1 / (1 + np.exp(-(self.weights[0] + second @ self.weights[1:]))))


def second_numbers(sides: NDArray[np.intp], odds: NDArray[np.float64], depth: NDArray[np.float64],
                   inside: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """(indices of the likeliest band of each side, (n, len(SECOND)) numbers) of bands with side number, log odds and depth px."""
    best = np.array([k[np.argmax(odds[k])] for k in (np.flatnonzero(sides == s) for s in np.unique(sides))], np.intp)
    out = np.zeros((len(best), len(SECOND)))
    for n, k in enumerate(best):
        rest = odds[(sides == sides[k]) & ((inside != inside[k]) | (np.abs(np.log(depth / depth[k])) > 0.35))]
        others = best[best != k]
        other, agree = -6.0, 0.0
        if len(others):
            o = others[np.argmax(odds[others])]
            other = float(odds[o])
            agree = float(np.exp(-abs(np.log(depth[o] / depth[k])) / 0.5) * (inside[o] == inside[k]))
        ahead = float(np.clip(odds[k] - rest.max(initial=-8.0), -3, 4))
        out[n] = np.clip(odds[k], -8, 8), ahead, np.clip(other, -6, 6), agree, agree * np.clip(other, -6, 6)
    return best, out


@lru_cache(maxsize=2)
def load_strip_model(path: Path = MODEL) -> StripModel:
    """The taught decision.

    Raises
    ------
    ModelMismatch
        if it was taught on other numbers.
    """
    with np.load(path, allow_pickle=False) as held:
        told = json.loads(str(held["told"]))
        if tuple(told["names"]) != NAMES or tuple(told["second"]) != SECOND:
            raise ModelMismatch(path.name, "It was taught on other numbers than the program's.", "Install the program again.")
        return StripModel(held["feature"], held["cut"], held["left"], held["right"], held["value"], float(told["bias"]),
                          int(told["steps"]), held["weights"], float(told["least"]))


def save_strip_model(model: StripModel, path: Path = MODEL) -> None:
    told = {"names": NAMES, "second": SECOND, "bias": model.bias, "steps": model.steps, "least": model.least}
    np.savez_compressed(path, feature=model.feature, cut=model.cut, left=model.left, right=model.right, value=model.value,
                        weights=model.weights, told=np.array(json.dumps(told)))

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
#: Arrays of trees in the file.
ARRAYS: Final = ("feature", "cut", "left", "right", "value")
#: What the second step weighs for the likeliest band of each side: its own log odds, by how much it beats the next band of
#: that side at another depth, the best other side's log odds, and whether those two agree in depth.
SECOND: Final = ("own", "ahead", "other", "agree", "other_agrees")


#: What the trees that tell whose a narrow side is weigh besides a band's numbers: its log odds, and the best log odds on sides
#: that face the other way (no panel shows two opposite narrow sides of its own) and on sides that face across.
OWN: Final = ("odds", "opposite", "across")


@dataclass(frozen=True, eq=False)
class Trees:
    """`feature`, `cut`, `left`, `right`, `value`: (trees, nodes), leaves pointing at themselves; `bias`: log odds before any
    tree; `steps`: depth of the deepest."""

    feature: NDArray[np.int16]
    cut: NDArray[np.float32]
    left: NDArray[np.int16]
    right: NDArray[np.int16]
    value: NDArray[np.float32]
    bias: float
    steps: int

    def log_odds(self, numbers: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) uncalibrated log odds of (n, numbers)."""
        x = numbers.astype(np.float32)
        trees, nodes = self.feature.shape
        row = (np.arange(len(x)) * x.shape[1])[:, None]
        tree = (np.arange(trees) * nodes)[None]
        x, feature, cut, left, right = x.ravel(), self.feature.ravel(), self.cut.ravel(), self.left.ravel(), self.right.ravel()
        at = np.broadcast_to(tree, (len(row), trees))
        for _ in range(self.steps):
            lower = x.take(row + feature.take(at)) <= cut.take(at)
            at = tree + np.where(lower, left.take(at), right.take(at))
        return np.asarray(self.bias + self.value.ravel().take(at).sum(axis=1, dtype=np.float64))


@dataclass(frozen=True, eq=False)
class StripModel:
    """`band`: log odds of a band from its numbers; `weights`: (1 + SECOND,) of the second step; `least`: chance to be told;
    `owner`: log odds that a narrow side is the panel's own, from numbers and OWN; `own_weights`: (2,) that calibrate these."""

    band: Trees
    weights: NDArray[np.float64]
    least: float
    owner: Trees
    own_weights: NDArray[np.float64]

    def log_odds(self, numbers: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) uncalibrated log odds of (n, len(NAMES)) numbers."""
        return self.band.log_odds(numbers)

    def chance(self, second: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) calibrated chances of (n, len(SECOND)) numbers."""
        return np.asarray(1 / (1 + np.exp(-(self.weights[0] + second @ self.weights[1:]))))

    def own_chance(self, numbers: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) calibrated chances that narrow sides are the panel's own, of (n, len(NAMES) + len(OWN)) numbers."""
        return np.asarray(1 / (1 + np.exp(-(self.own_weights[0] + self.own_weights[1] * self.owner.log_odds(numbers)))))


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


def own_numbers(numbers: NDArray[np.float64], odds: NDArray[np.float64], ways: NDArray[np.float64],
                wanted: NDArray[np.intp]) -> NDArray[np.float64]:
    """(n, len(NAMES) + len(OWN)) numbers of the `wanted` bands of one outline; `ways`: (bands, 2) unit vectors out."""
    out = np.zeros((len(wanted), len(OWN)))
    for n, k in enumerate(wanted):
        facing = ways @ ways[k]
        opposite, across = odds[facing < -0.7], odds[np.abs(facing) <= 0.7]
        out[n] = np.clip(odds[k], -8, 8), opposite.max(initial=-6.0), across.max(initial=-6.0)
    return np.concatenate([numbers[wanted], out], axis=1)


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
        if tuple(told["names"]) != NAMES or tuple(told["second"]) != SECOND or tuple(told.get("own", ())) != OWN:
            raise ModelMismatch(path.name, "It was taught on other numbers than the program's.", "Install the program again.")
        band, owner = (Trees(**{name: held[f"{part}_{name}"] for name in ARRAYS}, bias=float(told[part]["bias"]),
                             steps=int(told[part]["steps"])) for part in ("band", "owner"))
        return StripModel(band, held["weights"], float(told["least"]), owner, held["own_weights"])


def save_strip_model(model: StripModel, path: Path = MODEL) -> None:
    parts = {"band": model.band, "owner": model.owner}
    told = {"names": NAMES, "second": SECOND, "own": OWN, "least": model.least,
            **{part: {"bias": trees.bias, "steps": trees.steps} for part, trees in parts.items()}}
    arrays = {f"{part}_{name}": getattr(trees, name) for part, trees in parts.items() for name in ARRAYS}
    np.savez_compressed(path, weights=model.weights, own_weights=model.own_weights, told=np.array(json.dumps(told)), **arrays)

"""Naming a layout: what a small forest of decision trees makes of the measured numbers, weighed with the layout net's answer.

The forest is stored as JSON and read with numpy alone, the two weights beside it (training/layout_fit.py)."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from vision.errors import ModelMismatch
from vision.layouts.layout import LAYOUTS

MODEL = Path(__file__).parent.parent / "models" / "layouts.json"
#: Stands in for a number that could not be measured.
MISSING = -9.0
#: Added to the forest's shares, so that none is nothing.
SOFT = 1e-3
#: Layouts without any relation, which differ in joints, widths and tones alone: what tells them apart is judged by itself.
UNRELATED = ("boards", "random", "single")


@dataclass(frozen=True, eq=False)
class Forest:
    """Trees over named numbers. Each tree: `feature` (-1 at a leaf), `threshold` (go left when value <= threshold), `left`,
    `right` node indices, `leaf` (nodes, classes) class shares. `forest_weight`, `net_weight`: exponents of the two;
    `unrelated_weight`: exponent of the shares within UNRELATED, whose sum stays."""

    names: tuple[str, ...]
    classes: tuple[str, ...]
    trees: tuple[tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]], ...]
    forest_weight: float
    net_weight: float
    unrelated_weight: float

    def probabilities(self, values: Mapping[str, float], net: NDArray[np.float64]) -> dict[str, float]:
        """Class -> probability for one panel's numbers and the net's logarithms of probabilities in the order of LAYOUTS."""
        x = np.array([values[n] for n in self.names], np.float64)
        x[~np.isfinite(x)] = MISSING
        total = np.zeros(len(self.classes))
        for feature, threshold, left, right, leaf in self.trees:
            node = 0
            while feature[node] >= 0:
                node = int(left[node] if x[feature[node]] <= threshold[node] else right[node])
            total += leaf[node]
        told = net[[list(LAYOUTS).index(c) for c in self.classes]]
        logs = self.forest_weight * np.log(total / len(self.trees) + SOFT) + self.net_weight * told
        share = softened(np.exp(logs - logs.max()), self.classes, self.unrelated_weight)
        return {c: float(p) for c, p in zip(self.classes, share, strict=True)}


def softened(share: NDArray[np.float64], classes: tuple[str, ...], weight: float) -> NDArray[np.float64]:
    """Shares (..., classes) made to sum to 1, those of UNRELATED to the power `weight` among themselves."""
    p = share / share.sum(-1, keepdims=True)
    at = [classes.index(c) for c in UNRELATED]
    mine = p[..., at]
    inner = np.maximum(mine, 1e-300) ** weight
    p[..., at] = mine.sum(-1, keepdims=True) * inner / inner.sum(-1, keepdims=True)
    return np.asarray(p)


@lru_cache(maxsize=2)
def load_forest(path: Path = MODEL) -> Forest:
    """The stored forest.

    Raises
    ------
    ModelMismatch
        if the file is missing, broken or names layouts unknown here.
    """
    try:
        raw = json.loads(path.read_text())
        classes = tuple(raw["classes"])
        trees = []
        for t in raw["trees"]:
            feature = np.array(t["feature"], np.int64)
            leaf = np.zeros((len(feature), len(classes)))
            for node, shares in t["leaf"].items():
                for k, v in shares:
                    leaf[int(node), k] = v
            trees.append((feature, np.array(t["threshold"], np.float64), np.array(t["left"], np.int64),
                          np.array(t["right"], np.int64), leaf))
        forest = Forest(tuple(raw["names"]), classes, tuple(trees), float(raw["forest_weight"]),
                        float(raw["net_weight"]), float(raw["unrelated_weight"]))
    except (OSError, ValueError, KeyError, TypeError) as e:
        raise ModelMismatch("layout model", f"It cannot be read ({e}).", "Install the program again.") from e
    if set(forest.classes) != set(LAYOUTS):
        raise ModelMismatch("layout model", "It names other layouts than this program.", "Install the program again.")
    return forest

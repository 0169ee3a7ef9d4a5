"""Sums of small decision trees, read from plain lists: the part of a fitted question that no straight line can tell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

#: Steps from root to leaf at most; a file with deeper trees is damaged.
DEEPEST = 12


@dataclass(frozen=True, eq=False)
class Trees:
    """Nodes of all trees in one row of arrays. `roots`: (trees,) first node of each; `feature`: (nodes,) input looked at, -1
    in a leaf; `threshold`: an input not above it goes to node `left`, another to `right`; `value`: what a leaf adds.

    Raises
    ------
    ValueError
        if a node points nowhere or back, or a number is not finite.
    """

    base: float
    roots: NDArray[np.intp]
    feature: NDArray[np.intp]
    threshold: NDArray[np.float64]
    left: NDArray[np.intp]
    right: NDArray[np.intp]
    value: NDArray[np.float64]

    def __post_init__(self) -> None:
        n = len(self.feature)
        if not all(len(v) == n for v in (self.threshold, self.left, self.right, self.value)):
            raise ValueError("the trees' lists differ in length")
        inner = np.flatnonzero(self.feature >= 0)
        for way in (self.left, self.right):
            if len(inner) and ((way[inner] <= inner).any() or (way[inner] >= n).any()):
                raise ValueError("a tree's node points nowhere or back")
        if len(self.roots) and (self.roots.min() < 0 or self.roots.max() >= n):
            raise ValueError("a tree has no root")
        if not (np.isfinite(self.threshold).all() and np.isfinite(self.value).all() and np.isfinite(self.base)):
            raise ValueError("a tree holds numbers that are not finite")

    def score(self, inputs: NDArray[np.float64]) -> float:
        """`base` plus the leaf that `inputs` (n,) reaches in each tree."""
        if not len(self.roots):
            return self.base
        if self.feature.max() >= len(inputs):
            raise ValueError("a tree asks for an input that is not there")
        at = self.roots
        for _ in range(DEEPEST):
            inner = self.feature[at] >= 0
            if not inner.any():
                break
            low = inputs[np.maximum(self.feature[at], 0)] <= self.threshold[at]
            at = np.where(inner, np.where(low, self.left[at], self.right[at]), at)
        return self.base + float(self.value[at].sum())


def parse_trees(raw: Mapping[str, Any]) -> Trees:
    """Trees of decoded JSON; KeyError or ValueError when something is missing or wrong."""
    whole = {k: np.array(raw[k], dtype=np.intp) for k in ("roots", "feature", "left", "right")}
    return Trees(base=float(raw["base"]), threshold=np.array(raw["threshold"], dtype=np.float64),
                 value=np.array(raw["value"], dtype=np.float64), **whole)


def write_trees(base: float, trees: Sequence[Sequence[tuple[int, float, int, int, float]]]) -> dict[str, Any]:
    """JSON content of trees given as nodes (feature or -1, threshold, left, right, value), children numbered within a tree."""
    lists = ("roots", "feature", "threshold", "left", "right", "value")
    out: dict[str, Any] = {"base": round(base, 5), **{k: [] for k in lists}}
    for nodes in trees:
        start = len(out["feature"])
        out["roots"].append(start)
        for feature, threshold, left, right, value in nodes:
            leaf = feature < 0
            out["feature"].append(-1 if leaf else int(feature))
            out["threshold"].append(0.0 if leaf else float(threshold))
            out["left"].append(0 if leaf else start + int(left))
            out["right"].append(0 if leaf else start + int(right))
            out["value"].append(round(float(value), 5) if leaf else 0.0)
    return out

"""What is seen of an edge, named: four small forests on its numbers, the edge net and a linear rule on the image backbone's
embedding, joined into calibrated chances."""

from __future__ import annotations

import zipfile
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from vision.edges.kinds import STRIP_KINDS
from vision.edges.net import NetAnswer
from vision.edges.numbers import NAMES
from vision.errors import ModelMismatch

MODEL: Final = Path(__file__).parent.parent / "models" / "edges.npz"
FORMAT: Final = 3
#: Numbers of the backbone's embedding.
EMBEDDED: Final = 1280
#: Stands in for a number that could not be measured.
MISSING: Final = -99.0
#: Questions and their answers.
QUESTIONS: Final[dict[str, tuple[str, ...]]] = {
    "kind": tuple(STRIP_KINDS), "sheet": ("no", "yes"), "seam": ("no", "yes"), "continuous": ("no", "yes"),
}


@dataclass(frozen=True, eq=False)
class Forest:
    """Trees one after another: node k tests `feature[k]` <= `threshold[k]` and goes `left[k]` or `right[k]` (both -1 at a
    leaf); `share`: (nodes, answers) at leaves; `roots`: first node of each tree; `scale`, `offset`: of the log chances,
    which make them calibrated; `middle`, `spread`, `weights`, `bias`: a linear rule beside the trees, on numbers that are
    brought to unit spread (gaps at the middle), whose log chances are added; `limit`: chance from which a yes counts as found."""

    feature: NDArray[np.int64]
    threshold: NDArray[np.float64]
    left: NDArray[np.int64]
    right: NDArray[np.int64]
    share: NDArray[np.float64]
    roots: NDArray[np.int64]
    middle: NDArray[np.float64]
    spread: NDArray[np.float64]
    weights: NDArray[np.float64]
    bias: NDArray[np.float64]
    scale: float
    offset: NDArray[np.float64]
    limit: float = 0.5

    def trees(self, rows: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, answers) mean leaf shares of (n, features) rows without gaps."""
        rows = rows.astype(np.float32).astype(np.float64)  # as they were when the trees grew
        at = np.repeat(self.roots[None, :], len(rows), axis=0)  # every tree at once
        every = np.arange(len(rows))[:, None]
        while (inner := self.left[at] >= 0).any():
            go = rows[every, np.maximum(self.feature[at], 0)] <= self.threshold[at]
            at = np.where(inner, np.where(go, self.left[at], self.right[at]), at)
        return np.asarray(self.share[at].mean(axis=1))

    def linear(self, rows: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, answers) shares by the linear rule."""
        z = np.where(rows == MISSING, 0.0, np.clip((rows - self.middle) / self.spread, -5, 5)) @ self.weights + self.bias
        p = np.exp(z - z.max(axis=1, keepdims=True))
        return np.asarray(p / p.sum(axis=1, keepdims=True))

    def raw(self, rows: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, answers) summed log shares of trees and linear rule."""
        return np.asarray(np.log(self.trees(rows) + 0.01) + np.log(self.linear(rows) + 0.01))

    def chances(self, rows: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, answers) calibrated chances."""
        logs = self.scale * self.raw(rows) + self.offset
        logs -= logs.max(axis=1, keepdims=True)
        p = np.exp(logs)
        return np.asarray(p / p.sum(axis=1, keepdims=True))


@dataclass(frozen=True, eq=False)
class Look:
    """A linear rule on the embedding (EMBEDDED,) of an edge's crop: `weights` (EMBEDDED, answers), `bias` (answers,)."""

    weights: NDArray[np.float64]
    bias: NDArray[np.float64]

    def logs(self, embeddings: NDArray[np.floating]) -> NDArray[np.float64]:
        """(n, answers) log chances of (n, EMBEDDED) embeddings."""
        z = np.asarray(embeddings, np.float64) @ self.weights + self.bias
        z = z - z.max(axis=1, keepdims=True)
        p = np.exp(z)
        return np.asarray(np.log(p / p.sum(axis=1, keepdims=True) + 1e-4))


@dataclass(frozen=True, eq=False)
class Join:
    """How the three answer together: log chances are `net` times the net's plus `hand` times the forest's plus `look` times
    the linear rule's plus `offset` (answers,), and softmax of that is the calibrated chance; `limit`: chance from which a yes
    counts as found."""

    net: float
    hand: float
    look: float
    offset: NDArray[np.float64]
    limit: float = 0.5

    def chances(self, net: NDArray[np.float64], hand: NDArray[np.float64], look: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, answers) chances of (n, answers) log chances of the three."""
        logs = self.net * net + self.hand * hand + self.look * look + self.offset
        p = np.exp(logs - logs.max(axis=1, keepdims=True))
        return np.asarray(p / p.sum(axis=1, keepdims=True))


@dataclass(frozen=True, eq=False)
class Seen:
    """What learned eyes make of an edge: the net's answer, and the embedding (EMBEDDED,) of its crop."""

    net: NetAnswer
    embedding: NDArray[np.floating]


@dataclass(frozen=True, eq=False)
class EdgeModel:
    """`forests`, `looks` and `joins`: by question; without joins the forests answer alone and nothing else is asked."""

    forests: dict[str, Forest]
    looks: dict[str, Look] = field(default_factory=dict)
    joins: dict[str, Join] = field(default_factory=dict)

    def answer(self, question: str, values: dict[str, float], seen: Seen | None = None) -> dict[str, float]:
        """Chance of each answer, given numbers by name and what learned eyes make of the edge."""
        row = as_row(values)[None, :]
        if seen is None or question not in self.joins:
            p = self.forests[question].chances(row)[0]
        else:
            p = self.joins[question].chances(seen.net.logs(question)[None, :], self.forests[question].raw(row),
                                             self.looks[question].logs(seen.embedding[None, :]))[0]
        return {a: float(v) for a, v in zip(QUESTIONS[question], p, strict=True)}

    def limit(self, question: str, seen: Seen | None = None) -> float:
        """Chance from which a yes counts as found."""
        return self.forests[question].limit if seen is None or question not in self.joins else self.joins[question].limit


def as_row(values: dict[str, float]) -> NDArray[np.float64]:
    """Numbers in the model's order, gaps filled."""
    row = np.array([values[name] for name in NAMES], np.float64)
    return np.where(np.isfinite(row), np.clip(row, -1e4, 1e4), MISSING)


@lru_cache(maxsize=2)
def load_edge_model(path: Path = MODEL) -> EdgeModel:
    """The stored forests.

    Raises
    ------
    ModelMismatch
        if the file is missing or damaged, or was made for other numbers or answers.
    """
    try:
        with np.load(path, allow_pickle=False) as stored:
            version, names = int(stored["format"]), tuple(str(v) for v in stored["names"])
            answers = {q: tuple(str(v) for v in stored[f"{q}_answers"]) for q in QUESTIONS}
            forests = {q: _forest(stored, q) for q in QUESTIONS}
            joins = {q: _join(np.asarray(stored[f"{q}_join"], np.float64), q) for q in QUESTIONS if f"{q}_join" in stored}
            looks = {q: _look(np.asarray(stored[f"{q}_look"], np.float64), q) for q in joins}
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile) as e:
        raise ModelMismatch("edge model", f"It cannot be read ({e}).", "Install the program again.") from e
    if version != FORMAT or names != NAMES or answers != QUESTIONS:
        raise ModelMismatch("edge model", "It was made for other measurements.", "Install the program again.")
    return EdgeModel(forests, looks, joins)


def _look(values: NDArray[np.float64], question: str) -> Look:
    if values.shape != (EMBEDDED + 1, len(QUESTIONS[question])) or not np.isfinite(values).all():
        raise ValueError(f"the rule on the embedding for {question} does not hang together")
    return Look(values[:-1], values[-1])


def _join(values: NDArray[np.float64], question: str) -> Join:
    if values.shape != (4 + len(QUESTIONS[question]),) or not np.isfinite(values).all():
        raise ValueError(f"the joining of {question} does not hang together")
    return Join(float(values[0]), float(values[1]), float(values[2]), values[4:], float(values[3]))


def _forest(stored: np.lib.npyio.NpzFile, question: str) -> Forest:
    kept = "feature", "threshold", "left", "right", "share", "roots", "middle", "spread", "weights", "bias", "scale", \
        "offset", "limit"
    parts = {name: np.asarray(stored[f"{question}_{name}"]) for name in kept}
    whole = {k: parts[k].astype(np.int64) for k in ("feature", "left", "right", "roots")}
    real = {k: parts[k].astype(np.float64) for k in ("threshold", "share", "middle", "spread", "weights", "bias", "offset")}
    forest = Forest(whole["feature"], real["threshold"], whole["left"], whole["right"], real["share"], whole["roots"],
                    real["middle"], real["spread"], real["weights"], real["bias"], float(parts["scale"]), real["offset"],
                    float(parts["limit"]))
    nodes, answers = forest.share.shape
    sizes = {len(forest.feature), len(forest.threshold), len(forest.left), len(forest.right)}
    inside = max(int(forest.left.max()), int(forest.right.max())) < nodes and int(forest.feature.max()) < len(NAMES)
    line = forest.weights.shape == (len(NAMES), answers) and len(forest.middle) == len(forest.spread) == len(NAMES)
    if sizes != {nodes} or not len(forest.roots) or not inside or not line or not np.isfinite(forest.share).all():
        raise ValueError(f"the parts of {question} do not hang together")
    return forest

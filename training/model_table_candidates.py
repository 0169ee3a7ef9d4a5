"""Other ways to turn a panel's numbers into evidence, to be set beside the shipped stack of experts.

Each is taught on the same panels with the same weights (classes made even) and gives evidence in nats about the classes,
centred, under an even prior. Their settings (a penalty, a number of trees) are chosen by `training.model_table_folds` on authors
left out.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from training.experts import MARK_MISSING, Array, Preparation

CONFIG = Path(__file__).resolve().parent / "config" / "model_table.json"
Numbers = NDArray[np.float32]
#: What a fitted candidate is: numbers (n, k) to evidence (n, classes), nats.
Evidence = Callable[[Numbers], Array]


@dataclass(frozen=True)
class Boosting:
    """Settings of boosted trees: numbers of `trees` to choose from, `depth`, `rate`, shares of `features` tried at a split
    and of `rows` shown to a tree, and least rows in a `leaf`."""

    trees: tuple[int, ...]
    depth: int
    rate: float
    features: float
    rows: float
    leaf: int


@dataclass(frozen=True)
class Settings:
    """`knots`: quantiles at which shape functions bend; `penalties`: ridges to choose from; `rounds`: bootstrap draws."""

    inner_folds: int
    rounds: int
    knots: tuple[float, ...]
    penalties: tuple[float, ...]
    boosting: Boosting


def _tuples(raw: dict[str, Any]) -> dict[str, Any]:
    return {k: tuple(v) if isinstance(v, list) else v for k, v in raw.items()}


def load_settings(path: Path = CONFIG) -> Settings:
    """The committed settings.

    Raises
    ------
    ValueError
        for an unknown or missing one.
    """
    raw: dict[str, Any] = _tuples(json.loads(path.read_text(encoding="utf-8")))
    try:
        boosting: dict[str, Any] = _tuples(raw.pop("boosting"))
        return Settings(**raw, boosting=Boosting(**boosting))
    except (TypeError, KeyError) as err:
        raise ValueError(f"{path.name}: {err}") from err


def centre(scores: Array) -> Array:
    """Scores (n, classes) less their mean over the classes: what is the same for all classes is no evidence."""
    return np.asarray(scores - scores.mean(axis=1, keepdims=True))


class Candidate(Protocol):
    """A way to learn evidence from numbers."""

    @property
    def name(self) -> str:
        """What it is called in the table."""
        ...

    def fit(self, x: Numbers, labels: NDArray[np.int8], weight: Array, classes: int, plain: int) -> list[Evidence]:
        """One fitted candidate a setting, in the order of the settings.

        `x` (n, k), nan = missing, rows that count only; `weight` (n,) sums to 1; the first `plain` columns are measured features,
        the rest numbers of a look, which are on one scale already."""
        ...


@dataclass(frozen=True)
class Linear:
    """One logistic regression on everything, with the squares and marks of what is missing that the experts have too."""

    penalties: Sequence[float]
    name: str = "one logistic regression"

    def fit(self, x: Numbers, labels: NDArray[np.int8], weight: Array, classes: int, plain: int) -> list[Evidence]:
        """See `Candidate.fit`."""
        prepared = Preparation.fit(x[:, :plain], weight)
        return _ridges(lambda v: np.hstack([prepared(v[:, :plain]), v[:, plain:].astype(np.float64)]),
                       x, labels, weight, classes, self.penalties)


@dataclass(frozen=True, eq=False)
class Shapes:
    """Design of piecewise linear shape functions: `knots` (bends, k) growing along the first axis, `marked` columns."""

    knots: Array
    marked: NDArray[np.intp]

    @staticmethod
    def fit(x: Numbers, quantiles: Sequence[float]) -> Shapes:
        """Knots at quantiles of what is known; a column that is never known is flat."""
        known = np.where(np.isfinite(x), x, np.nan).astype(np.float64)
        some = np.isfinite(known).any(axis=0)
        knots = np.zeros((len(quantiles), x.shape[1]))
        knots[:, some] = np.nanquantile(known[:, some], quantiles, axis=0)
        share = np.isnan(known).mean(axis=0)
        return Shapes(knots, np.flatnonzero((share >= MARK_MISSING) & (share < 1)))

    def __call__(self, x: Numbers) -> Array:
        """(n, k (bends - 1) + marked): how far along each stretch between two knots a number lies, -1/2 to 1/2 (missing: 0)."""
        v = x.astype(np.float64)
        missing = ~np.isfinite(v)
        v = np.where(missing, 0.0, v)
        parts = []
        for low, high in zip(self.knots[:-1], self.knots[1:], strict=True):
            width = high - low
            at = np.where(width > 1e-9, np.clip((v - low) / np.where(width > 1e-9, width, 1.0), 0.0, 1.0) - 0.5, 0.0)
            at[missing] = 0.0
            parts.append(at)
        return np.hstack([*parts, missing[:, self.marked].astype(np.float64)])


@dataclass(frozen=True)
class Additive:
    """A shape function a measured feature (piecewise linear, ridge), a straight line a number of a look; no interaction."""

    penalties: Sequence[float]
    knots: Sequence[float]
    name: str = "additive, a shape function each"

    def fit(self, x: Numbers, labels: NDArray[np.int8], weight: Array, classes: int, plain: int) -> list[Evidence]:
        """See `Candidate.fit`."""
        shapes = Shapes.fit(x[:, :plain], self.knots)
        return _ridges(lambda v: np.hstack([shapes(v[:, :plain]), v[:, plain:].astype(np.float64)]),
                       x, labels, weight, classes, self.penalties)


def _ridges(
    design: Callable[[Numbers], Array], x: Numbers, labels: NDArray[np.int8], weight: Array, classes: int,
    penalties: Sequence[float],
) -> list[Evidence]:
    """Logistic regressions on one design that minimise the weighted mean log loss + penalty / 2 * sum of squared coefficients.

    With fewer rows than columns the rows' own span holds the solution: the same ridge there is the same problem, only smaller.
    """
    from sklearn.linear_model import LogisticRegression

    d = design(x)
    turn = np.linalg.svd(d, full_matrices=False)[2].T if len(d) < d.shape[1] else None
    inner = d if turn is None else d @ turn
    found: list[Evidence] = []
    for penalty in penalties:
        fitted = LogisticRegression(C=1 / penalty, tol=1e-5, max_iter=1000).fit(inner, labels, sample_weight=weight)
        coef = fitted.coef_.T if turn is None else turn @ fitted.coef_.T

        def evidence(v: Numbers, coef: Array = coef, bias: Array = fitted.intercept_, known: Array = fitted.classes_) -> Array:
            return _every_class(design(v) @ coef + bias, known, classes)

        found.append(evidence)
    return found


@dataclass(frozen=True)
class Boosted:
    """Boosted regression trees, deep enough that features act together."""

    settings: Boosting
    seed: int
    name: str = "boosting with interactions"

    def fit(self, x: Numbers, labels: NDArray[np.int8], weight: Array, classes: int, plain: int) -> list[Evidence]:
        """See `Candidate.fit`."""
        from sklearn.ensemble import GradientBoostingClassifier

        s = self.settings
        prepared = Preparation.fit(x[:, :plain], weight)

        def design(v: Numbers) -> Numbers:
            known = prepared(v[:, :plain])
            # Trees need no squares: plain numbers and the marks of what is missing.
            return np.hstack([known[:, :plain], known[:, 2 * plain:], v[:, plain:]]).astype(np.float32)

        trees = GradientBoostingClassifier(
            n_estimators=max(s.trees), learning_rate=s.rate, max_depth=s.depth, max_features=s.features, subsample=s.rows,
            min_samples_leaf=s.leaf, random_state=self.seed)
        trees.fit(design(x), labels, sample_weight=weight / weight.mean())

        def stage(trees_used: int) -> Evidence:
            def evidence(v: Numbers) -> Array:
                staged = islice(trees.staged_decision_function(design(v)), trees_used - 1, None)
                return _every_class(np.asarray(next(staged), dtype=np.float64), trees.classes_, classes)
            return evidence

        return [stage(n) for n in s.trees]


def _every_class(scores: Array, known: Sequence[int] | Array, classes: int) -> Array:
    """Scores of the classes that were taught as evidence on all; nothing is said of a class that never was."""
    if scores.ndim == 1 or scores.shape[1] == 1:  # two classes come as one column
        scores = np.stack([-scores.ravel() / 2, scores.ravel() / 2], axis=1)
    out = np.zeros((len(scores), classes))
    out[:, np.asarray(known, dtype=np.intp)] = centre(scores)
    return out


def candidates(settings: Settings, seed: int) -> tuple[Candidate, ...]:
    """Those set beside the shipped stack."""
    return (Additive(settings.penalties, settings.knots), Boosted(settings.boosting, seed), Linear(settings.penalties))

"""Command: `python -m training.edge_fit --photos DIR`: fits the edge model on made pictures and writes vision/models/edges.npz.

Forests of randomised trees with balanced answers; their chances are brought to scale on trees that never saw the group
(photographer or seed) of an edge. Made pictures are of the part 'tune' only; outlined real edges of the
collection are added to the question of the kind, each counting as often as REAL_WEIGHT says.
"""

from __future__ import annotations

import argparse
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.edge_rows import Row, made_rows, real_rows
from vision.edges.kinds import STRIP_KINDS
from vision.edges.naming import FORMAT, MISSING, MODEL, QUESTIONS, EdgeModel, Forest
from vision.edges.numbers import NAMES

TREES, LEAF, FOLDS = 80, 2, 4
#: How often a real edge counts beside a made one.
REAL_WEIGHT = 3
#: Freedom of the linear rule beside the trees.
RIDGE = 0.03
#: False alarms of the thin layer that its limit allows on groups held out.
ALARMS = 0.012
#: Builds without any sheet on their narrow side. A plywood's own face ply is one, so plywood is none of them.
NO_SHEET = ("solid_edge", "solid_end", "glued_end", "stringing", "bare_particle", "bare_fibre", "band_wood", "band_print",
            "band_plain", "band_laminate", "band_end_print", "book_arris", "painted")
#: Sheets thinner than this in the picture are not taught as seen.
LEAST_SHEET_PX = 1.5

Floats = NDArray[np.float64]


def answers(rows: Sequence[Row], question: str) -> list[int | None]:
    """Index of the true answer of every row, None where the question does not arise."""
    return [_answer(r, question) for r in rows]


def _answer(row: Row, question: str) -> int | None:
    t = row.truth
    if question == "kind":
        return list(STRIP_KINDS).index(row.strip)
    if t is None or t.strip == "other":
        return None
    if question == "seam":
        return int(t.seam)
    if question == "continuous":
        return None if t.continuous is None or t.build == "lipping" else int(t.continuous)
    if t.face_mm > 0:
        return 1 if t.face_px >= LEAST_SHEET_PX else None
    return 0 if t.build in NO_SHEET else None


def grow(x: Floats, y: NDArray[np.intp], count: int, seed: int) -> Any:
    from sklearn.ensemble import ExtraTreesClassifier

    forest = ExtraTreesClassifier(n_estimators=TREES, min_samples_leaf=LEAF, max_features=0.25, class_weight="balanced",
                                  random_state=seed, n_jobs=1)
    forest.fit(np.r_[x, np.zeros((count, x.shape[1]))], np.r_[y, np.arange(count)],  # every answer occurs at least once
               sample_weight=np.r_[np.ones(len(x)), np.full(count, 1e-6)])
    return forest


Linear = tuple[Floats, Floats, Floats, Floats]


def draw_line(x: Floats, y: NDArray[np.intp], count: int) -> Linear:
    """(middle, spread, weights, bias) of a ridge-bound logistic rule; answers count alike."""
    from sklearn.linear_model import LogisticRegression

    gaps = np.where(x == MISSING, np.nan, x)
    middle = np.nan_to_num(np.nanmedian(gaps, axis=0))
    spread = np.maximum(np.nan_to_num(np.nanstd(np.clip(gaps, *np.nanpercentile(gaps, (2, 98), axis=0)), axis=0)), 1e-3)
    z = np.where(x == MISSING, 0.0, np.clip((x - middle) / spread, -5, 5))
    rule = LogisticRegression(C=RIDGE, max_iter=500, class_weight="balanced").fit(z, y)
    weights, bias = np.zeros((x.shape[1], count)), np.full(count, -20.0)
    if len(rule.classes_) == 2:
        weights[:, rule.classes_[1]], bias[rule.classes_] = rule.coef_[0], [0.0, rule.intercept_[0]]
    else:
        weights[:, rule.classes_], bias[rule.classes_] = rule.coef_.T, rule.intercept_
    return middle, spread, weights, bias


def as_forest(grown: Any, line: Linear, *, scale: float = 1.0, offset: Floats | None = None, limit: float = 0.5) -> Forest:
    """A grown forest in the form that the program reads."""
    parts: dict[str, list[NDArray[Any]]] = {k: [] for k in ("feature", "threshold", "left", "right", "share")}
    roots, start = [], 0
    for tree in (e.tree_ for e in grown.estimators_):
        roots.append(start)
        leaf = tree.children_left < 0
        parts["feature"].append(np.where(leaf, 0, tree.feature))
        parts["threshold"].append(np.where(leaf, 0.0, tree.threshold))
        parts["left"].append(np.where(leaf, -1, tree.children_left + start))
        parts["right"].append(np.where(leaf, -1, tree.children_right + start))
        value = tree.value[:, 0, :]
        parts["share"].append(np.where(leaf[:, None], value / value.sum(axis=1, keepdims=True), 0.0))
        start += tree.node_count
    count = parts["share"][0].shape[1]
    whole = {k: np.concatenate(v) for k, v in parts.items()}
    return Forest(whole["feature"], whole["threshold"], whole["left"], whole["right"], whole["share"], np.array(roots),
                  *line, scale, np.zeros(count) if offset is None else offset, limit)


def fit_question(rows: Sequence[Row], question: str, seed: int = 1) -> Forest:
    """One calibrated forest."""
    known = [(r, a) for r, a in zip(rows, answers(rows, question), strict=True) if a is not None]
    x = np.stack([r.values for r, _ in known])
    y = np.array([a for _, a in known])
    count = len(QUESTIONS[question])
    groups = np.unique([r.group for r, _ in known], return_inverse=True)[1]
    fold = np.random.default_rng(seed).permutation(int(groups.max()) + 1)[groups] % FOLDS
    held = np.zeros((len(y), count))
    for k in range(FOLDS):
        a, b = x[fold != k], y[fold != k]
        held[fold == k] = as_forest(grow(a, b, count, seed), draw_line(a, b, count)).raw(x[fold == k])
    scale, offset = _calibrate(held, y)
    limit = 0.5
    if question == "sheet":
        odds = scale * held + offset
        chance = 1 / (1 + np.exp(odds[:, 0] - odds[:, 1]))
        limit = max(0.5, float(np.quantile(chance[y == 0], 1 - ALARMS)))
    return as_forest(grow(x, y, count, seed), draw_line(x, y, count), scale=scale, offset=offset, limit=limit)


def _calibrate(logs: Floats, y: NDArray[np.intp]) -> tuple[float, Floats]:
    """Scale and offsets of log shares that make them most likely, every answer counting alike."""
    from scipy.optimize import minimize

    count = logs.shape[1]
    weight = 1 / np.maximum(np.bincount(y, minlength=count), 1)[y] / count

    def cost(p: Floats) -> float:
        z = np.exp(p[0]) * logs + np.r_[p[1:], 0.0]
        top = z.max(axis=1, keepdims=True)
        log_sum = np.log(np.exp(z - top).sum(axis=1)) + top[:, 0]
        return float((weight * (log_sum - z[np.arange(len(y)), y])).sum() + 0.02 * (p[1:] ** 2).sum())

    best = minimize(cost, np.zeros(count), method="L-BFGS-B").x
    return float(np.exp(best[0])), np.r_[best[1:], 0.0]


def with_real(rows: Sequence[Row], real: Sequence[Row]) -> list[Row]:
    """Made edges, and every real one REAL_WEIGHT times."""
    return [*rows, *(r for r in real for _ in range(REAL_WEIGHT))]


def fit(rows: Sequence[Row], real: Sequence[Row] = ()) -> EdgeModel:
    """All questions; real edges bear on the kind alone."""
    return EdgeModel({q: fit_question(with_real(rows, real) if q == "kind" else rows, q) for q in QUESTIONS})


def store(model: EdgeModel, path: Path = MODEL) -> None:
    """Writes a model; equal models give equal files."""
    parts: dict[str, NDArray[Any]] = {"format": np.array(FORMAT), "names": np.array(NAMES)}
    for question, forest in model.forests.items():
        parts[f"{question}_answers"] = np.array(QUESTIONS[question])
        for name, kind in (("feature", np.int16), ("threshold", np.float64), ("left", np.int32), ("right", np.int32),
                           ("share", np.float16), ("roots", np.int32), ("middle", np.float64), ("spread", np.float64),
                           ("weights", np.float64), ("bias", np.float64), ("scale", np.float64), ("offset", np.float64),
                           ("limit", np.float64)):
            parts[f"{question}_{name}"] = np.asarray(getattr(forest, name), kind)
    buffer = io.BytesIO()
    np.savez_compressed(buffer, **parts)  # type: ignore[arg-type]
    path.write_bytes(buffer.getvalue())


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=Path, required=True, help="photo collection, for real figure on made faces")
    parser.add_argument("--each", type=int, default=12, help="pictures of every kind and setting")
    parser.add_argument("--out", type=Path, default=MODEL)
    chosen = parser.parse_args(arguments)
    rows = list(made_rows("tune", chosen.each, chosen.photos))
    real = real_rows(chosen.photos)
    store(fit(rows, real), chosen.out)
    print(f"{len(rows)} made and {len(real)} real edges, {chosen.out.stat().st_size / 1024:.0f} KiB")


if __name__ == "__main__":
    main()

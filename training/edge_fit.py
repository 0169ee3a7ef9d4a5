"""Command: `python -m training.edge_fit --photos DIR`: fits the rules by hand and joins them with the edge net's answer.

Forests of randomised trees with a linear rule, and a linear rule on the image backbone's embedding, answers balanced, on made
pictures of the part 'teach' (and outlined real edges for the kind, each as often as REAL_WEIGHT says). On pictures of the part
'stage', which neither they nor the net saw, three weights and an offset join them with the net. Then one temperature, found on
real edges by nets and rules that saw nothing of their photographer, is laid over all questions, since chances fitted on made
pictures are too sure of real ones.
Run `python -m training.edge_net` first (its head tells how) and bring its rows back with `--rows FOLDER`.
"""

from __future__ import annotations

import argparse
import io
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.edge_rows import FOLDS, Row, fold_of_group, made_rows, real_rows, unpack
from training.edges.examples import one_piece_answer, seam_answer, sheet_answer
from training.edges.sets import PER_KIND
from vision.edges.kinds import STRIP_KINDS
from vision.edges.naming import FORMAT, MISSING, MODEL, QUESTIONS, EdgeModel, Forest, Join, Look
from vision.edges.net import NetAnswer
from vision.edges.numbers import NAMES

TREES, LEAF = 60, 5
#: How often a real edge counts beside a made one.
REAL_WEIGHT = 3
#: Freedom of the linear rule beside the trees.
RIDGE = 0.03
#: Freedom of the linear rule on the embedding.
LOOK_RIDGE = 0.003
#: False alarms of the thin layer that its limit allows on the part 'stage'.
ALARMS = 0.015

Floats = NDArray[np.float64]
Real = Sequence[tuple[Row, NetAnswer]]


def answers(rows: Sequence[Row], question: str) -> list[int | None]:
    """Index of the true answer of every row, None where the question does not arise."""
    return [_answer(r, question) for r in rows]


def _answer(row: Row, question: str) -> int | None:
    if question == "kind":
        return list(STRIP_KINDS).index(row.strip)
    if row.truth is None:
        return None
    ask = {"sheet": sheet_answer, "seam": seam_answer, "continuous": one_piece_answer}
    return ask[question](row.truth)


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


def fit_forest(rows: Sequence[Row], question: str, seed: int = 1) -> Forest:
    """Trees and linear rule of one question."""
    known = [(r, a) for r, a in zip(rows, answers(rows, question), strict=True) if a is not None and r.numbers is not None]
    x = np.stack([r.values for r, _ in known])
    y = np.array([a for _, a in known])
    count = len(QUESTIONS[question])
    return as_forest(grow(x, y, count, seed), draw_line(x, y, count))


def fit_look(rows: Sequence[Row], question: str) -> Look:
    """Linear rule on embeddings; answers count alike."""
    from sklearn.linear_model import LogisticRegression

    known = [(r, a) for r, a in zip(rows, answers(rows, question), strict=True) if a is not None]
    x = embeddings([r for r, _ in known])
    middle, spread = x.mean(axis=0), x.std(axis=0) + 1e-6
    rule = LogisticRegression(C=LOOK_RIDGE, max_iter=200, class_weight="balanced")
    rule.fit(((x - middle) / spread).astype(np.float32), [a for _, a in known])
    count = len(QUESTIONS[question])
    weights, bias = np.zeros((x.shape[1], count)), np.full(count, -20.0)
    if len(rule.classes_) == 2:
        weights[:, rule.classes_[1]], bias[rule.classes_] = rule.coef_[0], [0.0, rule.intercept_[0]]
    else:
        weights[:, rule.classes_], bias[rule.classes_] = rule.coef_.T, rule.intercept_
    weights = weights / spread[:, None]
    return Look(weights, bias - middle @ weights)


def embeddings(rows: Sequence[Row]) -> Floats:
    return np.stack([r.embedding for r in rows]).astype(np.float64)


def calibrate(voices: Sequence[Floats], y: NDArray[np.intp]) -> Join:
    """Weights and offsets of log chances (n, answers) by net, forest and look that make the truth most likely, every answer
    counting alike."""
    from scipy.optimize import minimize

    count, n = voices[0].shape[1], len(voices)
    weight = 1 / np.maximum(np.bincount(y, minlength=count), 1)[y] / count

    def cost(p: Floats) -> float:
        z = sum(np.exp(p[i]) * v for i, v in enumerate(voices)) + np.r_[p[n:], 0.0]
        top = z.max(axis=1, keepdims=True)
        log_sum = np.log(np.exp(z - top).sum(axis=1)) + top[:, 0]
        return float((weight * (log_sum - z[np.arange(len(y)), y])).sum() + 0.02 * (p[n:] ** 2).sum())

    best = minimize(cost, np.r_[np.full(n, -0.7), np.zeros(count - 1)], method="L-BFGS-B",
                    bounds=[(-7.0, 2.0)] * n + [(None, None)] * (count - 1)).x
    net, hand, look = np.exp(best[:n])
    return Join(float(net), float(hand), float(look), np.r_[best[n:], 0.0])


def temperature(chances: Floats, y: NDArray[np.intp]) -> float:
    """Share (0.1 to 1) that log chances are multiplied with so that the truth is most likely."""
    shares = np.linspace(0.1, 1.0, 91)
    z = shares[:, None, None] * np.log(np.maximum(chances, 1e-12))
    loss = np.log(np.exp(z).sum(axis=2)) - z[:, np.arange(len(y)), y]
    return float(shares[int(loss.mean(axis=1).argmin())])


def tempered(join: Join, share: float) -> Join:
    return replace(join, net=join.net * share, hand=join.hand * share, look=join.look * share, offset=join.offset * share)


def logs_of(rows: Sequence[Row], question: str) -> Floats:
    """(n, answers) log chances by the net."""
    return np.stack([r.net.logs(question) for r in rows if r.net is not None])


def voices_of(rows: Sequence[Row], question: str, forest: Forest, look: Look) -> tuple[Floats, Floats, Floats]:
    """(n, answers) log chances by net, forest and look."""
    return logs_of(rows, question), forest.raw(np.stack([r.values for r in rows])), look.logs(embeddings(rows))


def join_on(rows: Sequence[Row], question: str, forest: Forest, look: Look) -> Join:
    """The three joined on rows that none of them saw."""
    known = [(r, a) for r, a in zip(rows, answers(rows, question), strict=True) if a is not None]
    return calibrate(voices_of([r for r, _ in known], question, forest, look), np.array([a for _, a in known]))


def with_real(rows: Sequence[Row], real: Sequence[Row]) -> list[Row]:
    """Made edges, and every real one REAL_WEIGHT times."""
    return [*rows, *(r for r in real for _ in range(REAL_WEIGHT))]


def held_out_real(teach: Sequence[Row], stage: Sequence[Row], real: Real) -> Floats:
    """(n, kinds) chances of the kind of every real edge before tempering, by net and forest that saw nothing of its
    photographer."""
    fold = np.array([fold_of_group(r.group) for r, _ in real])
    out = np.zeros((len(real), len(STRIP_KINDS)))
    for k in range(FOLDS):
        if (fold == k).any():
            taught = with_real(teach, [r for (r, _), f in zip(real, fold, strict=True) if f != k])
            forest, look = fit_forest(taught, "kind"), fit_look(taught, "kind")
            some = [r for (r, _), f in zip(real, fold, strict=True) if f == k]
            out[fold == k] = join_on(stage, "kind", forest, look).chances(*voices_of(some, "kind", forest, look))
    return out


def fit(teach: Sequence[Row], stage: Sequence[Row], real: Real = ()) -> EdgeModel:
    """All questions; real edges bear on the kind and on the temperature alone."""
    edges = [r for r, _ in real]
    share = 1.0
    if real:
        share = temperature(held_out_real(teach, stage, real), np.array([list(STRIP_KINDS).index(r.strip) for r in edges]))
    model = EdgeModel({}, {}, {})
    for q in QUESTIONS:
        taught = with_real(teach, edges) if q == "kind" else teach
        model.forests[q], model.looks[q] = fit_forest(taught, q), fit_look(taught, q)
        model.joins[q] = tempered(join_on(stage, q, model.forests[q], model.looks[q]), share)
    without = [r for r, a in zip(stage, answers(stage, "sheet"), strict=True) if a == 0]
    limit = float(np.quantile(chances_of(model, without, "sheet")[:, 1], 1 - ALARMS))
    model.joins["sheet"] = replace(model.joins["sheet"], limit=limit)
    return model


def chances_of(model: EdgeModel, rows: Sequence[Row], question: str) -> Floats:
    """(n, answers) calibrated chances."""
    return model.joins[question].chances(*voices_of(rows, question, model.forests[question], model.looks[question]))


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
    for question, join in model.joins.items():
        parts[f"{question}_join"] = np.r_[join.net, join.hand, join.look, join.limit, join.offset]
        look = model.looks[question]
        parts[f"{question}_look"] = np.r_[look.weights, look.bias[None]].astype(np.float32)
    buffer = io.BytesIO()
    np.savez_compressed(buffer, **parts)  # type: ignore[arg-type]
    path.write_bytes(buffer.getvalue())


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, help="photo collection, for figure where pictures are not in the cache")
    parser.add_argument("--rows", type=Path, help="folder with rows that the net's teaching left, to take in first")
    parser.add_argument("--each", type=int, default=PER_KIND["teach"], help="taught pictures of every kind and setting")
    parser.add_argument("--out", type=Path, default=MODEL)
    chosen = parser.parse_args(arguments)
    if chosen.rows is not None:
        unpack(chosen.rows)
    teach = list(made_rows("teach", chosen.each, chosen.photos))
    stage, real = list(made_rows("stage", PER_KIND["stage"], chosen.photos)), real_rows()
    model = fit(teach, stage, real)
    store(model, chosen.out)
    for question, join in model.joins.items():
        print(f"{question}: net {join.net:.2f}, by hand {join.hand:.2f}, embedding {join.look:.2f}, limit {join.limit:.2f}")
    print(f"{len(teach)} taught, {len(stage)} joining and {len(real)} real edges, {chosen.out.stat().st_size / 1024:.0f} KiB")


if __name__ == "__main__":
    main()

"""Teach the naming of layouts: a small forest over measured numbers, and how much it and the layout net weigh together.

    python -m training.layout_fit PHOTOS [--textures FOLDER] --judge layouts_0.onnx [--each N] [--workers N]

Only figures of the part 'tune' are used. The forest is cross-validated by who took the figure; the net's answers come from a
net that never saw a third of them (training/layout_net.py), and on that third alone are the two weights set, so that the
probabilities stated are those of figures nobody was taught.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites import figures as figure_store
from training.composites.camera import DAMAGES
from training.composites.figures import Figure
from training.composites.layouts import NAMES, LayoutTruth, make_layout
from training.layout_folds import JUDGED, fold_of
from vision.grain import grain_field
from vision.layouts.canvas import make_canvas
from vision.layouts.gather import gather
from vision.layouts.layout import LAYOUTS
from vision.layouts.learned import LayoutNet
from vision.layouts.measure import NAMES as NUMBERS
from vision.layouts.naming import MISSING, MODEL, SOFT, softened
from vision.panels.rectify import WORKING_PX
from vision.resize import fit_within, resize
from vision.types import Panel, WorkingView

#: Layouts of the composites by the name they go under here; how widths are shared is said apart from the name.
NAME_OF = {n: {"running": "book", "balance": "book", "centre_balance": "book", "parquet": "basket"}.get(n, n) for n in NAMES}
#: Shares of undamaged and damaged composites.
_CLEAN = 0.4
_TREES, _DEPTH, _LEAST_LEAF = 80, 9, 4


@dataclass(frozen=True, eq=False)
class Table:
    """`x` (n, numbers) float64 with nan, `y` names, `groups` who took the first figure of each composite, `net` (n, layouts)
    logarithms of the judging net's probabilities in the order of LAYOUTS, `damage` names."""

    x: NDArray[np.float64]
    y: NDArray[np.str_]
    groups: NDArray[np.str_]
    net: NDArray[np.float64]
    damage: NDArray[np.str_]

    def rows(self, which: NDArray[Any]) -> Table:
        """Some of the rows."""
        return Table(self.x[which], self.y[which], self.groups[which], self.net[which], self.damage[which])


def view_of(pixels: NDArray[np.uint8]) -> tuple[WorkingView, float]:
    """(working view of a picture that is all panel, view pixels a picture pixel)."""
    h, w = pixels.shape[:2]
    wide, tall = fit_within(w, h, max_side=WORKING_PX)
    outline = ((-0.5, -0.5), (w - 0.5, -0.5), (w - 0.5, h - 0.5), (-0.5, h - 0.5))
    scale = np.diag([w / wide, h / tall, 1.0])
    scale[:2, 2] = 0.5 * np.array([w / wide, h / tall]) - 0.5
    panel = Panel("p1", "photo", outline, source="given")
    view = WorkingView(panel, resize(pixels, wide, tall), np.ones((tall, wide), bool), scale, w / wide, pixels,
                       np.ones((h, w), bool), (0, 0))
    return view, wide / w


def composites(figures: Sequence[Figure], each: int, seed: int) -> Iterator[LayoutTruth]:
    """`each` composites of every layout, groups of figures and damages drawn at random."""
    rng = np.random.default_rng(seed)
    by_group: dict[str, list[Figure]] = {}
    for f in figures:
        by_group.setdefault(f.group, []).append(f)
    groups = sorted(by_group)
    damages = [d for d in DAMAGES if d != "none"]
    for _ in range(each):
        for name in NAMES:
            mine = by_group[groups[int(rng.integers(len(groups)))]]
            order = rng.permutation(len(mine))[:4]
            damage = "none" if rng.random() < _CLEAN else damages[int(rng.integers(len(damages)))]
            yield make_layout([mine[i] for i in order], name, rng, damage)


_STATE: dict[str, Any] = {}


def _start(photos: Path, textures: Path | None, judge: Path) -> None:
    cv2.setNumThreads(1)
    _STATE["figures"], _STATE["net"] = figure_store.load(photos, textures, "tune"), LayoutNet.load(judge)


def _some(job: tuple[int, int]) -> list[tuple[Any, ...]]:
    """Rows of (numbers, name, group, net's answer, damage) for `each` composites of every layout from a seed."""
    each, seed = job
    out = []
    for t in composites(_STATE["figures"], each, seed):
        view, _ = view_of(t.pixels)
        field = grain_field(view.pixels, mask=view.mask)
        evidence = gather(view, field)
        if evidence is not None:
            seen = _STATE["net"].look(make_canvas(view, field))
            out.append(([evidence.values[n] for n in NUMBERS], NAME_OF[t.name], t.groups[0], seen.name, t.damage))
    return out


def measure_all(photos: Path, textures: Path | None, judge: Path, each: int, seed: int, workers: int) -> Table:
    """Numbers of composites on which grain shows: `each` of every layout."""
    jobs = [(1, 1000 * seed + k) for k in range(each)]
    if workers <= 1:
        _start(photos, textures, judge)
        parts = [_some(j) for j in jobs]
    else:
        with get_context("spawn").Pool(workers, initializer=_start, initargs=(photos, textures, judge)) as pool:
            parts = pool.map(_some, jobs, chunksize=1)
    x, y, groups, net, damage = zip(*(row for part in parts for row in part), strict=True)
    return Table(np.array(x, np.float64), np.array(y), np.array(groups), np.array(net), np.array(damage))


def _forest(table: Table, seed: int) -> Any:
    from sklearn.ensemble import ExtraTreesClassifier

    x = np.where(np.isfinite(table.x), table.x, MISSING)
    model = ExtraTreesClassifier(_TREES, max_depth=_DEPTH, min_samples_leaf=_LEAST_LEAF, max_features=0.5,
                                 class_weight="balanced", random_state=seed, n_jobs=1)
    return model.fit(x, table.y)


def held_out(table: Table, folds: int = 5, seed: int = 0) -> NDArray[np.float64]:
    """(n, layouts) probabilities of every row by forests that saw none of its group; classes in the order of sorted names."""
    from sklearn.model_selection import GroupKFold

    classes = sorted(LAYOUTS)
    out = np.zeros((len(table.y), len(classes)))
    for train, test in GroupKFold(folds).split(table.x, table.y, table.groups):
        model = _forest(table.rows(train), seed)
        p = model.predict_proba(np.where(np.isfinite(table.x[test]), table.x[test], MISSING))
        for k, c in enumerate(model.classes_):
            out[test, classes.index(c)] = p[:, k]
    return out


Weights = tuple[float, float, float]


def together(forest: NDArray[np.float64], net: NDArray[np.float64], weights: Weights) -> NDArray[np.float64]:
    """(n, layouts) probabilities, classes sorted: the forest's shares and the net's, each to the power of its weight, then
    the shares of unrelated layouts among themselves to the power of the third."""
    order = [list(LAYOUTS).index(c) for c in sorted(LAYOUTS)]
    logs = weights[0] * np.log(forest + SOFT) + weights[1] * net[:, order]
    return softened(np.exp(logs - logs.max(1, keepdims=True)), tuple(sorted(LAYOUTS)), weights[2])


def fit_weights(forest: NDArray[np.float64], net: NDArray[np.float64], y: NDArray[np.str_]) -> Weights:
    """Weights of forest, net and unrelated layouts that make the mean log loss smallest, every layout counting alike."""
    from scipy.optimize import minimize

    classes = sorted(LAYOUTS)
    truth = np.array([classes.index(c) for c in y])
    count = np.bincount(truth, minlength=len(classes))

    def loss(w: NDArray[np.float64]) -> float:
        a, b, c = (float(v) for v in np.exp(w))
        p = together(forest, net, (a, b, c))[np.arange(len(truth)), truth]
        return float((-np.log(np.maximum(p, 1e-12)) / count[truth]).sum())

    best = np.exp(minimize(loss, np.log([0.7, 0.7, 0.9]), method="Nelder-Mead").x)
    return float(best[0]), float(best[1]), float(best[2])


def balanced_accuracy(probabilities: NDArray[np.float64], y: NDArray[np.str_]) -> tuple[float, dict[str, float]]:
    """(mean over layouts of the share named right, that share by layout)."""
    classes = sorted(LAYOUTS)
    said = np.array(classes)[probabilities.argmax(1)]
    by = {c: float((said[y == c] == c).mean()) for c in classes if (y == c).any()}
    return float(np.mean(list(by.values()))), by


def export(model: Any, weights: Weights) -> dict[str, Any]:
    """Plain JSON of a forest for `vision.layouts.naming`."""
    trees = []
    for tree in (m.tree_ for m in model.estimators_):
        ends = tree.children_left < 0
        value = tree.value[:, 0, :] / np.maximum(tree.value[:, 0, :].sum(1, keepdims=True), 1e-12)
        trees.append({
            "feature": [int(-1 if e else f) for f, e in zip(tree.feature, ends, strict=True)],
            "threshold": [0.0 if e else float(np.float32(t)) for t, e in zip(tree.threshold, ends, strict=True)],
            "left": [int(v) for v in tree.children_left], "right": [int(v) for v in tree.children_right],
            "leaf": {str(n): [[int(k), round(float(value[n, k]), 3)] for k in np.nonzero(value[n] > 5e-4)[0]]
                     for n in np.nonzero(ends)[0]},
        })
    return {"names": list(NUMBERS), "classes": [str(c) for c in model.classes_], "forest_weight": weights[0],
            "net_weight": weights[1], "unrelated_weight": weights[2], "trees": trees}


def main(arguments: Sequence[str] | None = None) -> None:
    """Make composites, measure, cross-validate, fit and write the model."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photos", type=Path)
    parser.add_argument("--textures", type=Path)
    parser.add_argument("--judge", type=Path, required=True, help="the net that never saw fold 0")
    parser.add_argument("--each", type=int, default=60, help="composites of each layout")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--table", type=Path, help="measured numbers, read if there, else written")
    parser.add_argument("--out", type=Path, default=MODEL)
    a = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    if a.table and a.table.exists():
        with np.load(a.table) as d:
            table = Table(d["x"], d["y"], d["groups"], d["net"], d["damage"])
    else:
        table = measure_all(a.photos, a.textures, a.judge, a.each, a.seed, a.workers)
        if a.table:
            np.savez(a.table, x=table.x, y=table.y, groups=table.groups, net=table.net, damage=table.damage)
    everyone = sorted({f.group for f in figure_store.load(a.photos, a.textures, "tune")})
    unseen = np.array([fold_of(str(g), everyone) in JUDGED for g in table.groups])
    forest, net, y = held_out(table)[unseen], table.net[unseen], table.y[unseen]
    weights = fit_weights(forest, net, y)
    print(f"{len(table.y)} composites of {len(set(table.groups))} authors; {int(unseen.sum())} of "
          f"{len(set(table.groups[unseen]))} authors unseen by the judging net; weights "
          + ", ".join(f"{w:.2f}" for w in weights))
    for label, w in (("forest alone", (1.0, 0.0, 1.0)), ("net alone", (0.0, 1.0, 1.0)), ("both", weights)):
        p = together(forest, net, w)
        score, by = balanced_accuracy(p, y)
        print(f"{label}: balanced accuracy {score:.3f}  " + "  ".join(f"{c} {v:.2f}" for c, v in by.items()))
    stated, right = p.max(1), np.array(sorted(LAYOUTS))[p.argmax(1)] == y
    for low, high in pairwise((0.0, 0.3, 0.5, 0.7, 0.9, 1.01)):
        k = (stated >= low) & (stated < high)
        if k.any():
            print(f"stated {low:.1f} to {min(high, 1):.1f}: {stated[k].mean():.2f}, right {right[k].mean():.2f} (n {k.sum()})")
    a.out.write_text(json.dumps(export(_forest(table, a.seed), weights), separators=(",", ":")))


if __name__ == "__main__":
    main()

"""Teach the naming of layouts: composites of the tuning figures, measured, and a small forest fitted to the numbers.

Run as `python -m training.layout_fit PHOTOS [--textures FOLDER] [--each N]`. Only figures of the part 'tune' are used; cross
validation goes by who took the figure, and sets how sharp the probabilities may be.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites import figures as figure_store
from training.composites.camera import DAMAGES
from training.composites.figures import Figure
from training.composites.layouts import NAMES, LayoutTruth, make_layout
from vision.grain import grain_field
from vision.layouts.gather import gather
from vision.layouts.layout import LAYOUTS
from vision.layouts.measure import NAMES as NUMBERS
from vision.layouts.naming import MISSING, MODEL
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
    """`x` (n, numbers) float64 with nan, `y` names, `groups` who took the first figure of each composite."""

    x: NDArray[np.float64]
    y: NDArray[np.str_]
    groups: NDArray[np.str_]


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


def measure_all(truths: Iterator[LayoutTruth]) -> Table:
    """Numbers of every composite on which grain shows."""
    rows, names, groups = [], [], []
    for t in truths:
        view, _ = view_of(t.pixels)
        evidence = gather(view, grain_field(view.pixels, mask=view.mask))
        if evidence is None:
            continue
        rows.append([evidence.values[n] for n in NUMBERS])
        names.append(NAME_OF[t.name])
        groups.append(t.groups[0])
    return Table(np.array(rows, np.float64), np.array(names), np.array(groups))


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
        model = _forest(Table(table.x[train], table.y[train], table.groups[train]), seed)
        p = model.predict_proba(np.where(np.isfinite(table.x[test]), table.x[test], MISSING))
        for k, c in enumerate(model.classes_):
            out[test, classes.index(c)] = p[:, k]
    return out


def sharpness(probabilities: NDArray[np.float64], y: NDArray[np.str_]) -> float:
    """Exponent on the forest's shares that makes the held-out log loss smallest."""
    classes = sorted(LAYOUTS)
    truth = np.array([classes.index(c) for c in y])
    losses = []
    tries = np.linspace(0.6, 3.0, 49)
    for s in tries:
        p = (probabilities + 1e-3) ** s
        p /= p.sum(1, keepdims=True)
        losses.append(-np.log(p[np.arange(len(truth)), truth]).mean())
    return float(tries[int(np.argmin(losses))])


def balanced_accuracy(probabilities: NDArray[np.float64], y: NDArray[np.str_]) -> tuple[float, dict[str, float]]:
    """(mean over layouts of the share named right, that share by layout)."""
    classes = sorted(LAYOUTS)
    said = np.array(classes)[probabilities.argmax(1)]
    by = {c: float((said[y == c] == c).mean()) for c in classes if (y == c).any()}
    return float(np.mean(list(by.values()))), by


def export(model: Any, sharp: float) -> dict[str, Any]:
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
    return {"names": list(NUMBERS), "classes": [str(c) for c in model.classes_], "sharpness": sharp, "trees": trees}


def main(arguments: Sequence[str] | None = None) -> None:
    """Make composites, measure, cross-validate, fit and write the model."""
    parser = argparse.ArgumentParser(prog="training.layout_fit", description=__doc__)
    parser.add_argument("photos", type=Path)
    parser.add_argument("--textures", type=Path)
    parser.add_argument("--each", type=int, default=60, help="composites of each layout")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--table", type=Path, help="measured numbers, read if there, else written")
    parser.add_argument("--out", type=Path, default=MODEL)
    a = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    if a.table and a.table.exists():
        with np.load(a.table) as stored:
            table = Table(stored["x"], stored["y"], stored["groups"])
    else:
        figures = figure_store.load(a.photos, a.textures, "tune")
        table = measure_all(composites(figures, a.each, a.seed))
        if a.table:
            np.savez(a.table, x=table.x, y=table.y, groups=table.groups)
    p = held_out(table)
    sharp = sharpness(p, table.y)
    score, by = balanced_accuracy(p, table.y)
    print(f"{len(table.y)} composites of {len(set(table.groups))} authors; held out by author: balanced accuracy {score:.3f}")
    print("  ".join(f"{c} {v:.2f}" for c, v in by.items()), f"sharpness {sharp:.2f}", sep="\n")
    a.out.write_text(json.dumps(export(_forest(table, a.seed), sharp), separators=(",", ":")))


if __name__ == "__main__":
    main()

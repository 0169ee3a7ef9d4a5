"""How forest and net are weighed together."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from vision.errors import ModelMismatch
from vision.layouts.layout import LAYOUTS
from vision.layouts.naming import SOFT, UNRELATED, load_forest, softened

CLASSES = sorted(LAYOUTS)


def stored(path: Path, weights: tuple[float, float, float], classes: list[str] = CLASSES) -> Path:
    """A forest of one stump on the number 'a': below 1 the first class, above it the second."""
    tree = {"feature": [0, -1, -1], "threshold": [1.0, 0, 0], "left": [1, 1, 2], "right": [2, 1, 2],
            "leaf": {"1": [[0, 1.0]], "2": [[1, 1.0]]}}
    path.write_text(json.dumps({"names": ["a"], "classes": classes, "trees": [tree], "forest_weight": weights[0],
                                "net_weight": weights[1], "unrelated_weight": weights[2]}))
    return path


def test_the_product_of_powers(tmp_path: Path) -> None:
    forest = load_forest(stored(tmp_path / "m.json", (0.5, 0.8, 1.0)))
    rng = np.random.default_rng(0)
    net = np.log(rng.dirichlet(np.ones(len(LAYOUTS))))
    said = forest.probabilities({"a": 0.5}, net)
    share = np.full(len(CLASSES), SOFT)
    share[0] += 1
    order = [list(LAYOUTS).index(c) for c in CLASSES]
    wanted = share**0.5 * np.exp(net[order]) ** 0.8
    assert np.allclose([said[c] for c in CLASSES], wanted / wanted.sum())


def test_weights_of_nought_leave_the_other_alone(tmp_path: Path) -> None:
    net = np.log(np.random.default_rng(1).dirichlet(np.ones(len(LAYOUTS))))
    alone = load_forest(stored(tmp_path / "net.json", (0.0, 1.0, 1.0))).probabilities({"a": 3.0}, net)
    assert np.allclose([alone[c] for c in LAYOUTS], np.exp(net))
    alone = load_forest(stored(tmp_path / "forest.json", (1.0, 0.0, 1.0))).probabilities({"a": 3.0}, net)
    assert max(alone, key=lambda n: alone[n]) == CLASSES[1]


def test_a_broken_model_is_told(tmp_path: Path) -> None:
    with pytest.raises(ModelMismatch):
        load_forest(tmp_path / "nothing.json")
    with pytest.raises(ModelMismatch):
        load_forest(stored(tmp_path / "other.json", (1.0, 1.0, 1.0), [*CLASSES[:-1], "zigzag"]))


def test_unrelated_layouts_are_weighed_among_themselves() -> None:
    p = np.random.default_rng(3).dirichlet(np.ones(len(CLASSES)))
    out = softened(p, tuple(CLASSES), 0.5)
    at = [CLASSES.index(c) for c in UNRELATED]
    rest = [k for k in range(len(CLASSES)) if k not in at]
    assert np.allclose(out[rest], p[rest]) and out[at].sum() == pytest.approx(p[at].sum())
    assert np.allclose(out[at] / out[at].sum(), np.sqrt(p[at]) / np.sqrt(p[at]).sum())

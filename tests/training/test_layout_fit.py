"""Weights of forest and net: the loss is smallest where it should be, and what is written is what is read."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from training.layout_fit import Table, _forest, export, fit_weights, together
from vision.layouts.layout import LAYOUTS
from vision.layouts.measure import NAMES
from vision.layouts.naming import load_forest

CLASSES = sorted(LAYOUTS)


def drawn(n: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(a useless forest's shares, a net's true logarithms, names drawn from them)."""
    rng = np.random.default_rng(seed)
    p = rng.dirichlet(np.full(len(LAYOUTS), 0.3), n)
    names = np.array([list(LAYOUTS)[rng.choice(len(LAYOUTS), p=row)] for row in p])
    return rng.dirichlet(np.ones(len(LAYOUTS)), n), np.log(np.maximum(p, 1e-9)), names


def test_honest_probabilities_keep_their_weight() -> None:
    forest, net, names = drawn(3000, 0)
    weights = fit_weights(forest, net, names)
    assert weights[0] < 0.1 and abs(weights[1] - 1) < 0.12


def test_boastful_probabilities_are_toned_down() -> None:
    forest, net, names = drawn(3000, 1)
    weights = fit_weights(forest, 2 * net, names)
    assert abs(weights[1] - 0.5) < 0.06
    p = together(forest, 2 * net, weights)
    assert np.allclose(p.sum(1), 1)


def test_what_is_written_is_what_is_read(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    y = np.array(CLASSES * 12)
    x = rng.normal(size=(len(y), len(NAMES)))
    x[:, 3] += [CLASSES.index(v) for v in y]
    net = np.log(rng.dirichlet(np.ones(len(LAYOUTS)), len(y)))
    model = _forest(Table(x, y, y, net, y), 0)
    path = tmp_path / "m.json"
    path.write_text(json.dumps(export(model, (0.6, 0.9, 1.0))))
    read = load_forest(path)
    shares = model.predict_proba(x[:5])
    wanted = together(shares, net[:5], (0.6, 0.9, 1.0))
    for k in range(5):
        said = read.probabilities(dict(zip(NAMES, x[k], strict=True)), net[k])
        assert np.allclose([said[c] for c in CLASSES], wanted[k], atol=0.01)

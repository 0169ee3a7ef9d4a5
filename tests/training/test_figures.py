"""Figures of merit against plain loops, realism on made-up tables, held-out answers that never saw their author."""

import math
from collections import defaultdict
from dataclasses import replace

import numpy as np
import pytest

from training.config_file import load_config
from training.figures import Scored, figures, intervals
from training.fit import fit
from training.heldout import held_out, only
from training.realism import betraying, realism
from training.tables import Table
from training.teach import load_tables
from vision.inference.joint import FACES


def made(seed=0, n=150):
    rng = np.random.default_rng(seed)
    specimen = rng.integers(0, 60, n)
    face = rng.dirichlet(np.ones(6), n)
    return Scored(
        author=np.array([f"a{s % 12}" for s in specimen]), specimen=np.array([f"s{s}" for s in specimen]),
        true_face=rng.integers(-1, 6, n).astype(np.int8), true_core=rng.integers(-1, 4, n).astype(np.int8),
        true_view=rng.integers(-1, 4, n).astype(np.int8), face=face, core=rng.dirichlet(np.ones(4), n),
        core_visible=rng.random(n), view=rng.integers(0, 4, n), face_set=face > 0.15, decided=rng.random(n) < 0.4)


def by_specimen(s, rows, value):
    groups = defaultdict(list)
    for i in rows:
        groups[s.specimen[i]].append(float(value(i)))
    return float(np.mean([np.mean(v) for v in groups.values()]))


def test_figures_equal_plain_loops():
    s = made()
    f = figures(s)
    rows = [i for i in range(len(s.true_face)) if s.true_face[i] >= 0 and s.true_view[i] == 0]
    right = lambda i: s.face[i].argmax() == s.true_face[i]  # noqa: E731
    assert f["face: coverage (decided)"] == pytest.approx(by_specimen(s, rows, lambda i: s.decided[i]))
    assert f["face: right when decided"] == pytest.approx(by_specimen(s, [i for i in rows if s.decided[i]], right))
    loss = by_specimen(s, rows, lambda i: -math.log(s.face[i, s.true_face[i]]))
    assert f["face: log loss (uniform 1.792)"] == pytest.approx(loss)
    assert f["face: mean set size"] == pytest.approx(by_specimen(s, rows, lambda i: s.face_set[i].sum()))
    recalls = [by_specimen(s, [i for i in rows if s.true_face[i] == k], right) for k in range(6)]
    assert f["face: balanced accuracy, forced"] == pytest.approx(np.mean(recalls))


def test_auc_counts_each_specimen_of_a_kind_once():
    s = made(1)
    rows = [i for i in range(len(s.true_face)) if s.true_face[i] in (0, 1) and s.true_view[i] == 0]
    count = defaultdict(int)
    for i in rows:
        count[s.specimen[i], s.true_face[i]] += 1
    score = lambda i: s.face[i, 0] / (s.face[i, 0] + s.face[i, 1])  # noqa: E731
    wins = total = 0.0
    for i in rows:
        for j in rows:
            if s.true_face[i] == 0 and s.true_face[j] == 1:
                w = 1 / count[s.specimen[i], 0] / count[s.specimen[j], 1]
                wins += w * ((score(i) > score(j)) + 0.5 * (score(i) == score(j)))
                total += w
    assert figures(s)["AUC solid against veneer"] == pytest.approx(wins / total)


def test_intervals_hold_the_figure():
    s = made(2)
    f, ci = figures(s), intervals(s, rounds=60)
    inside = [ci[k][0] <= f[k] <= ci[k][1] for k in ci]
    assert len(ci) > 10 and np.mean(inside) > 0.85


def tiny(values, prefix, seed=0):
    n = len(values)
    rng = np.random.default_rng(seed)
    face = (np.arange(n) % 3).astype(np.int8)
    ids = np.array([f"{prefix}{i // 2}" for i in range(n)])
    zero = np.zeros(n, np.int8)
    return Table(schema="s", names=np.array(["same", "shifted"]), values=values.astype(np.float32),
                 looks=rng.normal(size=(n, 1, 1)).astype(np.float16), face=face, core=zero, view=zero, core_visible=zero,
                 weight=np.ones(n, np.float32), headline=np.ones(n, bool), cues=np.zeros((n, 1), bool),
                 author=ids, specimen=ids, photo=ids)


def test_realism_names_the_feature_that_betrays_renders():
    rng = np.random.default_rng(0)
    real, rendered = (tiny(np.c_[rng.normal(size=120), rng.normal(shift, 1, 120)], p) for shift, p in ((0, "a"), (4, "b")))
    found = realism(real, rendered, {"one": [0], "two": [1]})
    assert found.features["same"] < 0.7 < 0.95 < found.features["shifted"]
    assert found.groups["one"] < 0.65 and found.groups["two"] > 0.95
    assert betraying(found) == ["shifted"]


def test_held_out_answers_come_from_models_that_never_saw_the_author():
    real, _, _ = load_tables()
    config = load_config()
    config = replace(only(config, "shape", "gloss"), outer_folds=3, inner_folds=3, rendered=dict.fromkeys(config.rendered, 0.0))
    ours, theirs = held_out(real, None, {"a": config}, workers=1)["a"]
    assert theirs is None and ours.answers.face.shape == (len(real), len(FACES))
    assert np.allclose(ours.answers.face.sum(axis=1), 1) and ours.face_set.any(axis=1).all()
    from training.stacking import author_folds

    test = next(iter(author_folds(real.author, real.face, 3, config.seed + 1)))
    again = fit(real.rows(~test), None, config).answers(real.rows(test), config)
    assert np.allclose(again.face, ours.answers.face[test], atol=1e-6)

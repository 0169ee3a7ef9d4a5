"""Fitting and scoring of joints: nets learn what is there and state chances that hold; figures are the plain ones."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from training import joint_fit, joint_scores
from training.joint_measuring import measure, row_label, side_match, spot_label
from training.joints.make import make_joint
from vision.joints import rows, tails
from vision.joints.chances import parse


def made(n: int, seed: int) -> joint_fit.Table:
    """Two numbers of which one tells, by a known logistic chance; the other now and then not measured."""
    rng = np.random.default_rng(seed)
    a, b = rng.normal(0, 1, n), rng.normal(0, 1, n)
    y = rng.random(n) < 1 / (1 + np.exp(-(2.0 * a - 0.5)))
    numbers = [{"a": float(u), "b": float(v) if k % 7 else math.nan} for k, (u, v) in enumerate(zip(a, b, strict=True))]
    return joint_fit.Table(numbers, y.astype(np.int64))


def test_a_net_comes_near_the_chance_that_made_the_rows() -> None:
    raw, value = joint_fit.fit_net(made(1500, 1), made(800, 2), ("nothing", "there"))
    net, test = parse(raw), made(3000, 3)
    p = net.chances(test.numbers)[:, 1]
    true = 1 / (1 + np.exp(-(2.0 * np.array([n["a"] for n in test.numbers]) - 0.5)))
    assert np.abs(p - true).mean() < 0.05
    assert value == pytest.approx(joint_fit.loss(net.chances(made(800, 2).numbers), made(800, 2).labels), abs=1e-3)


def test_loss_is_the_mean_log() -> None:
    chances, so = np.array([[0.5, 0.5], [0.1, 0.9]]), np.array([0, 1])
    assert joint_fit.loss(chances, so) == pytest.approx(-(math.log(0.5) + math.log(0.9)) / 2)


def test_share_and_area() -> None:
    s = joint_scores.share(9, 10)
    assert s["share"] == 0.9 and s["low"] == pytest.approx(0.555, abs=0.001)  # Clopper and Pearson (1934) table
    assert joint_scores.area([0.1, 0.4, 0.35, 0.8], [False, False, True, True]) == pytest.approx(0.75)
    assert math.isnan(joint_scores.area([0.1], [True]))


def test_true_joint_is_told_from_others_by_its_sides() -> None:
    p = make_joint("finger_joint", 1)
    found = [tails.tails_from(c, 0.5, 0.5) for c in tails.candidates(p.pixels)]
    assert found
    best = max(found, key=lambda f: min(side_match(f, p.truth)))
    assert min(side_match(best, p.truth)) > 0.8
    moved = replace(best, sides=tuple(replace(s, line=tuple((x + 500, y) for x, y in s.line)) for s in best.sides))
    assert side_match(moved, p.truth) == (0.0, 0.0)


def test_labels_of_spots() -> None:
    t = make_joint("shelf_holes", 2).truth
    r = t.rounds[0]
    assert spot_label(r.x, r.y, r.radius, t) == 1
    assert spot_label(r.x + 9 * r.radius, r.y + 2.3 * r.radius, r.radius, t) == 0 or len(t.rounds) > 1
    assert spot_label(r.x, r.y, 3 * r.radius, t) == -1
    assert spot_label(r.x, r.y, r.radius, replace(t, name="hinge")) == -1
    holes = rows.Holes(np.array([[q.x, q.y] for q in t.rounds]), np.array([q.radius for q in t.rounds]), np.ones(len(t.rounds)))
    found = rows.rows_of(holes)
    assert found and row_label(found[0], holes, t)
    assert not row_label(found[0], holes, replace(t, rounds=()))


def test_measuring_a_picture_keeps_labels_beside_numbers() -> None:
    m = measure(make_joint("missing_pull", 1))
    assert len(m.spots) == len(m.spot_labels)
    assert sum(k == 1 for k in m.spot_labels) == 2
    assert joint_scores.labels(m)["hole_pair"] and not joint_scores.labels(m)["dovetail"]
    assert not any(t.true for t in m.tails)

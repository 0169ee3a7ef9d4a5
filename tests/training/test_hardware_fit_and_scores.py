"""Figures of hardware are the plain ones, and fitting learns from what is labelled."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from training import hardware_fit, hardware_scores
from training.hardware.make import make
from vision.hardware.gather import CLASSES, Candidate
from vision.joints.chances import Net


def test_f1_of_counts() -> None:
    assert hardware_scores.f1(np.array([3, 4, 5])) == pytest.approx(2 * 3 / 9)
    s = hardware_scores.with_interval([(1, 1, 1)] * 30 + [(0, 1, 1)] * 10)
    assert s["f1"] == pytest.approx(0.75) and s["low"] < 0.75 < s["high"]
    assert s["precision"]["hits"] == 30 and s["recall"]["of"] == 40


def net_of(kind: int) -> Net:
    """A net that gives one kind the chance that its only number states."""
    out, bias = np.zeros((1, len(CLASSES))), np.full(len(CLASSES), -30.0)
    # the hidden unit carries the number's log odds plus ten, so that it is never cut off
    out[0, kind], bias[0], bias[kind] = 1.0, 0.0, -10.0
    return Net(("odds",), CLASSES, np.zeros(1), np.ones(1), np.ones((1, 1)), np.full(1, 10.0), out, bias, 1.0)


def test_least_chances_keep_what_is_said_right() -> None:
    p = make(4, [np.full((200, 300, 3), 140, np.uint8)], "missing")
    assert p.truth
    kind = 1 + hardware_fit.SEEN.index("hole")
    rows = []
    for k in range(40):
        right = k >= 10  # the ten with the least chance are wrong
        hull = p.truth[0][1] if right else np.array([[2, 2], [8, 2], [8, 8], [2, 8]], float)
        middle = (float(hull[:, 0].mean()), float(hull[:, 1].mean()))
        c = Candidate(hull, middle, 6.0, {"odds": -1.5 + 0.1 * k})
        rows.append(hardware_fit.Row(p, [c], [kind if right else 0]))
    net = net_of(kind)
    least = hardware_fit.least_of(net, rows)
    assert hardware_fit.FLOOR <= least["hole"] <= 0.62
    assert least["knob"] == hardware_fit.MOST  # never seen, so hardly ever said
    table = hardware_fit.table(rows)
    assert (table.labels == kind).sum() == 30 and (table.labels == 0).sum() == 10


def test_chances_of_the_net_made_here_are_the_odds_given() -> None:
    p = net_of(6).chances([{"odds": 0.0}, {"odds": 2.0}])[:, 6]
    assert p == pytest.approx([0.5, 1 / (1 + np.exp(-2.0))], abs=1e-6)


def test_no_least_chance_lies_where_nothing_on_real_panels_reached_but_for_a_few() -> None:
    p = make(4, [np.full((200, 300, 3), 140, np.uint8)], "nothing")
    kind = 1 + hardware_fit.SEEN.index("knob")
    hull = np.array([[2, 2], [8, 2], [8, 8], [2, 8]], float)
    odds = [2.0, 1.5, 1.0, 0.5, -1.0]
    bare = [hardware_fit.Row(p, [Candidate(hull, (5.0, 5.0), 6.0, {"odds": o})], [0]) for o in odds]
    true = make(4, [np.full((200, 300, 3), 140, np.uint8)], "missing")
    here = true.truth[0][1]
    middle = (float(here[:, 0].mean()), float(here[:, 1].mean()))
    picture = replace(true, truth=(("knob", here),))
    found = [hardware_fit.Row(picture, [Candidate(here, middle, 6.0, {"odds": 0.3 * k})], [kind]) for k in range(12)]
    floor = 1 / (1 + np.exp(-sorted(odds)[-1 - hardware_fit.SPARED])) + hardware_fit.ABOVE
    assert hardware_fit.least_of(net_of(kind), found, bare)["knob"] == pytest.approx(floor, abs=1e-3)
    unsure = [replace(r, labels=[None]) for r in bare]  # nobody said that nothing is there
    assert hardware_fit.least_of(net_of(kind), found, unsure)["knob"] < floor

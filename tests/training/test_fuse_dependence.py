"""Dependence of sightings: found again where it is known, and the fused probabilities true with it; counts of joins."""

import numpy as np
import pytest

from training import fuse_dependence as dep
from training import fuse_joins as joins
from vision.parts import Sighting
from vision.types import Panel


@pytest.mark.parametrize("true", [0.2, 0.8])
def test_the_dependence_of_simulated_photos_is_found_and_makes_probabilities_true(true):
    groups = dep.simulated(500, 3, true, 1.2, seed=3)
    r, low, high, _ = dep.best_dependence(groups[:220], "photos", 60)
    assert abs(r - true) <= 0.2 and low <= true + 0.1 and high >= true - 0.1
    stated, right = dep.stated_and_true(groups, dep.with_step("photos", true))
    # three standard errors of a share over 500 pieces
    assert abs(stated.mean() - right.mean()) < 3 * 0.5 / np.sqrt(500)
    naive, wrong = dep.stated_and_true(groups, dep.NAIVE)
    assert naive.mean() - wrong.mean() > stated.mean() - right.mean()


def test_fusing_with_the_known_dependence_beats_one_photo_the_product_and_the_mean():
    groups = dep.simulated(500, 3, 0.5, 1.2, seed=4)
    one = np.mean([dep.single_losses(g)[0] for g in groups])
    fused, naive, copies = (np.mean([dep.face_loss(g, d) for g in groups])
                            for d in (dep.with_step("photos", 0.5), dep.NAIVE, dep.COPIES))
    assert fused < min(one, naive, copies)


def test_likeness_is_the_correlation_that_was_put_in():
    """Two photos share a part r of their noise: residual evidence correlates by about r, but for the softmax between."""
    for r in (0.2, 0.8):
        found, pairs = dep.likeness(dep.simulated(400, 2, r, 0.8, seed=5))
        assert pairs == 400
        assert found == pytest.approx(r, abs=0.1)


def test_cross_fitting_never_lets_an_owner_choose_for_itself():
    """Each of eight owners has its own best step; whatever the others choose is wrong for it."""
    table = 1.0 - np.eye(8, len(dep.STEPS))
    assert dep.cross_fitted(table, [f"o{k}" for k in range(8)]) == 1.0
    assert dep.cross_fitted(np.tile(table[0], (8, 1)), [f"o{k}" for k in range(8)]) == 0.0


def test_spread_brackets_the_mean_and_draws_owners_whole():
    values = np.array([0.0, 0.0, 1.0, 1.0])
    mean, low, high = dep.spread(values, ["a", "a", "b", "b"], 200)
    assert (mean, low, high) == (0.5, 0.0, 1.0)


def _piece(makes, outlines):
    """Two photos of panels with given (part, face) and outline each."""
    sightings, truth = [], {}
    for photo in ("p1", "p2"):
        for n, ((part, face), outline) in enumerate(zip(makes, outlines, strict=True)):
            panel = Panel(f"x{n}", photo, outline)
            truth[photo, panel.id] = {"part": part, "side": "face", "view": "face", "face": face, "core": "lumber", "role": "top"}
            sightings.append(Sighting(photo, panel, "face", joins.silent()))
    return joins.Piece("p", {"p1": (1200, 900), "p2": (1200, 900)}, tuple(sightings), truth)


def test_counts_tell_right_joins_from_wrong_ones():
    first = ((270.0, 270.0), (890.0, 270.0), (890.0, 400.0), (270.0, 400.0))
    fronts = [tuple((x, y + 140 * n) for x, y in first) for n in range(3)]
    alike = joins.counts(_piece([(f"d{n}", "veneer") for n in range(3)], fronts))
    assert alike[joins.SAME] == (3, 3) and alike[joins.UNLIKE_ONE] == (0, 0) and alike[joins.MIXED] == (0, 1)
    mixed = joins.counts(_piece([("d0", "veneer"), ("d1", "printed"), ("d2", "veneer")], fronts))
    # silent verdicts and no colour: a like stack of three is taken for one run, and counted as a mistake
    assert mixed[joins.UNLIKE_ONE] == (4, 4) and mixed[joins.UNLIKE_TWO] == (4, 4) and mixed[joins.MIXED_PIECE] == (1, 1)


def test_shares_are_pooled_over_pieces():
    found = joins.shares([{"a": (1, 2)}, {"a": (3, 4), "b": (0, 0)}], rounds=50)
    assert found["a"][:2] == (6, pytest.approx(4 / 6)) and "b" not in found

"""The fit of the joining weights, against scikit-learn and on pairs counted by hand."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression

from training.pair_weights import FREE, Pairs, fit, joined, main_thing, pairs_of
from vision.panels import regions
from vision.panels.partition import PhotoSurfaces
from vision.panels.regions import PAIR_NAMES
from vision.panels.surface import SurfaceMap


def drawn_pairs(seed: int, slopes: np.ndarray, count: int = 3000) -> Pairs:
    rng = np.random.default_rng(seed)
    table = rng.normal(size=(count, len(PAIR_NAMES)))
    two = rng.random(count) < 1 / (1 + np.exp(-(table @ slopes - 0.5)))
    return Pairs(table, two, np.full(count, 1.0))


def test_weights_agree_with_an_independent_fit_where_none_is_held_back():
    slopes = np.linspace(0.4, 1.6, len(PAIR_NAMES))
    pairs = drawn_pairs(1, slopes)
    strength = 1e-3
    # scikit-learn minimises C * sum(loss) + |w|^2 / 2; ours mean(loss) + strength * |w|^2.
    other = LogisticRegression(C=1 / (2 * strength * len(pairs.two)), tol=1e-8, max_iter=1000).fit(pairs.table, pairs.two)
    assert fit(pairs, strength) == pytest.approx(np.r_[other.coef_[0], other.intercept_[0]], abs=5e-3)


def test_a_difference_never_speaks_for_one_surface():
    slopes = np.where([n in FREE for n in PAIR_NAMES], -1.0, 1.0)
    slopes[PAIR_NAMES.index("hue")] = -1.0
    found = fit(drawn_pairs(2, slopes))
    assert found[PAIR_NAMES.index("hue")] == 0
    assert all(found[PAIR_NAMES.index(n)] < -0.5 for n in FREE)


def test_the_main_thing_of_a_region_needs_a_clear_majority():
    labels = np.repeat(np.arange(3, dtype=np.int32), 8).reshape(3, 8)
    things = np.array([[5] * 8, [5] * 4 + [6] * 4, [6] * 7 + [0]], np.int32)
    assert main_thing(labels, 3, things).tolist() == [5, 0, 6]


def test_pairs_of_a_picture_in_four_quarters():
    """Left half one thing, right half another: two borders within, two across."""
    patches = np.zeros((40, 40), np.int32)
    patches[:20, 20:], patches[20:, :20], patches[20:, 20:] = 1, 2, 3
    rng = np.random.default_rng(0)
    lab = rng.normal(50, 2, (40, 40, 3)).astype(np.float32)
    boundary = np.zeros((40, 40), np.float32)
    boundary[:, 19:21] = 1
    graph = regions.build(patches, 4, lab, np.full((5, 5), 0.5, np.float32), np.zeros((5, 5, 2), np.float32), boundary)
    nothing = regions.Merges(np.empty(0, np.int32), np.empty(0, np.int32), np.empty(0), 4)
    surfaces = PhotoSurfaces(SurfaceMap(np.full((40, 40), 0.5, np.float32), (1, 1)), boundary, patches, graph, nothing)
    things = np.where(np.arange(40) < 20, 1, 2)[None].repeat(40, axis=0).astype(np.int32)
    found = pairs_of(surfaces, things, only_same=False)
    levels = len(found.two) // 4
    assert len(found.two) == 4 * levels and found.two.sum() == 2 * levels
    border = found.table[:, PAIR_NAMES.index("border")]
    assert border[found.two].min() > 0.9 and border[~found.two].max() < 0.2
    assert not pairs_of(surfaces, things, only_same=True).two.any()


def test_joined_pairs_carry_the_shares_laid_down():
    rendered, real = drawn_pairs(4, np.ones(len(PAIR_NAMES)), 100), drawn_pairs(5, np.ones(len(PAIR_NAMES)), 40)
    real = Pairs(real.table, np.zeros(40, bool), real.weight)
    both = joined([(True, rendered), (False, real)])
    assert both.weight.sum() == pytest.approx(1.0)
    assert both.weight[:100][both.two[:100]].sum() == pytest.approx(0.325)
    assert both.weight[100:].sum() == pytest.approx(0.35)

"""What the net is taught from, without the library it is taught with."""

from __future__ import annotations

import numpy as np
import pytest

from training import damage_net
from training.damage.make import NAMES, Panel


def test_axes_are_whitened_main_components() -> None:
    # scikit-learn's PCA with whitening on the same standardised numbers, up to the sign of each axis
    from sklearn.decomposition import PCA

    rng = np.random.default_rng(3)
    samples = rng.normal(size=(900, 6)) @ rng.normal(size=(6, damage_net.CHANNELS)) + 0.3 * rng.normal(
        size=(900, damage_net.CHANNELS)
    )
    samples = samples.astype(np.float32)
    matrix, offset = damage_net.axes_of(samples)
    found = samples @ matrix.T + offset
    standard = (samples - samples.mean(0)) / (samples.std(0) + 1e-3)
    expected = PCA(6, whiten=True, svd_solver="full").fit_transform(standard)
    for k in range(6):
        assert abs(np.corrcoef(found[:, k], expected[:, k])[0, 1]) > 0.999
        assert found[:, k].std() == pytest.approx(1.0, abs=0.02)


def test_told_is_the_axes_what_is_unusual_and_its_surroundings() -> None:
    from scipy.ndimage import uniform_filter

    rng = np.random.default_rng(4)
    axes = rng.normal(2, 3, (damage_net.AXES, 10, 14)).astype(np.float32)
    inside = np.ones((10, 14), bool)
    inside[8:] = False
    told = damage_net.told_of(axes, inside)
    assert told.shape == (3 * damage_net.AXES, 10, 14) and not told[: damage_net.AXES, 8:].any()
    own, usual, about = told[5], told[damage_net.AXES + 5], told[2 * damage_net.AXES + 5]
    assert np.array_equal(own[:8], axes[5, :8])
    assert np.allclose(usual[:8], (axes[5, :8] - axes[5, :8].mean()) / (axes[5, :8].std() + 0.2), atol=1e-4)
    # scipy.ndimage.uniform_filter with nothing beyond the border
    assert np.allclose(about, uniform_filter(usual.astype(np.float64), damage_net.ABOUT, mode="constant"), atol=1e-4)


def test_places_drawn_are_damaged_first_and_never_unknown() -> None:
    truth = np.zeros((3, 40, 60), np.uint8)
    truth[2, :, :50] = 16
    truth[0, 4:8, 4:8], truth[2, 4:8, 4:8] = 3, 64
    truth[0, 10:38, 10:40] = 2
    inside, fools = np.ones((20, 30), bool), np.zeros((20, 30), bool)
    fools[2:6, 15:24] = True
    at = damage_net.draw(truth, fools, inside, np.random.default_rng(0))
    kinds = truth[0].reshape(20, 2, 30, 2).max(axis=(1, 3))[at[:, 0], at[:, 1]]
    assert (kinds > 0).sum() == damage_net.DRAWN[0] and (kinds == 3).sum() >= 2
    assert (at[:, 1] < 25).all() and fools[at[:, 0], at[:, 1]].sum() >= damage_net.DRAWN[1]


def test_truth_map_lies_on_the_cells_of_the_picture() -> None:
    labels = np.zeros((130, 200), np.uint8)
    labels[40:80, 100:160] = NAMES.index("stain") + 1
    panel = Panel(
        np.full((130, 200, 3), 100, np.uint8),
        labels,
        np.zeros_like(labels),
        {"knot": labels > 0},
        "solid",
        "solid_wood",
        "lumber",
        "g",
        1.0,
    )
    looks, inside = damage_net.seen(panel)
    truth, fools = damage_net.truth_map(panel, (inside.shape[0], inside.shape[1]))
    assert looks.shape[1:] == inside.shape and truth.shape[1:] == (2 * inside.shape[0], 2 * inside.shape[1])
    assert (truth[0, 10:20, 25:40] == NAMES.index("stain") + 1).all() and (truth[0] > 0).sum() == 150
    assert fools.any() and not truth[2, 33:].any() and (truth[2, :32, :50] > 0).all()

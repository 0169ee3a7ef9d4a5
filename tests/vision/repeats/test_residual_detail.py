"""Renewed figure is told from noise: shares as made, none in a noisy or blurred copy; SciPy's coherence agrees."""

import cv2
import numpy as np
import pytest
from scipy.signal import coherence

from vision.repeats.residual_detail import MEASURED, RINGS, measure_detail, renewal

H, W = 300, 460
ALL = np.ones((H, W), bool)


def figure(seed):
    """Grain along x with power at all periods of the rings."""
    noise = np.random.default_rng(seed).normal(size=(H + 80, W + 80)).astype(np.float32)
    drawn = cv2.GaussianBlur(noise, (0, 0), sigmaX=6, sigmaY=0.8) + cv2.GaussianBlur(noise, (0, 0), sigmaX=12, sigmaY=2.5)
    drawn = drawn[40:-40, 40:-40]
    return drawn / drawn.std()


def noisy(image, seed, sd):
    return (image + np.random.default_rng(seed).normal(0, sd, image.shape)).astype(np.float32)


def next_leaf(image, share, seed):
    return (np.sqrt(1 - share) * image + np.sqrt(share) * figure(seed)).astype(np.float32)


def test_every_number_is_named():
    none = np.zeros((H, W, 2), np.float32)
    assert set(measure_detail(figure(1), figure(1), ALL, none)) == set(MEASURED)


@pytest.mark.parametrize("sd", [0.05, 0.3, 0.8])
def test_noise_renews_nothing(sd):
    image = figure(2)
    found = renewal(noisy(image, 1, sd), noisy(image, 2, sd), ALL)
    for ring in RINGS:
        assert abs(found[f"renewed_{ring}"]) < 0.03, ring
        assert found[f"figured_{ring}"] < 0.35, ring


@pytest.mark.parametrize("share", [0.1, 0.3])
@pytest.mark.parametrize("sd", [0.05, 0.3])
def test_the_renewed_share_is_the_one_made(share, sd):
    # unit powers, cross power sqrt(1 - share): what is apart is 1 - sqrt(1 - share) of the figure, whatever the noise
    image = figure(3)
    found = renewal(noisy(image, 1, sd), noisy(next_leaf(image, share, 4), 2, sd), ALL)
    for ring in RINGS:
        assert found[f"renewed_{ring}"] == pytest.approx(1 - np.sqrt(1 - share), abs=0.25 * share), ring
        assert found[f"figured_{ring}"] > 0.25, ring


def test_contrast_is_not_renewal():
    image = figure(5)
    found = renewal(noisy(image, 1, 0.1), noisy(1.4 * image, 2, 0.1), ALL)
    assert max(abs(found[f"renewed_{ring}"]) for ring in RINGS) < 0.03


def test_a_known_drift_is_taken_out_before_comparing():
    image = figure(6)
    field = np.zeros((H, W, 2), np.float32)
    field[..., 1] = 1.5
    lower = np.roll(image, 1, axis=0) * 0.5 + np.roll(image, 2, axis=0) * 0.5
    with_drift = measure_detail(image, lower, ALL, field)
    without = measure_detail(image, lower, ALL, 0 * field)
    assert with_drift["renewed_p13"] < 0.03 < without["renewed_p13"]


def test_scipy_finds_the_same_coherence_across_the_grain():
    image, share = figure(7), 0.3
    leaf = next_leaf(image, share, 8)
    f, c = coherence(image.T, leaf.T, nperseg=64)  # scipy: magnitude squared, 1 - share here
    for ring, (short, long) in RINGS.items():
        theirs = 1 - np.sqrt(c[:, (f >= 1 / long) & (f < 1 / short)].mean())
        assert renewal(image, leaf, ALL)[f"renewed_{ring}"] == pytest.approx(theirs, abs=0.08), ring


def test_nothing_there_says_nothing():
    empty = np.zeros((H, W), np.float32)
    assert set(renewal(empty, empty, ALL).values()) == {0.0}

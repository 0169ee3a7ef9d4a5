"""Spoiling does what it says."""

import cv2
import numpy as np
import pytest

from training.problem_rates import SPOILT, compressed, light, motion


def test_light_is_linear_and_motion_keeps_the_mean():
    grey = np.full((40, 60, 3), 100, np.uint8)
    assert light(grey, 1.0)[0, 0, 0] == 100
    assert light(grey, 4.0)[0, 0, 0] == pytest.approx(100 * 4 ** (1 / 2.2), abs=1)
    dot = np.zeros((61, 61, 3), np.uint8)
    dot[30, 30] = 255
    smeared = motion(dot, 15).astype(float)[..., 0]
    assert smeared.sum() == pytest.approx(255, rel=0.1)
    rows, cols = np.nonzero(smeared)
    assert np.ptp(cols) >= 10 > np.ptp(rows) >= 4


def test_compression_loses_detail():
    noise = cv2.GaussianBlur(np.random.default_rng(0).integers(0, 255, (64, 64, 3), np.uint8), (0, 0), 1)
    assert np.abs(compressed(noise, 10).astype(int) - noise).mean() > np.abs(compressed(noise, 95).astype(int) - noise).mean()
    assert all(spoil(noise).shape == noise.shape for spoil, _ in SPOILT.values())

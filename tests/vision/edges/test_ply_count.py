"""Plies counted by dynamic programming, checked against trying every cut and against scipy's peaks."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from scipy.signal import find_peaks

from tests.vision.edges.edge_photos_made import photo_of
from tests.vision.edges.edge_strips_made import fibre, particles, plies
from vision.edges.frame import lay_out
from vision.edges.plies import _best_path, count_plies, cut


def test_the_cheapest_path_is_the_cheapest_of_all():
    rng = np.random.default_rng(4)
    t = 11
    for k in (2, 3, 4):
        inner = np.where(np.subtract.outer(np.arange(t + 1), np.arange(t + 1)) < 0, rng.uniform(0, 5, (t + 1, t + 1)), np.inf)
        outer, pull = inner + rng.uniform(0, 1), [np.zeros((t + 1, t + 1)), rng.uniform(0, 1, (t + 1, t + 1))]

        def price(cuts, inner=inner, outer=outer, pull=pull, k=k):
            return sum((outer if i in (0, k - 1) else inner)[a, b] + pull[i % 2][a, b] for i, (a, b) in enumerate(pairwise(cuts)))

        every = [[0, *c, t] for c in combinations(range(1, t), k - 1)]
        best = min(every, key=price)
        found = _best_path(inner, outer, k, pull)
        assert found[0] == 0 and found[-1] == t and len(found) == k + 1
        assert price(found) == pytest.approx(price(best))


@pytest.mark.parametrize("count", [3, 5, 7, 9, 11, 13])
def test_plies_of_a_photographed_edge(count):
    strip = plies(count, seed=count, thickness=max(48, 8 * count), length=700)
    pixels, outline, face = photo_of(strip, angle=3.0)
    found = count_plies(lay_out(pixels, outline, face_at=face))
    assert found.plies == count and found.odd and found.alternation == 1.0
    true = np.arange(1, count) / count * len(strip)
    assert np.abs(found.bounds - true).max() < 1.2
    assert np.allclose(found.thickness_px, len(strip) / count, atol=2.0)
    # scipy's own peaks of the profile's slope lie at the same rows
    slope = np.abs(np.gradient(gaussian_filter1d(strip.mean(axis=(1, 2)), 1.0)))
    peaks, _ = find_peaks(slope, height=0.35 * slope.max(), distance=3)
    assert max(np.abs(peaks[:, None] + 0.5 - found.bounds).min(axis=0)) < 1.6


def test_a_profile_of_noise_is_one_layer():
    for seed in range(5):
        assert cut(np.random.default_rng(seed).normal(0, 1, (80, 3))).count <= 2


def test_boards_without_plies_gain_far_less():
    def gain(strip):
        pixels, outline, face = photo_of(strip)
        return count_plies(lay_out(pixels, outline, face_at=face)).gain

    assert min(gain(plies(7)), gain(plies(9, thickness=90))) > 2 * max(gain(fibre()), gain(particles()))


def test_a_dark_sheet_on_either_face_is_no_ply():
    strip = plies(7, thickness=98, length=700)
    dark = np.full((7, 700, 3), 32, np.uint8)
    pixels, outline, face = photo_of(np.concatenate([dark, strip, dark]), floor=150)
    found = count_plies(lay_out(pixels, outline, face_at=face))
    assert found.sheets == (True, True) and found.plies == 7 and found.count == 9

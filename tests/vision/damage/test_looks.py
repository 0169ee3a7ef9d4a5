"""Measures by hand against scikit-image and plain pictures."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.color import rgb2lab

from vision.damage.looks import BY_HAND, CHANNELS, MAPS, by_hand, looks


def test_light_and_colour_are_those_of_cie_lab() -> None:
    pixels = np.random.default_rng(1).integers(0, 255, (64, 96, 3)).astype(np.uint8)
    # skimage.color.rgb2lab on the same picture, averaged over blocks of 4
    lab = rgb2lab(pixels).reshape(16, 4, 24, 4, 3).mean(axis=(1, 3)) / 50
    found = by_hand(pixels)
    for layer, name in enumerate(("light", "red_green", "yellow_blue")):
        assert np.allclose(found[BY_HAND.index(name)], lab[..., layer], atol=0.02)


def test_plain_picture_has_no_contrast() -> None:
    found = by_hand(np.full((32, 32, 3), 90, np.uint8))
    for name in ("contrast_1", "contrast_2", "contrast_4", "dark_5", "dark_13", "light_5", "grey_edge"):
        assert np.abs(found[BY_HAND.index(name)]).max() < 1e-5


def test_dark_line_answers_where_it_lies_and_light_one_elsewhere() -> None:
    pixels = np.full((64, 64, 3), 180, np.uint8)
    pixels[:, 20:22] = 60
    pixels[:, 44:46] = 250
    found = by_hand(pixels)
    dark, light = found[BY_HAND.index("dark_5")], found[BY_HAND.index("light_5")]
    assert (dark[:, 5] > 0.5).all() and dark[:, 11].max() < 0.01
    assert (light[:, 11] > 0.2).all() and light[:, 5].max() < 0.01


def test_wide_dark_band_is_seen_by_the_wide_measure_only() -> None:
    pixels = np.full((64, 64, 3), 180, np.uint8)
    pixels[:, 24:33] = 60
    found = by_hand(pixels)
    assert found[BY_HAND.index("dark_13")][:, 7].min() > 0.5 and found[BY_HAND.index("dark_5")][:, 7].max() < 0.01


def test_looks_hold_the_backbone_and_the_quarters() -> None:
    pixels = np.random.default_rng(2).integers(0, 255, (64, 96, 3)).astype(np.uint8)
    found = looks(pixels)
    assert found.shape == (CHANNELS, 8, 12) and found.dtype == np.float32
    hand = by_hand(pixels)
    first = sum(MAPS.values())
    for quarter, (dy, dx) in enumerate(((0, 0), (0, 1), (1, 0), (1, 1))):
        assert np.array_equal(found[first + quarter], hand[0, dy::2, dx::2])
    with pytest.raises(ValueError, match="multiples of 32"):
        looks(pixels[:50])

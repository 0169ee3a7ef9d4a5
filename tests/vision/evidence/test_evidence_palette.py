"""Bands can be told apart by eyes of all kinds, and by pattern alone."""

from itertools import combinations

import numpy as np
import pytest

from vision import registry
from vision.evidence.bands import PATTERNS, draw_band
from vision.evidence.palette import BANDS, BED, INK, PAPER, UNDECIDED

# Machado, Oliveira & Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE TVCG 15(6),
# 2009, severity 1.0; the matrices act on linear RGB.
SEEN_BY = {
    "normal": np.eye(3),
    "protanopia": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]),
    "deuteranopia": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]),
    "tritanopia": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]),
}


def linear(rgb):
    c = np.asarray(rgb) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def seen(rgb, by):
    from skimage.color import rgb2lab  # outside source for CIE L*a*b*

    light = np.clip(SEEN_BY[by] @ linear(rgb), 0, 1)
    return rgb2lab(np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)[None, None])[0, 0]


def contrast(a, b):
    """WCAG 2 contrast ratio."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    low, high = sorted((float(linear(a) @ weights), float(linear(b) @ weights)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("eyes", sorted(SEEN_BY))
def test_any_two_bands_differ_in_colour(eyes):
    for a, b in combinations(BANDS.values(), 2):
        # 2.3 is a just noticeable difference in L*a*b* (Mahy et al. 1994); ten of them hold on a small screen
        assert np.linalg.norm(seen(a.colour, eyes) - seen(b.colour, eyes)) > 23


def test_every_band_stands_out_from_its_bed_and_text_from_its_paper():
    assert all(contrast(b.colour, BED) >= 3 for b in BANDS.values())  # WCAG 2.2, 1.4.11 graphical objects
    assert contrast(INK, PAPER) >= 7  # WCAG 2.2, 1.4.6


def test_every_face_and_no_other_has_a_band_with_its_own_pattern_and_words():
    assert set(BANDS) == {*registry.FACES, UNDECIDED}
    assert len({b.pattern for b in BANDS.values()}) == len(BANDS) and {b.pattern for b in BANDS.values()} <= set(PATTERNS)
    assert len({b.words for b in BANDS.values()}) == len(BANDS)


def strip(band):
    picture = np.full((40, 400, 3), 128, np.uint8)
    draw_band(picture, np.array([[10.0, 20.0], [390.0, 20.0]]), band, 8, closed=False)
    return (np.abs(picture.astype(int) - BED).sum(axis=2) > 100)[12:29, 40:360]  # where the inlay lies on its bed


def test_patterns_differ_without_colour():
    shapes = {k: strip(b) for k, b in BANDS.items()}
    for a, b in combinations(shapes, 2):
        assert (shapes[a] != shapes[b]).mean() > 0.08, (a, b)
    assert all(0.1 < s.mean() < 0.95 for s in shapes.values())


def test_bands_stay_within_their_width():
    for band in BANDS.values():
        picture = np.full((80, 400, 3), 128, np.uint8)
        draw_band(picture, np.array([[60.0, 40.0], [340.0, 40.0]]), band, 8, closed=False)
        rows, cols = np.nonzero((picture != 128).any(axis=2))
        assert rows.min() >= 40 - 14 and rows.max() <= 40 + 14
        assert cols.min() >= 60 - 16 and cols.max() <= 340 + 16

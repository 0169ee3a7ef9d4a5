"""Small changes of a photo carry the outlines along; flips, openings and movement are counted as they happen."""

import math

import cv2
import numpy as np
import pytest

from training.robust_changes import CHANGES, versions
from training.robust_scores import Outcome, lines, log_odds, totals

WIDTH, HEIGHT = 400, 300
BOX = np.array([[100.0, 60.0], [300.0, 60.0], [300.0, 240.0], [100.0, 240.0]])


def photo() -> np.ndarray:
    """A dark picture with a bright box just inside BOX."""
    pixels = np.full((HEIGHT, WIDTH, 3), 40, np.uint8)
    cv2.rectangle(pixels, (100, 60), (299, 239), (200, 180, 160), -1)
    return pixels


@pytest.mark.parametrize("name", list(CHANGES))
def test_the_outline_still_lies_on_what_it_was_drawn_round(name):
    pixels, outline = CHANGES[name](photo(), BOX)
    mask = np.zeros(pixels.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.rint(outline).astype(np.int32)], 1)
    bright = pixels[..., 1] > 110
    assert (mask.astype(bool) & bright).sum() / (mask.astype(bool) | bright).sum() > 0.96


def test_the_first_version_is_the_photo_itself():
    (name, change), *rest = versions()
    pixels, outline = change(photo(), BOX)
    assert name not in CHANGES and len(rest) == len(CHANGES)
    assert np.array_equal(pixels, photo()) and np.array_equal(outline, BOX)


def test_mirroring_twice_is_nothing():
    once = CHANGES["mirrored"](photo(), BOX)
    twice = CHANGES["mirrored"](*once)
    assert not np.array_equal(once[1], BOX)
    assert np.array_equal(twice[0], photo()) and np.array_equal(twice[1], BOX)


def test_a_cut_panel_is_clipped_and_one_mostly_cut_away_is_gone():
    crop = CHANGES["10 % cut off every side"]
    pixels, outline = crop(photo(), BOX - [90.0, 0.0])  # 10..210: thirty of two hundred pixels lie outside
    assert pixels.shape == (240, 320, 3)
    assert outline[:, 0].min() == 0 and outline[:, 0].max() == 170
    assert len(crop(photo(), np.array([[0.0, 60.0], [50.0, 60.0], [50.0, 200.0], [0.0, 200.0]]))[1]) == 0


def test_white_balance_moves_red_and_blue_apart():
    warm, _ = CHANGES["warmer: red +10 %, blue -10 %"](photo(), BOX)
    assert tuple(warm[100, 200]) == (220, 180, 144)


def test_compression_changes_little_but_something():
    pixels, _ = CHANGES["JPEG quality 50"](photo(), BOX)
    gap = np.abs(pixels.astype(int) - photo())
    assert 0 < gap.mean() < 3


def outcome(author: str, flipped: bool, opened: bool, moved: float = 0.0) -> Outcome:
    return Outcome(author, "mirrored", flipped, opened, moved)


def test_flips_are_counted_among_the_still_decided():
    found = [outcome("a", True, False, -2.0), outcome("a", False, False, 1.0), outcome("b", False, True, float("nan"))]
    text = lines(found)[1]
    assert "1/2 = 0.500" in text and "1/3 = 0.333" in text and "-0.50 1.50" in text
    assert totals(found)["other class, of the still decided"][0] == 0.5
    assert totals(found)["undecided"][0] == pytest.approx(1 / 3)


def test_the_interval_widens_when_one_author_makes_all_the_flips():
    spread_out = [outcome(f"a{k}", k % 5 == 0, False) for k in range(40) for _ in range(4)]
    lumped = [outcome(f"a{k // 4}", k // 4 < 2, False) for k in range(40) for _ in range(4)]
    wide, narrow = (np.ptp(totals(x)["other class, of the still decided"][1:]) for x in (lumped, spread_out))
    assert wide > 1.4 * narrow


def test_log_odds_stay_finite():
    assert log_odds(0.5) == 0 and log_odds(0.9) == pytest.approx(math.log(9))
    assert math.isfinite(log_odds(1.0)) and log_odds(0.0) == pytest.approx(-log_odds(1.0))

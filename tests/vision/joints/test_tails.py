"""Fingers and dovetails: place, pitch and angle against closed forms, and against scipy's peak finder."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import find_peaks

from tests.vision.joints.joint_drawings import fingers
from vision.joints import tails
from vision.joints.band import _splits, _without_specks, lab_of, search, two_levels, without_short
from vision.joints.sides import edges_of, slant_of


def best_of(pixels: np.ndarray) -> tails.Candidate:
    return max(tails.candidates(pixels), key=lambda c: c.band.score)


@pytest.mark.parametrize("angle", [0.0, 7.1, 9.5, 14.0])
def test_angle_of_the_sides_is_the_drawn_one(angle: float) -> None:
    """Closed form: drawn with depth * tan(angle)."""
    c = best_of(fingers(angle)[0])
    assert c.slant is not None
    assert c.slant.angle == pytest.approx(angle, abs=0.8)
    assert c.slant.error < 1.0


@pytest.mark.parametrize("turns", range(4))
def test_found_at_every_side_and_placed_where_it_is(turns: int) -> None:
    pixels, sides = fingers(9.5)
    h = pixels.shape[0]
    turned = np.ascontiguousarray(np.rot90(pixels, -turns))  # clockwise: what lay at the right comes to the bottom, left, top
    found = tails.tails_from(best_of(turned), 0.9, 0.5)
    assert found.end == ("right", "bottom", "left", "top")[turns]
    middles = np.array([s.line for s in found.sides]).mean(axis=1)
    along = middles[:, 1] if turns % 2 == 0 else middles[:, 0]
    true = np.sort(sides if turns in (0, 3) else h - 1 - sides)
    assert len(along) == len(true)
    assert np.abs(np.sort(along) - true).max() < 1.0
    assert found.depth == pytest.approx(30, abs=2.5)


def test_pitch_is_the_one_drawn_and_the_one_that_peaks_show() -> None:
    """Outside source: scipy.signal.find_peaks on darkness summed over the known band."""
    pixels, _ = fingers(8.0, pitch=37.0, count=6)
    found = tails.tails_from(best_of(pixels), 0.9, 0.5)
    dark = -pixels[:, -25:-5].astype(float).mean(axis=(1, 2))
    smooth = np.convolve(dark, np.ones(13) / 13, mode="same")
    peaks, _ = find_peaks(smooth, prominence=20)
    assert len(peaks) == 6
    assert found.pitch == pytest.approx(37.0, abs=0.5)
    assert found.pitch == pytest.approx(float(np.diff(peaks).mean()), abs=1.0)
    assert found.pitch_spread < 0.03
    assert found.pins == 6 and found.fingers == 5


def test_joint_that_ends_before_the_picture_does() -> None:
    c = best_of(fingers(9.0, past=14)[0])
    assert c.turns == 0
    assert c.band.end == pytest.approx(206, abs=2.5)
    assert c.slant is not None and c.slant.angle == pytest.approx(9.0, abs=1.0)


def test_lively_grain_does_not_hide_the_joint() -> None:
    c = best_of(fingers(8.0, grain=22.0, seed=3)[0])
    assert c.turns == 0 and len(c.band.changes) == 10


def test_a_plain_board_scores_far_below_a_joint() -> None:
    rng = np.random.default_rng(0)
    streaks = np.repeat(rng.normal(0, 12, (200, 1)), 220, axis=1)
    plain = np.clip(160 + streaks + rng.normal(0, 3, (200, 220)), 0, 255)[..., None] * np.array([1.0, 0.8, 0.6])
    worst = max((c.band.score for c in tails.candidates(plain.astype(np.uint8))), default=0.0)
    assert worst < 0.4 * best_of(fingers(8.0)[0]).band.score


def test_skewed_view_leaves_the_angle() -> None:
    """A shear by 4 degrees slants all sides alike; the angle that tails open by stays."""
    import cv2

    pixels, _ = fingers(9.5, count=6)
    h, w = pixels.shape[:2]
    shear = np.array([[1, 0, 0], [np.tan(np.deg2rad(4.0)), 1, -0.5 * w * np.tan(np.deg2rad(4.0))]])
    moved = cv2.warpAffine(pixels, shear, (w, h), borderMode=cv2.BORDER_REPLICATE)
    lab = lab_of(np.asarray(moved, np.uint8))
    edges = edges_of(lab, search(lab)[0])
    slant = slant_of(edges)
    assert slant is not None
    assert slant.angle == pytest.approx(9.5, abs=1.2)
    assert slant.skew == pytest.approx(4.0, abs=1.2)


def test_two_levels_agrees_with_otsu() -> None:
    """Outside source: skimage.filters.threshold_otsu."""
    from skimage.filters import threshold_otsu

    rng = np.random.default_rng(1)
    values = np.concatenate([rng.normal(0, 1, 300), rng.normal(8, 1, 200)])
    cut, share = two_levels(values)
    assert (values > cut).sum() == pytest.approx((values > threshold_otsu(values, nbins=512)).sum(), abs=2)
    assert share > 0.9


def test_short_runs_go_to_their_neighbours() -> None:
    pin = np.array([0, 0, 0, 0, 1, 0, 0, 0, 1, 1, 1, 1, 0, 0, 0, 0], bool)
    assert without_short(pin, 3).tolist() == [False] * 8 + [True] * 4 + [False] * 4


def test_too_few_fingers_to_say_how_they_were_made() -> None:
    found = tails.tails_from(best_of(fingers(9.0, count=3)[0]), 0.9, 0.99)
    assert found.fingers == 2 and found.made == "cannot_tell"


@pytest.mark.parametrize("shape", [(8, 8), (24, 14), (300, 9), (9, 300), (40, 40)])
def test_tiny_and_flat_pictures_are_no_trouble(shape: tuple[int, int]) -> None:
    for level in (0, 128, 255):
        assert tails.candidates(np.full((*shape, 3), level, np.uint8)) == []


def test_zigzag_and_saw_teeth_are_no_joint_however_likely() -> None:
    """Sides at 30 degrees: no tail is cut so; the same number at 14 degrees is spoken of."""
    found = tails.tails_from(best_of(fingers(14.0, pitch=44, count=6)[0]), 0.99, 0.5)
    assert tails.sayable(found)
    assert not tails.sayable(replace(found, angle=30.0, angle_error=1.0))
    assert not tails.sayable(replace(found, angle=15.0, depth=2.2 * found.pitch))


def test_the_gate_lets_joints_pass_and_keeps_some_patches_out() -> None:
    rng = np.random.default_rng(4)
    assert any(c.turns == 0 for c in tails.candidates(fingers(8.0)[0]))
    patches = np.kron(rng.normal(150, 14, (20, 22, 1)), np.ones((12, 12, 1))) + rng.normal(0, 3, (240, 264, 1))
    pixels = np.repeat(np.clip(patches, 0, 255), 3, axis=2).astype(np.uint8)
    every = tails.candidates(pixels, gated=False)
    passed = {(c.turns, c.band.shoulder) for c in tails.candidates(pixels)}
    assert passed < {(c.turns, c.band.shoulder) for c in every}


def test_every_place_at_once_is_judged_as_one_at_a_time() -> None:
    """Thresholds and shares of many rows at once against `two_levels`; runs of one and two rows against `without_short`."""
    rng = np.random.default_rng(2)
    values = np.where(rng.random((5, 120)) < 0.4, 0.0, 6.0) + rng.normal(0, 1, (5, 120))
    cuts, shares = _splits(values.astype(np.float32))
    for row, cut, share in zip(values, cuts, shares, strict=True):
        one, part = two_levels(row)
        assert ((row > cut) == (row > one)).all() and share == pytest.approx(part, abs=1e-4)
    pin = np.zeros((1, 40), bool)
    pin[0, 8:20], pin[0, 13], pin[0, 30:32] = True, False, True
    assert (_without_specks(pin)[0] == without_short(pin[0], 3)).all()


def test_two_tails_are_enough_only_when_all_is_clear() -> None:
    found = tails.tails_from(best_of(fingers(9.0, count=3)[0]), 0.99, 0.5)
    few = replace(found, fingers=1, pins=2, sides=found.sides[:4], chance=0.99, name="dovetail")
    assert tails.sayable(few)
    assert not tails.sayable(replace(few, chance=0.9))
    assert not tails.sayable(replace(few, name="cannot_tell"))
    assert not tails.sayable(replace(few, sides=few.sides[:3]))

"""Known moves are found where they are; straight grain is refused; a pure shift agrees with scikit-image."""

import numpy as np
import pytest
from skimage.registration import phase_cross_correlation

from training.trap_scenes import board_face
from vision.repeats.find import find_repeats
from vision.repeats.sheet import Sheet


def sheet(pixels, x, seed=0, photo="p"):
    noisy = np.clip(pixels + np.random.default_rng(seed).normal(0, 2, pixels.shape), 0, 255).astype(np.uint8)
    h, w = noisy.shape[:2]
    return Sheet(photo, f"at{x}", noisy, np.ones((h, w), bool), np.array([[1.0, 0, x], [0, 1, 0], [0, 0, 1]]))


@pytest.fixture(scope="module")
def board():
    return board_face("walnut_like", "flat", 12, 640, 240)


def best(a, b):
    found = [r for r in find_repeats([sheet(a, 0, 1), sheet(b, 900, 2)]) if not r.within]
    assert found and not found[0].same_surface
    return found[0]


def lands(repeat, point):
    p = repeat.transform @ [*point, 1.0]
    return p[:2] / p[2]


def test_a_shift_is_found_to_a_pixel(board):
    found = best(board[:, :480], board[:, 100:580])
    assert found.motion == "shift"
    np.testing.assert_allclose(lands(found, (300, 120)), (200, 120), atol=1.5)
    assert found.along_sd <= 2.0


def test_scikit_image_agrees_on_a_pure_shift(board):
    a, b = board[:, :480], board[:, 40:520]
    shift, _, _ = phase_cross_correlation(a.mean(axis=2), b.mean(axis=2), upsample_factor=10)
    move = lands(best(a, b), (240, 120)) - (240, 120)
    np.testing.assert_allclose(move, (-shift[1], -shift[0]), atol=1.5)


def test_a_half_turn(board):
    found = best(board[:, :480], board[:, :480][::-1, ::-1])
    assert found.motion == "half_turn"
    np.testing.assert_allclose(lands(found, (100, 60)), (379, 179), atol=2.0)


def test_a_mirror(board):
    found = best(board[:, :480], board[:, :480][::-1])
    assert found.motion == "mirror"
    np.testing.assert_allclose(lands(found, (100, 60)), (100, 179), atol=2.0)


def test_straight_grain_is_refused():
    rows = np.random.default_rng(5).normal(0, 1, 800)
    lines = 130 + 25 * np.convolve(rows, np.ones(5) / 2.2, "same")
    a, b = (np.repeat(lines[k : k + 240, None, None], 480, 1) * [1.0, 0.8, 0.6] for k in (0, 0))
    assert [r for r in find_repeats([sheet(a, 0, 1), sheet(b, 900, 2)]) if not r.same_surface] == []


def test_unrelated_boards_have_no_repeat():
    a, b = (board_face("white_oak_like", "flat", s, 480, 240) for s in (31, 47))
    assert find_repeats([sheet(a, 0, 1), sheet(b, 900, 2)]) == ()

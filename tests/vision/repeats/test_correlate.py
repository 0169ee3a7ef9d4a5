"""Dense correlation: agrees with SciPy's convolution, finds known moves in every laying, and outlives what kills features."""

import cv2
import numpy as np
import pytest
from scipy.signal import fftconvolve

from training.trap_scenes import board_face
from vision.repeats.correlate import correlation, dense_moves, peaks, shared, standing
from vision.repeats.describe import describe
from vision.repeats.register import register
from vision.repeats.sheet import Sheet


def sheet(pixels, seed=0):
    noisy = np.clip(pixels + np.random.default_rng(seed).normal(0, 2, pixels.shape), 0, 255).astype(np.uint8)
    return Sheet("p", f"at{seed}", np.ascontiguousarray(noisy), np.ones(noisy.shape[:2], bool), np.eye(3))


def poor(pixels, seed):
    """A small, soft, noisy, coarsely coded picture."""
    small = cv2.resize(cv2.GaussianBlur(pixels, (0, 0), 2.5), None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    noisy = np.clip(small + np.random.default_rng(seed).normal(0, 3, small.shape), 0, 255).astype(np.uint8)
    return cv2.imdecode(cv2.imencode(".jpg", noisy, [cv2.IMWRITE_JPEG_QUALITY, 40])[1], cv2.IMREAD_COLOR)


@pytest.fixture(scope="module")
def board():
    return board_face("walnut_like", "flat", 12, 640, 240)


@pytest.mark.parametrize("turned", [False, True])
def test_correlation_and_shared_area_agree_with_scipy(turned):
    rng = np.random.default_rng(1)
    a, b = rng.normal(0, 1, (13, 17)).astype(np.float32), rng.normal(0, 1, (11, 23)).astype(np.float32)
    ny, nx = 24, 40
    padded = [np.zeros((ny, nx), np.float32) for _ in range(2)]
    padded[0][:13, :17], padded[1][:11, :23] = a, b
    got = correlation(cv2.dft(padded[0]), cv2.dft(padded[1]), turned=turned)
    first = a if turned else a[::-1, ::-1]  # correlation is convolution with the turned image (scipy.signal.fftconvolve)
    whole, ones = fftconvolve(first, b), fftconvolve(np.ones_like(a), np.ones_like(b))
    shift = (0, 0) if turned else (-12, -16)
    rows, columns = (np.arange(23) + shift[0]) % ny, (np.arange(39) + shift[1]) % nx
    np.testing.assert_allclose(got[np.ix_(rows, columns)], whole, atol=1e-3)
    area = np.outer(shared(13, 11, ny, turned=turned), shared(17, 23, nx, turned=turned))
    np.testing.assert_allclose(area[np.ix_(rows, columns)], ones, atol=1e-3)


def lands(transform, point):
    p = transform @ [*point, 1.0]
    return p[:2] / p[2]


LAYINGS = {
    "shift": (lambda p: p, lambda x, y: (x, y)),
    "half turn": (lambda p: p[::-1, ::-1], lambda x, y: (479 - x, 239 - y)),
    "mirrored across": (lambda p: p[::-1], lambda x, y: (x, 239 - y)),
    "mirrored along": (lambda p: p[:, ::-1], lambda x, y: (479 - x, y)),
    "quarter turn": (lambda p: np.rot90(p), lambda x, y: (y, 479 - x)),
}


@pytest.mark.parametrize("laying", LAYINGS)
def test_a_known_move_is_the_highest_peak(board, laying):
    lay, where = LAYINGS[laying]
    best = peaks(describe(sheet(board[:, :480], 1)), describe(sheet(lay(board[:, 100:580]), 2)))[0]
    for x, y in ((150, 60), (400, 200)):
        np.testing.assert_allclose(lands(best.transform, (x, y)), where(x - 100, y), atol=4.0)


def test_a_change_of_size_is_within_a_scale_step(board):
    larger = cv2.resize(board[:, :480], None, fx=1.05, fy=1.05, interpolation=cv2.INTER_CUBIC)
    best = peaks(describe(sheet(board[:, :480], 1)), describe(sheet(larger, 2)))[0]
    for x, y in ((60, 60), (420, 200)):
        np.testing.assert_allclose(lands(best.transform, (x, y)), (1.05 * x, 1.05 * y), atol=6.0)


def test_a_poor_copy_stands_out_of_what_unrelated_boards_bring(board):
    def height(a, b):
        found = peaks(describe(sheet(a, 1)), describe(sheet(b, 2)), most=1)[0]
        return found.height, found.transform

    copy, at = height(poor(board[:, :480], 3), poor(board[:, 100:580], 4))
    np.testing.assert_allclose(lands(at, (120, 60)), (70, 60), atol=4.0)
    others = [poor(board_face("walnut_like", "flat", s, 480, 240), s) for s in (21, 22, 23)]
    strangers = [height(poor(board[:, :480], 3), other)[0] for other in others]
    assert copy > 1.2 * max(strangers)


def test_moves_name_the_places_that_agree(board):
    found = dense_moves(describe(sheet(board[:, :480], 1)), describe(sheet(board[:, 100:580], 2)))[0]
    assert found.peak > 6 and found.signs == (1, 1) and found.votes > 10
    assert (found.points_a[:, 0] > 95).all()  # further left the second sheet shows nothing
    np.testing.assert_allclose(found.points_b, found.points_a - (100, 0), atol=6.0)


def test_a_registered_copy_stands_and_the_same_place_of_another_board_does_not(board):
    a = describe(sheet(board[:, :480], 1)).figure
    copy = describe(sheet(board[:, 100:580], 2)).figure
    other = describe(sheet(board_face("walnut_like", "flat", 31, 480, 240), 3)).figure
    shift = np.array([[1, 0, -100], [0, 1, 0], [0, 0, 1.0]])
    right, wrong = register(a, copy, shift), register(a, other, shift)
    assert right is not None and standing(right) > 8
    assert wrong is None or standing(wrong) < 0.6 * standing(right)

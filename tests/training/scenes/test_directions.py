"""The direction map agrees with the truth's own angle at the middle, with finite differences, and with what is drawn."""

import cv2
import numpy as np

from training.scenes.directions import axis_step, direction_map

H = np.array([[0.9, -0.25, 120.0], [0.2, 0.8, 60.0], [2e-4, -3e-4, 1.0]])


def to_photo(h, p):
    q = np.c_[p, np.ones(len(p))] @ h.T
    return q[:, :2] / q[:, 2:]


def test_step_equals_the_finite_difference_of_the_homography():
    on_board = np.random.default_rng(0).uniform(0, 300, (50, 2))
    at, step = to_photo(H, on_board), np.array([1e-4, 0.0])
    numeric = (to_photo(H, on_board + step) - to_photo(H, on_board - step)) / 2e-4
    np.testing.assert_allclose(axis_step(H, at), numeric, rtol=1e-6, atol=1e-7)


def test_without_grain_or_panel_the_map_is_empty():
    ids = np.zeros((40, 50), np.uint8)
    ids[:, 20:] = 3
    ids[:, 40:] = 4
    panels = [{"id": 3, "grain_deg": None, "to_photo": H.tolist()}, {"id": 4, "grain_deg": 10.0, "to_photo": np.eye(3).tolist()}]
    found = direction_map({"panels": panels}, ids)
    assert np.isnan(found[:, :40]).all()
    np.testing.assert_allclose(found[:, 40:], 0.0, atol=1e-4)


def test_map_follows_the_drawn_boards():
    """On a drawn board in perspective, the image of a line along the board has the mapped direction (as scikit-image sees it)."""
    ids = np.ones((300, 400), np.uint8)
    found = direction_map({"panels": [{"id": 1, "grain_deg": 0.0, "to_photo": H.tolist()}]}, ids)
    rows = np.arange(600, dtype=np.float32)[:, None] + np.zeros((1, 800), np.float32)
    board = 128 + 100 * np.sin(2 * np.pi * rows / 16)
    seen = cv2.warpPerspective(board, H, (400, 300), flags=cv2.INTER_CUBIC, borderValue=128.0)
    from skimage.feature import structure_tensor

    rr, rc, cc = structure_tensor(seen, sigma=8, order="rc")
    along = np.degrees(0.5 * np.arctan2(2 * rc, cc - rr)) + 90  # of the gradient, turned to the line
    strong = (rr + cc) > np.quantile(rr + cc, 0.6)
    strong[:40], strong[-40:], strong[:, :40], strong[:, -40:] = False, False, False, False
    off = np.radians((-along - found)[strong])
    assert np.degrees(np.abs(np.arctan2(np.sin(2 * off), np.cos(2 * off)) / 2)).mean() < 1.5

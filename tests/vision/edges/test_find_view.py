"""Which narrow sides of a rectangular panel face the camera: against a camera and a panel whose places are known."""

from __future__ import annotations

import numpy as np
import pytest

from vision.edges.find import sides_of
from vision.edges.find_view import FOCAL, turned_to_camera

SIZE = (1200, 900)


def seen(camera, centre=(0.0, 0.0, 0.0), half=(0.5, 0.3), focal=FOCAL):
    """A panel in the plane z = 0, half its size along x and y, seen from `camera` that looks at `centre`: ((4, 2) photo px,
    (4,) how far the narrow side at each side is turned to the camera, by its place)."""
    eye = np.asarray(camera, float)
    forward = np.asarray(centre) - eye
    forward /= np.linalg.norm(forward)
    right = np.cross(forward, (0.13, 1.0, 0.05))
    right /= np.linalg.norm(right)
    axes = np.stack([right, np.cross(forward, right), forward])
    corners = np.array([(-1, -1, 0), (1, -1, 0), (1, 1, 0), (-1, 1, 0)]) * np.array([*half, 0.0])
    at = (corners - eye) @ axes.T
    pixels = at[:, :2] / at[:, 2:] * focal * max(SIZE) + 0.5 * (np.array(SIZE) - 1)
    middle = 0.5 * (corners + np.roll(corners, -1, axis=0))
    away = np.array([(0, -1, 0), (1, 0, 0), (0, 1, 0), (-1, 0, 0)], float)
    view = eye - middle
    return pixels, (view * away).sum(axis=1) / np.linalg.norm(view, axis=1)


def sides(pixels):
    following = np.roll(pixels, -1, axis=0)
    along = following - pixels
    along /= np.hypot(*along.T)[:, None]
    out = np.stack([along[:, 1], -along[:, 0]], axis=1)
    out *= np.sign(((0.5 * (pixels + following) - pixels.mean(axis=0)) * out).sum(axis=1))[:, None]
    return pixels, following, out


@pytest.mark.parametrize("camera", [(0.9, -1.1, 1.2), (-0.8, 0.3, 1.3), (0.1, 1.4, 0.9), (0.02, 0.03, 1.5)])
def test_the_turn_is_that_of_the_camera_s_place(camera):
    pixels, truth = seen(camera)
    turned = turned_to_camera(*sides(pixels), SIZE)
    # measured at the middle on the photo, which is not quite the side's middle in space
    assert turned == pytest.approx(truth, abs=0.06)


def test_another_focal_length_keeps_the_sign_of_what_is_clearly_turned():
    pixels, truth = seen((0.9, -1.1, 1.2), focal=FOCAL * 1.3)
    turned = turned_to_camera(*sides(pixels), SIZE)
    clear = np.abs(truth) > 0.25
    assert clear.any() and (np.sign(turned[clear]) == np.sign(truth[clear])).all()


def test_a_pair_and_one_side_across_are_enough():
    pixels, truth = seen((0.9, -1.1, 1.2))
    first, last, out = sides(pixels)
    assert turned_to_camera(first[:3], last[:3], out[:3], SIZE) == pytest.approx(truth[:3], abs=0.06)


def test_what_does_not_tell_gives_none():
    pixels, _ = seen((0.9, -1.1, 1.2))
    first, last, out = sides(pixels)
    assert turned_to_camera(first[:2], last[:2], out[:2], SIZE) is None
    whole = np.array([(0.0, 0.0), (1199.0, 0.0), (1199.0, 899.0), (0.0, 899.0)])
    assert turned_to_camera(*sides(whole), SIZE) is None  # the photo's own borders are no sides


def test_sides_of_an_outline_carry_their_turn():
    pixels, truth = seen((0.9, -1.1, 1.2))
    told = [panel for *_, panel in sides_of(pixels, SIZE)]
    assert len(told) == 4 and all(panel["view_known"] == 1.0 for panel in told)
    assert all(panel["view_known"] == 0.0 for *_, panel in sides_of(pixels))
    assert sorted(panel["turned"] for panel in told) == pytest.approx(sorted(truth), abs=0.06)

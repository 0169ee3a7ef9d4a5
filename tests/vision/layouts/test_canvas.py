"""The canvas of a panel: places map to and fro, and a turned panel gives the turned canvas."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.vision.layouts.ideal import blank
from tests.vision.layouts.patterns import picture, view_of, wandering
from vision.grain import grain_field
from vision.layouts.canvas import TALL, WIDE, Canvas, _mean_at, make_canvas


def canvas_of(grey: np.ndarray) -> Canvas:
    view = view_of(picture(grey))
    return make_canvas(view, grain_field(view.pixels, mask=view.mask))


@pytest.mark.parametrize(("width", "height"), [(640, 480), (300, 640), (200, 200), (640, 120)])
def test_places_map_to_and_fro(width: int, height: int) -> None:
    canvas = blank(width, height)
    points = np.random.default_rng(0).uniform(0, 1, (20, 2)) * [width, height]
    assert np.allclose(canvas.to_view(canvas.to_canvas(points)), points)
    corners = canvas.to_canvas(np.array([[-0.5, -0.5], [width - 0.5, height - 0.5]]))
    assert np.allclose(np.sort(corners, 0), [[-0.5, -0.5], [WIDE - 0.5, TALL - 0.5]])


def test_a_turned_panel_gives_the_same_canvas() -> None:
    grey = wandering(256, 320, 3)
    lying = canvas_of(grey)
    upright = canvas_of(np.ascontiguousarray(np.rot90(grey, -1)))
    assert not lying.turned and upright.turned
    # light channels agree exactly, grain direction as far as its cells allow
    assert np.allclose(lying.channels[:4], upright.channels[:4], atol=1e-4)
    assert np.corrcoef(lying.channels[4].ravel(), upright.channels[4].ravel())[0, 1] > 0.98


def test_grain_along_the_canvas_points_along_it() -> None:
    canvas = canvas_of(wandering(256, 320, 5))
    assert np.median(canvas.channels[4]) > 0.5 and abs(np.median(canvas.channels[5])) < 0.4


def test_what_is_no_panel_is_zero() -> None:
    view = view_of(picture(wandering(256, 320, 5)))
    view.mask[:, 200:] = False
    canvas = make_canvas(view, grain_field(view.pixels, mask=view.mask))
    assert np.all(canvas.channels[:7, :, 204:] == 0)


@pytest.mark.parametrize("degrees", [20.0, -28.0])
def test_a_slanting_panel_is_turned_straight(degrees: float) -> None:
    # closed form: places go round by the angle the picture was turned by
    big = wandering(700, 800, 6)
    matrix = cv2.getRotationMatrix2D((400, 350), degrees, 1.0)
    turned = cv2.warpAffine(big, matrix, (800, 700))[130:570, 160:640]
    canvas = canvas_of(turned)
    assert canvas.box != (480, 440) and canvas.box[0] >= 64
    ends = canvas.to_view(np.array([[40.0, 128.0], [280.0, 128.0]]))
    if canvas.turned:
        ends = canvas.to_view(np.array([[160.0, 40.0], [160.0, 200.0]]))
    d = ends[1] - ends[0]
    angle = np.degrees(np.arctan2(-d[1], d[0]))
    assert abs((angle - degrees + 90) % 180 - 90) < 3
    points = np.random.default_rng(1).uniform(0, 1, (9, 2)) * [WIDE, TALL]
    assert np.allclose(canvas.to_canvas(canvas.to_view(points)), points)
    inside = canvas.to_view(np.array([[0.0, 0.0], [WIDE - 1.0, 0.0], [0.0, TALL - 1.0], [WIDE - 1.0, TALL - 1.0]]))
    assert (inside > -2).all() and (inside < [481, 441]).all()


@pytest.mark.parametrize(("sigma", "height", "width"), [(12.0, TALL, WIDE), (24.0, TALL, WIDE), (24.0, 203, 251)])
def test_means_over_the_panel_are_those_of_a_full_blur(sigma: float, height: int, width: int) -> None:
    light = 50 + 8 * cv2.GaussianBlur(np.random.default_rng(4).normal(size=(height, width)).astype(np.float32), (0, 0), 1.0)
    light += np.linspace(0, 30, width, dtype=np.float32)
    light[0] = 5.0  # a dark outermost row counts once
    cover = np.ones_like(light)
    cover[60:90, 100:180] = 0
    share = cv2.GaussianBlur(cover, (0, 0), sigma)
    assert np.abs(_mean_at(light, cover, sigma) - cv2.GaussianBlur(light * cover, (0, 0), sigma) / share).max() < 0.1

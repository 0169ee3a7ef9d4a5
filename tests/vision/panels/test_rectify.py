"""Working views: exact way back to the photo, right aspect, no aliasing."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.panels import geometry, rectify
from vision.panels.rectify import WORKING_PX
from vision.types import Panel, Photo


def photo_of(pixels: np.ndarray, mm_per_px: float | None = None) -> Photo:
    return Photo(id="f1", file="a.jpg", sha256="0", pixels=pixels, mm_per_px=mm_per_px)


def panel_of(points, **kwargs) -> Panel:
    return Panel(id="f1.p1", photo="f1", outline=tuple((float(x), float(y)) for x, y in points), **kwargs)


def coordinates_picture(width: int, height: int) -> np.ndarray:
    """A picture whose colours are smooth functions of position, so that a sampled colour tells where it came from."""
    ys, xs = np.mgrid[0:height, 0:width]
    return np.dstack([xs * 255.0 / width, ys * 255.0 / height, 128 + 0 * xs]).round().astype(np.uint8)


def seen_rectangle(width_m: float, height_m: float, yaw: float, pitch: float, distance: float, focal: float,
                   size: tuple[int, int]) -> np.ndarray:
    """Corners (clockwise from top left) of a real rectangle through a pinhole camera of `focal` px at the centre."""
    corners = np.array([[-width_m, -height_m, 0], [width_m, -height_m, 0], [width_m, height_m, 0], [-width_m, height_m, 0]]) / 2
    cy, sy, cp, sp = np.cos(yaw), np.sin(yaw), np.cos(pitch), np.sin(pitch)
    turn = np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]]) @ np.array([[1, 0, 0], [0, cp, -sp], [0, sp, cp]])
    p = corners @ turn.T + [0, 0, distance]
    return p[:, :2] / p[:, 2:] * focal + [(size[0] - 1) / 2, (size[1] - 1) / 2]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 60), st.floats(0, 60)), min_size=4, max_size=4), st.floats(100, 800))
def test_to_photo_tells_where_every_working_pixel_came_from(jitter, size):
    pixels = coordinates_picture(900, 900)
    base = np.array([[20, 20], [20 + size, 20], [20 + size, 20 + size], [20, 20 + size]], dtype=float)
    corners = np.clip(base + np.array(jitter), 0, 899)
    view = rectify(photo_of(pixels), panel_of(corners))
    assert max(view.pixels.shape[:2]) <= WORKING_PX
    h, w = view.mask.shape
    ys, xs = np.mgrid[2:h - 2:7, 2:w - 2:7]
    inside = cv2.erode(view.mask.astype(np.uint8), np.ones((5, 5)))[ys, xs] > 0
    points = np.c_[xs[inside], ys[inside]].astype(float)
    on_photo = view.photo_points(points)
    seen = view.pixels[ys[inside], xs[inside]].astype(float)
    assert np.abs(seen[:, 0] - on_photo[:, 0] * 255 / 900).max() < 1.6
    assert np.abs(seen[:, 1] - on_photo[:, 1] * 255 / 900).max() < 1.6
    back = geometry.apply(np.linalg.inv(view.to_photo), on_photo)
    assert np.abs(back - points).max() < 1e-6


@settings(max_examples=40, deadline=None)
@given(st.floats(-0.9, 0.9), st.floats(-0.7, 0.7), st.floats(0.4, 2.5), st.floats(0.6, 1.4))
def test_true_aspect_of_a_rectangle_seen_through_a_pinhole_camera(yaw, pitch, aspect, focal_share):
    size = (1600, 1200)
    quad = seen_rectangle(aspect, 1.0, yaw, pitch, 3.5, focal_share * 1600, size)
    estimate = geometry.true_aspect(geometry.order_corners(quad), *size)
    # With weak perspective the focal length is assumed, which costs accuracy: a quarter at most on a grid over these angles.
    assert estimate == pytest.approx(aspect, rel=0.26)


def test_aspect_is_exact_where_perspective_tells_the_focal_length():
    quad = seen_rectangle(1.5, 1.0, 0.7, 0.5, 3.0, 1200, (1600, 1200))
    assert geometry.true_aspect(geometry.order_corners(quad), 1600, 1200) == pytest.approx(1.5, rel=0.01)


def test_perspective_is_undone():
    """A chequered board seen at an angle comes back with equal squares."""
    squares = np.kron(np.indices((6, 8)).sum(axis=0) % 2, np.ones((80, 80)))
    board = np.dstack([squares * 200 + 20] * 3).astype(np.uint8)
    quad = seen_rectangle(8, 6, 0.6, 0.3, 22, 1500, (1600, 1200))
    h = cv2.getPerspectiveTransform(np.float32([[0, 0], [640, 0], [640, 480], [0, 480]]) - 0.5, np.float32(quad))
    pixels = cv2.warpPerspective(board, h, (1600, 1200), flags=cv2.INTER_AREA, borderValue=(90, 90, 90))
    view = rectify(photo_of(pixels), panel_of(quad))
    height, width = view.mask.shape
    assert width / height == pytest.approx(8 / 6, rel=0.03)
    ideal = cv2.resize(board, (width, height), interpolation=cv2.INTER_AREA)
    assert np.mean(np.abs(view.pixels.astype(int) - ideal)) < 12
    assert view.mask.mean() > 0.98


@pytest.mark.parametrize("angle", [0, 20, 63, 90, 135, 178])
def test_thin_strip_lies_horizontally(angle):
    c, s = np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))
    corners = np.array([[-300, -20], [300, -20], [300, 20], [-300, 20]]) @ np.array([[c, s], [-s, c]]) + [400, 400]
    view = rectify(photo_of(coordinates_picture(800, 800)), panel_of(corners))
    h, w = view.mask.shape
    assert w / h == pytest.approx(15, rel=0.1)
    ends = view.photo_points(np.array([[0, h / 2], [w - 1, h / 2]]))
    along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    assert abs(along @ [c, s]) > 0.999


def test_fine_texture_is_averaged_not_aliased():
    """Stripes of 2 px shrunk 6 times must come out flat grey, not as a beat pattern (closed form: their mean)."""
    stripes = np.tile(np.array([0, 255], np.uint8), 1950)
    pixels = np.ascontiguousarray(np.broadcast_to(stripes[None, :, None], (2600, 3900, 3)))
    for corners in ([[0, 0], [3899, 0], [3899, 2599], [0, 2599]], [[200, 100], [3700, 300], [3600, 2300], [150, 2500]],
                    [[0, 0], [3899, 0], [3899, 1200], [2500, 2599], [0, 2599]]):
        view = rectify(photo_of(pixels), panel_of(corners))
        grey = view.pixels[..., 0][cv2.erode(view.mask.astype(np.uint8), np.ones((9, 9))) > 0]
        assert abs(grey.mean() - 127.5) < 4
        assert grey.std() < 14


def test_native_crop_is_the_photo_itself():
    pixels = np.random.default_rng(1).integers(0, 255, (300, 400, 3), dtype=np.uint8)
    view = rectify(photo_of(pixels, mm_per_px=0.5), panel_of([[50, 40], [150, 60], [140, 200], [60, 180], [40, 100]]))
    x, y = view.native_origin
    assert view.native.base is not None and np.shares_memory(view.native, pixels)
    assert (view.native == pixels[y:y + view.native.shape[0], x:x + view.native.shape[1]]).all()
    assert view.native_mask[100 - y, 100 - x] and not view.native_mask[0, 0]
    assert view.mm_per_px == pytest.approx(0.5 * view.px_scale)
    assert view.px_scale == pytest.approx(1.0, abs=0.02)


def test_mask_of_a_concave_outline_agrees_with_scikit_image():
    """Outside source: skimage.draw.polygon2mask on the same corners."""
    from skimage.draw import polygon2mask

    outline = np.array([[10, 10], [200, 20], [120, 90], [210, 190], [15, 180]], dtype=float)
    view = rectify(photo_of(coordinates_picture(256, 256)), panel_of(outline))
    x, y = view.native_origin
    truth = polygon2mask((256, 256), outline[:, ::-1])[y:y + view.native.shape[0], x:x + view.native.shape[1]]
    assert (truth & view.native_mask).sum() / (truth | view.native_mask).sum() > 0.97


def test_quad_that_does_not_fit_its_outline_is_not_used():
    outline = [[0, 0], [300, 0], [300, 100], [100, 100], [100, 300], [0, 300]]
    quad = ((0.0, 0.0), (300.0, 0.0), (300.0, 300.0), (0.0, 300.0))
    view = rectify(photo_of(coordinates_picture(400, 400)), panel_of(outline, quad=quad))
    assert not view.mask[-1, -1] and view.mask[2, 2]
    assert view.to_photo[2, 0] == 0 == view.to_photo[2, 1]


@settings(max_examples=60, deadline=None)
@given(st.permutations(range(4)), st.floats(-40, 40))
def test_corner_order_does_not_depend_on_the_order_given(order, tilt):
    c, s = np.cos(np.deg2rad(tilt)), np.sin(np.deg2rad(tilt))
    upright = np.array([[-60.0, -40], [60, -40], [60, 40], [-60, 40]]) @ np.array([[c, s], [-s, c]]) + 200
    assert np.allclose(geometry.order_corners(upright[list(order)]), upright)

"""The steps of panel finding one by one, against closed forms and scikit-image."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.panels import geometry, quads, regions, superpixels
from vision.panels.cells import working_size
from vision.panels.partition import STOP


@pytest.mark.parametrize("size", [(4000, 3000), (3000, 4000), (640, 480), (5000, 300), (20, 20)])
def test_working_size_suits_the_backbone(size):
    w, h = working_size(*size)
    assert w % 32 == 0 and h % 32 == 0 and max(w, h) == 640
    assert w / h == pytest.approx(size[0] / size[1], rel=0.08) or min(w, h) == 32


def test_patches_do_not_cross_a_ridge():
    """Two halves divided by a ridge: no patch may hold pixels of both sides."""
    boundary = np.zeros((200, 240), np.float32)
    boundary[:, 118:121] = 1.0
    labels, count = superpixels.superpixels(boundary)
    left, right = set(np.unique(labels[:, :117])), set(np.unique(labels[:, 122:]))
    assert not left & right
    assert set(np.unique(labels)) == set(range(count))


def test_a_thin_strip_between_two_ridges_is_kept_apart():
    boundary = np.zeros((160, 240), np.float32)
    boundary[70:72], boundary[78:80] = 1.0, 1.0
    labels, _ = superpixels.superpixels(boundary)
    strip = set(np.unique(labels[74:76]))
    assert not strip & (set(np.unique(labels[:68])) | set(np.unique(labels[83:])))


@settings(max_examples=40, deadline=None)
@given(st.floats(-35, 35), st.floats(60, 160), st.floats(50, 120), st.floats(-0.0008, 0.0008), st.floats(-0.0008, 0.0008))
def test_a_quadrilateral_is_recovered_from_its_mask(tilt, width, height, px, py):
    c, s = np.cos(np.deg2rad(tilt)), np.sin(np.deg2rad(tilt))
    corners = np.array([[-width, -height], [width, -height], [width, height], [-width, height]]) / 1.0
    seen = geometry.apply(np.array([[c, -s, 0], [s, c, 0], [px, py, 1.0]]), corners) + np.array([320, 320])
    if seen.min() < 6 or seen.max() > 634 or not geometry.is_trustworthy(geometry.order_corners(seen)):
        return
    mask = geometry.polygon_mask(seen, 640, 640).astype(np.uint8)
    shape = quads.shape_of(mask)
    assert shape is not None and shape.quad is not None
    assert np.hypot(*(shape.quad - geometry.order_corners(seen)).T).max() < 4.0


def test_area_of_a_shape_agrees_with_scikit_image():
    """Outside source: skimage.measure.regionprops on the same mask (a disc with a small hole, which is filled)."""
    from skimage.draw import disk
    from skimage.measure import regionprops

    mask = np.zeros((200, 200), np.uint8)
    mask[disk((100, 100), 70)] = 1
    mask[disk((100, 100), 6)] = 0
    shape = quads.shape_of(mask)
    assert shape is not None and shape.quad is None
    assert shape.area == pytest.approx(regionprops(mask)[0].area_filled, rel=0.01)
    assert abs(geometry.signed_area(shape.outline)) == pytest.approx(np.pi * 70**2, rel=0.04)


def graph_of(values: np.ndarray, boundary: np.ndarray) -> tuple[regions.RegionGraph, int]:
    labels, count = superpixels.superpixels(boundary)
    h, w = boundary.shape
    lab = np.dstack([values, np.zeros_like(values), np.zeros_like(values)]).astype(np.float32)
    cells = np.zeros((h // 8, w // 8), np.float32)
    return regions.build(labels, count, lab, cells, np.zeros((h // 8, w // 8, 4), np.float32), boundary), count


def test_merging_joins_equal_neighbours_and_keeps_different_ones_apart():
    values = np.full((160, 240), 60.0)
    values[:, 120:] = 20.0
    boundary = np.zeros((160, 240), np.float32)
    boundary[:, 119:121] = 1.0
    graph, count = graph_of(values, boundary)
    merges = regions.merge(graph, stop=STOP)
    assert count > 10
    assert len(np.unique(merges.cut(STOP))) == 2


def test_cutting_the_tree_is_the_same_as_stopping_early():
    rng = np.random.default_rng(2)
    values = np.kron(rng.uniform(20, 80, (5, 6)), np.ones((32, 40)))
    boundary = np.kron(rng.uniform(0, 0.5, (20, 30)), np.ones((8, 8))).astype(np.float32)
    graph, _ = graph_of(values, boundary)
    whole = regions.merge(graph, stop=6.0)
    for stop in (-6.0, -4.0, -2.0, 0.0, 2.0, 4.0):
        early = regions.merge(graph, stop=stop)
        assert (whole.cut(stop) == early.cut(stop)).all()
    assert len(np.unique(whole.cut(2.0))) < len(np.unique(whole.cut(-5.0)))

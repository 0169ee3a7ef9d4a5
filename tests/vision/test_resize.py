"""The one resize: limits hold for any size, means survive shrinking."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.measure import block_reduce

from vision.resize import fit_within, resize, resize_map

sides = st.integers(1, 100_000)


@given(sides, sides, st.integers(1, 5000), st.integers(1, 2_000_000))
def test_fit_within_obeys_both_limits(width, height, max_side, max_pixels):
    w, h = fit_within(width, height, max_side=max_side, max_pixels=max_pixels)
    assert 1 <= w <= width and 1 <= h <= height
    assert max(w, h) <= max(max_side, 1)
    # a very thin photo cannot go below one pixel across, which may leave it above the pixel limit
    assert w * h <= max_pixels or min(w, h) == 1


def test_fit_within_leaves_a_small_photo_alone():
    assert fit_within(640, 480, max_side=1000, max_pixels=1_000_000) == (640, 480)


def test_shrinking_averages_areas():
    """Check against scikit-image: `skimage.measure.block_reduce` with the mean."""
    image = np.random.default_rng(0).integers(0, 256, (40, 60, 3), dtype=np.uint8)
    expected = block_reduce(image.astype(float), (4, 4, 1), np.mean)
    assert np.abs(resize(image, 15, 10).astype(float) - expected).max() <= 0.51


def test_growing_keeps_type_and_shape():
    out = resize(np.full((3, 5), 7, np.uint8), 50, 30)
    assert out.shape == (30, 50) and out.dtype == np.uint8 and (out == 7).all()


def test_refuses_zero():
    with pytest.raises(ValueError):
        resize(np.zeros((3, 3), np.uint8), 0, 2)


@pytest.mark.parametrize("channels", [None, 1, 3, 4, 7])
def test_maps_keep_their_channels_range_and_mean(channels):
    rng = np.random.default_rng(5)
    values = rng.random((40, 60) if channels is None else (40, 60, channels), dtype=np.float32)
    for width, height in ((30, 20), (90, 80)):
        out = resize_map(values, width, height)
        assert out.shape == (height, width, *values.shape[2:]) and out.dtype == np.float32
        assert out.min() >= values.min() and out.max() <= values.max()
        assert np.allclose(out.mean((0, 1)), values.mean((0, 1)), atol=0.01)


def test_halving_a_map_is_the_mean_of_each_two_by_two():
    values = np.arange(48, dtype=np.float32).reshape(6, 8)
    assert np.allclose(resize_map(values, 4, 3), values.reshape(3, 2, 4, 2).mean((1, 3)))

"""Drift between registered pictures: known fields are measured, noise is not taken for drift; scikit-image agrees."""

import cv2
import numpy as np
import pytest
from skimage.registration import optical_flow_ilk

from vision.repeats.residual_displacement import MEASURED, measure_drift

H, W = 300, 460


def figure(seed, along=9.0, across=1.3):
    """Noise drawn out along x, as grain is; unit variance."""
    noise = np.random.default_rng(seed).normal(size=(H + 40, W + 40)).astype(np.float32)
    drawn = cv2.GaussianBlur(noise, (0, 0), sigmaX=along, sigmaY=across)[20:-20, 20:-20]
    return drawn / drawn.std()


def moved(image, dx, dy):
    """Picture whose point p + (dx, dy) shows what `image` shows at p, for slow fields."""
    y, x = np.mgrid[0:H, 0:W].astype(np.float32)
    px, py = x - dx, y - dy
    place = (np.asarray(v, np.float32) for v in (px, py))
    return cv2.remap(image, *place, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT_101)


def noisy(image, seed, sd):
    return (image + np.random.default_rng(seed).normal(0, sd, image.shape)).astype(np.float32)


def waves(size):
    """Smooth field across the grain of rms `size` px, far from any quadratic, and its rms."""
    y, x = np.mgrid[0:H, 0:W]
    dy = size * np.sqrt(2) * np.sin(2 * np.pi * y / 110) * np.ones_like(x)
    return dy.astype(np.float32), float(dy.std())


ALL = np.ones((H, W), bool)
UNIT = 512 / H


def test_every_number_is_named():
    assert set(measure_drift(figure(1), figure(1), ALL, 0.0).values) == set(MEASURED)


@pytest.mark.parametrize("sd", [0.1, 0.4])
def test_a_copy_with_noise_has_no_drift(sd):
    image = figure(2)
    found = measure_drift(noisy(image, 1, sd), noisy(image, 2, sd), ALL, 0.0).values
    assert found["warp_explains"] < 0.005
    assert abs(found["slip_across_near"]) < 0.15 and abs(found["slip_across_far"]) < 0.08


def test_noise_alone_is_shared_by_neither_half():
    shared = [measure_drift(noisy(figure(s), 1, 0.5), noisy(figure(s), 2, 0.5), ALL, 0.0).values["shared_across"]
              for s in range(12)]
    assert abs(np.mean(shared)) < 0.35
    drifted = [measure_drift(noisy(figure(s), 1, 0.5), noisy(moved(figure(s), 0, waves(0.5)[0]), 2, 0.5), ALL, 0.0)
               .values["shared_across"] for s in range(4)]
    assert min(drifted) > max(0.6, np.mean(shared) + 0.2)


@pytest.mark.parametrize("size", [0.25, 0.6])
def test_a_known_drift_is_measured_in_pixels(size):
    dy, rms = waves(size)
    image = figure(3)
    found = measure_drift(noisy(image, 1, 0.15), noisy(moved(image, 0, dy), 2, 0.15), ALL, 0.0)
    assert found.values["slip_across_near"] / UNIT == pytest.approx(rms, rel=0.3)  # smoothing of 12 px takes some of it
    assert found.values["warp_explains"] > 0.05
    inner = np.s_[30:-30, 30:-30]
    assert float(np.sqrt(((found.field[..., 1] - dy)[inner] ** 2).mean())) < 0.35 * rms + 0.03


def test_the_direction_of_the_grain_turns_with_the_picture():
    dy, _ = waves(0.5)
    image = figure(4)
    a, b = noisy(image, 1, 0.15), noisy(moved(image, 0, dy), 2, 0.15)
    plain = measure_drift(a, b, ALL, 0.0).values
    upright = measure_drift(np.ascontiguousarray(a.T), np.ascontiguousarray(b.T), ALL.T, np.pi / 2).values
    assert upright["slip_across_near"] == pytest.approx(plain["slip_across_near"], rel=0.1)
    assert upright["warp_explains"] == pytest.approx(plain["warp_explains"], rel=0.15)


def test_a_bent_lens_is_no_drift_but_told():
    y = (np.mgrid[0:H, 0:W][0] - H / 2) / (H / 2)
    image = figure(5)
    found = measure_drift(noisy(image, 1, 0.1), noisy(moved(image, 0, (1.2 * y**2).astype(np.float32)), 2, 0.1), ALL, 0.0).values
    assert abs(found["slip_across_near"]) < 0.15
    assert found["slip_plain"] > 0.3


def test_a_small_homography_is_nothing_at_all():
    y, x = ((v - s / 2) / (W / 2) for v, s in zip(np.mgrid[0:H, 0:W], (H, W), strict=True))
    dx, dy = 0.8 * x * (0.6 * x + 0.4 * y), 0.8 * y * (0.6 * x + 0.4 * y)
    image = figure(6, along=5)
    found = measure_drift(noisy(image, 1, 0.1), noisy(moved(image, dx, dy), 2, 0.1), ALL, 0.0).values
    assert abs(found["slip_plain"]) < 0.25 and abs(found["slip_across_far"]) < 0.1


def test_unlike_figure_is_not_explained_by_drift():
    dy, _ = waves(0.6)
    drifted = measure_drift(figure(7), moved(figure(7), 0, dy), ALL, 0.0).values["warp_explains"]
    assert measure_drift(figure(7), figure(8), ALL, 0.0).values["warp_explains"] < 0.25 * drifted


def test_scikit_image_sees_the_same_field():
    dy, _ = waves(0.6)
    image = figure(9, along=4)
    a, b = noisy(image, 1, 0.1), noisy(moved(image, 0, dy), 2, 0.1)
    ours = measure_drift(a, b, ALL, 0.0).field[..., 1]
    theirs = optical_flow_ilk(a, b, radius=12)[0]  # scikit-image: rows first, b at p + flow shows a at p
    inner = np.s_[30:-30, 30:-30]
    assert np.corrcoef(ours[inner].ravel(), theirs[inner].ravel())[0, 1] > 0.9

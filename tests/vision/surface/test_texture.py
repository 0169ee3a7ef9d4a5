"""Fine texture against drawn truth: pores, flecks, streak lengths, directions; compression and size."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.vision.surface.surface_faces import figure, finish, jpeg, painted, tint, view_of, wood
from vision.resize import resize
from vision.surface import texture
from vision.surface.sample import Tile, noise_sigma, orientation, thin


def values(pixels):
    return texture.measure(view_of(pixels), None)


@pytest.mark.parametrize("quality", [None, 80, 60])
def test_pores_are_dark_dashes(quality):
    def v(p):
        return values(p if quality is None else jpeg(p, quality))

    open_pored, plain = v(wood(1)), v(wood(1, pore_count=0))
    assert open_pored["texture_dash_share"] > 5 * plain["texture_dash_share"]
    assert open_pored["texture_dash_balance"] > 0.25 > abs(plain["texture_dash_balance"]) + 0.1
    assert open_pored["texture_dash_length"] > plain["texture_dash_length"]


def test_pores_are_found_whichever_way_the_grain_runs():
    lying = wood(1)
    upright = np.ascontiguousarray(lying.transpose(1, 0, 2))
    a, b = values(lying), values(upright)
    for name in ("texture_dash_share", "texture_dash_balance", "texture_streak_keep", "texture_band_mid"):
        assert a[name] == pytest.approx(b[name], rel=0.3, abs=0.05), name


def test_bright_flecks_lie_across():
    rng = np.random.default_rng(3)
    tone = figure(rng)
    marks = np.zeros(tone.shape, np.float32)
    for x, y in zip(rng.integers(0, 640, 500), rng.integers(0, 470, 500), strict=True):
        cv2.line(marks, (int(x), int(y)), (int(x), int(y) + 9), -0.3, 2)
    flecked = values(finish(rng, tint(np.clip(tone + marks, 0, 1))))
    plain = values(finish(rng, tint(tone)))
    assert flecked["texture_fleck_share"] > 5 * plain["texture_fleck_share"] + 0.001
    assert flecked["texture_fleck_balance"] > 0.2 > abs(plain["texture_fleck_balance"]) + 0.1


def test_noise_has_no_dashes_and_no_direction():
    v = values(painted(noise=6.0))
    assert v["texture_dash_share"] < 0.002 and abs(v["texture_dash_balance"]) < 0.05
    assert abs(v["texture_run_ratio"]) < 0.15 and abs(v["texture_cross_ratio"]) < 1 and abs(v["texture_fine_tails"]) < 0.3
    # 15 independent pixels averaged: a fifteenth of the variance is left.
    assert v["texture_streak_keep"] == pytest.approx(1 / 15, abs=0.02)


def test_run_ratio_is_that_drawn():
    rng = np.random.default_rng(0)
    n = cv2.GaussianBlur(rng.normal(size=(480, 640)).astype(np.float32), (0, 0), sigmaX=5, sigmaY=1)
    v = values(finish(rng, 130 + (12 * n / n.std())[..., None] * np.ones(3), noise=0.5))

    def correlation(lag, own, other):
        """Closed form: Gaussian noise of sigma `own` along the lag less its 4 px mean, a sum of three Gaussians."""
        parts = ((1, 0), (-2, 16), (1, 32))
        return sum(f / np.sqrt((2 * own**2 + k) * (2 * other**2 + k)) * np.exp(-(lag**2) / (4 * own**2 + 2 * k))
                   for f, k in parts)

    lag = np.linspace(0, 30, 30001)
    along, across = (lag[np.argmax(correlation(lag, *s) < correlation(0.0, *s) / 3)] for s in ((5, 1), (1, 5)))
    assert v["texture_run_ratio"] == pytest.approx(np.log(along / across), abs=0.1)


@pytest.mark.parametrize("angle", [0, 20, 63, 90, 135, 171])
def test_tile_direction_is_that_of_the_lines(angle):
    y, x = np.mgrid[:128, :128]
    a = np.radians(angle)
    # Screen angle: y grows downwards, so the line direction is (cos, -sin) and the normal (sin, cos).
    wave = 130 + 40 * np.sin(2 * np.pi * (x * np.sin(a) + y * np.cos(a)) / 9)
    tile = Tile(np.repeat(wave[..., None], 3, axis=2).astype(np.uint8), (0, 0))
    found, coherence = tile.grain
    assert abs((found - angle + 90) % 180 - 90) < 0.6 and coherence > 0.95
    # Turned, the lines run along x: columns carry all the variation.
    turned = tile.levelled
    assert turned.var(axis=1).mean() < 0.05 * turned.var(axis=0).mean()


def test_orientation_of_nothing_is_nothing():
    assert orientation(np.full((30, 30), 7.0, np.float32))[1] == 0


def test_noise_level_is_measured_through_texture():
    rng = np.random.default_rng(0)
    ramp = np.linspace(0, 200, 256)[None, :] * np.ones((256, 1))
    for sd in (2.0, 5.0, 12.0):
        assert noise_sigma((ramp + rng.normal(scale=sd, size=ramp.shape)).astype(np.float32)) == pytest.approx(sd, rel=0.08)


def test_thinned_values_keep_their_quantiles():
    v = np.random.default_rng(0).normal(size=200_001)
    few = thin(v)
    assert 8192 <= few.size <= 3 * 8192
    assert np.allclose(np.percentile(few, (5, 50, 95)), np.percentile(v, (5, 50, 95)), atol=0.05)


def test_size_and_compression_leave_most_numbers_near():
    rng_free = wood(1, (960, 1280), pore_count=3600)
    base = values(rng_free)
    smaller, pressed = values(resize(rng_free, 853, 640)), values(jpeg(rng_free, 60))
    for other in (smaller, pressed):
        assert other["texture_dash_balance"] == pytest.approx(base["texture_dash_balance"], abs=0.2)
        assert other["texture_streak_keep"] == pytest.approx(base["texture_streak_keep"], abs=0.12)
        assert other["texture_run_ratio"] == pytest.approx(base["texture_run_ratio"], abs=0.6)
        assert other["texture_tone_patchy"] == pytest.approx(base["texture_tone_patchy"], abs=0.15)
        assert other["texture_ridge_balance"] == pytest.approx(base["texture_ridge_balance"], abs=0.25)

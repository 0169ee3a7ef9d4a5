"""Print clues against pictures of known making: dot screens, exact repeats, evenly spaced lines, relief."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import correlate2d

from tests.vision.surface.surface_faces import figure, finish, jpeg, painted, pores, screen, tint, view_of, wood
from vision.surface import prints
from vision.surface.sample import Tile


def values(pixels):
    return prints.measure(view_of(pixels), None)


def screened(seed=5, **kw):
    rng = np.random.default_rng(seed)
    return finish(rng, screen(tint(figure(rng)), **kw))


@pytest.mark.parametrize("quality", [None, 85, 60])
@pytest.mark.parametrize("period, angle", [(5.3, 27.0), (4.4, 15.0), (7.1, 60.0)])
def test_dot_screen_stands_out_of_continuous_tone(quality, period, angle):
    def v(p):
        return values(p if quality is None else jpeg(p, quality))

    dots = v(screened(period=period, angle=angle))
    assert dots["print_dot_peak"] > 8 and dots["print_dot_pairs"] >= 2
    for seed in range(3):
        plain = v(wood(seed))
        assert plain["print_dot_peak"] < 4 and plain["print_dot_pairs"] == 0


def test_a_faint_screen_is_still_seen_without_compression():
    assert values(screened(depth=0.08))["print_dot_peak"] > 4


def test_peaks_lie_at_the_screen_frequency():
    period, angle = 5.3, 27.0
    tile = Tile(np.ascontiguousarray(screened(period=period, angle=angle)[100:292, 100:292]), (100, 100))
    _, fx, fy = prints.spectral_peaks(tile.power, 0.0)[0]
    c, s = np.cos(np.radians(angle)) / period, np.sin(np.radians(angle)) / period
    expected = [(c, s), (-s, c)]
    assert min(np.hypot(fx - ex, fy - ey) for ex, ey in expected) < 1.5 / 192


@pytest.mark.parametrize("quality", [30, 60, 90])
def test_jpeg_blocks_are_not_taken_for_dots(quality):
    for picture in (wood(3), painted(3)):
        assert values(jpeg(picture, quality))["print_dot_pairs"] == 0


def test_tile_power_is_parseval():
    rng = np.random.default_rng(0)
    tile = Tile(rng.integers(0, 256, (64, 64, 3)).astype(np.uint8), (0, 0))
    window = np.outer(np.hanning(66)[1:-1], np.hanning(66)[1:-1])
    full = np.abs(np.fft.fftshift(np.fft.fft2((tile.luma - tile.luma.mean()) * window))) ** 2 / (window**2).sum()
    assert np.allclose(tile.power, full, rtol=1e-2, atol=1e-1 * full.mean())


def test_exact_repeat_gives_a_localised_peak():
    rng = np.random.default_rng(7)
    once = figure(rng, (240, 640)) + pores(rng, (240, 640), 500)
    spots = sum(np.exp(-((np.mgrid[:240, :640][1] - x) ** 2 + (np.mgrid[:240, :640][0] - y) ** 2) / 60.0)
                for x, y in zip(rng.integers(0, 640, 60), rng.integers(0, 240, 60), strict=True))
    once = np.clip(once + 0.3 * spots, 0, 1)
    twice = finish(rng, tint(np.vstack([once, once])))
    other = figure(rng, (240, 640)) + pores(rng, (240, 640), 500)
    single = finish(rng, tint(np.vstack([once, np.clip(other, 0, 1)])))
    assert values(jpeg(twice, 80))["print_repeat_peak"] > 2.5 * values(jpeg(single, 80))["print_repeat_peak"]


def test_autocorrelation_is_that_of_scipy():
    rng = np.random.default_rng(0)
    plane = rng.normal(size=(20, 26)).astype(np.float32)
    mask = np.ones(plane.shape, bool)
    ours = prints.autocorrelation(plane, mask)
    zero = plane - plane.mean()
    full = correlate2d(zero, zero)
    overlap = correlate2d(np.ones_like(zero), np.ones_like(zero))
    expected = full / overlap / zero.var()
    cy, cx = ours.shape[0] // 2, ours.shape[1] // 2
    for dy in range(-5, 6):
        for dx in range(-6, 7):
            assert ours[cy + dy, cx + dx] == pytest.approx(expected[19 + dy, 25 + dx], abs=1e-3)


def test_pores_give_fine_relief_that_a_flat_picture_lacks():
    assert values(wood(1))["print_relief"] > values(wood(1, pore_count=0))["print_relief"] + 2


def test_evenly_spaced_lines_are_over_regular():
    rng = np.random.default_rng(0)
    y = np.mgrid[:480, :640][0]
    even = finish(rng, tint(0.5 + 0.3 * np.sin(2 * np.pi * y / 14.0)))
    assert values(even)["print_regular"] > 0.5
    lines = np.cumsum(rng.normal(size=480))
    lines = np.clip(0.5 + 0.3 * (lines - lines.mean()) / lines.std(), 0, 1)[:, None] * np.ones((1, 640))
    assert values(finish(rng, tint(lines)))["print_regular"] < 0.45

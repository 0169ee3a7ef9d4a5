"""Paint clues: no grain beyond noise, stipple, one colour, light fall-off."""

from __future__ import annotations

import numpy as np
import pytest

from tests.vision.surface.surface_faces import jpeg, painted, view_of, wood
from vision.surface import paint
from vision.surface.sample import gradients


def values(pixels):
    return paint.measure(view_of(pixels), None)


@pytest.mark.parametrize("quality", [None, 85, 60])
def test_paint_has_no_grain_and_wood_has(quality):
    def v(p):
        return values(p if quality is None else jpeg(p, quality))

    for seed in range(2):
        plain, stippled, grain = v(painted(seed)), v(painted(seed, bumps=4)), v(wood(seed))
        assert max(plain["paint_grain_excess"], stippled["paint_grain_excess"]) < 0.25
        assert grain["paint_grain_excess"] > 0.6 and grain["paint_grain_aligned"] > 0.6
        assert plain["paint_grain_aligned"] < 0.2 and plain["paint_grain_mean"] < 0.1


def test_a_slope_of_light_is_no_grain():
    ramp = np.linspace(60, 200, 640)[None, :, None] * np.ones((400, 640, 3))
    rng = np.random.default_rng(0)
    v = values(np.clip(ramp + rng.normal(scale=2, size=ramp.shape), 0, 255).astype(np.uint8))
    assert v["paint_grain_excess"] < 0.1 and v["paint_falloff"] > 0.97


def test_noise_coherence_is_the_constant_written_down():
    rng = np.random.default_rng(1)
    noise = rng.normal(scale=5, size=(800, 800)).astype(np.float32)
    cells = paint.cell_tensors(gradients(noise), np.ones(noise.shape, bool))
    assert float(np.median(paint._coherence(cells))) == pytest.approx(paint.NOISE_COHERENCE, abs=0.01)


@pytest.mark.parametrize("quality", [None, 75])
def test_roller_stipple_is_round_bumps_without_chroma(quality):
    def v(p):
        return values(p if quality is None else jpeg(p, quality))

    plain, stippled = v(painted()), v(painted(bumps=4))
    assert stippled["paint_stipple"] > plain["paint_stipple"] + 10
    assert stippled["paint_stipple_round"] > 0.9 > v(wood())["paint_stipple_round"] + 0.4
    assert abs(stippled["paint_stipple_tails"]) < 0.3
    assert stippled["paint_flat_chroma"] < 2


def test_solid_colour_is_one_colour():
    plain, grain = values(painted()), values(wood())
    assert plain["paint_one_colour"] > 0.9 > grain["paint_one_colour"] + 0.4
    assert plain["paint_smooth_share"] > 0.9 > grain["paint_smooth_share"] + 0.4
    assert plain["paint_flat_tone"] < grain["paint_flat_tone"] - 1


def test_runs_stand_out_of_an_even_coat():
    even = painted(3).astype(float)
    y, x = np.mgrid[:480, :640]
    run = np.zeros((480, 640))
    for cx in (150, 420):
        run += 25 * np.exp(-((x - cx) / 5.0) ** 2) * ((y > 120) & (y < 260))
    runs = np.clip(even + run[..., None], 0, 255).astype(np.uint8)
    assert values(runs)["paint_drip"] > values(painted(3))["paint_drip"] + 0.5


@pytest.mark.parametrize("quality", [60, 85])
def test_compression_leaves_the_clues_near(quality):
    for face in (painted(2, bumps=4), wood(2)):
        before, after = values(face), values(jpeg(face, quality))
        for name, tolerance in (("paint_grain_excess", 0.1), ("paint_grain_mean", 0.1), ("paint_stipple", 1.5),
                                ("paint_stipple_round", 0.05), ("paint_flat_tone", 0.15), ("paint_one_colour", 0.15),
                                ("paint_smooth_share", 0.1), ("paint_falloff", 0.05), ("paint_drip", 0.15)):
            assert after[name] == pytest.approx(before[name], abs=tolerance), name

"""Colour numbers: lamp and exposure drop out, wood is one line, two inks are not."""

from __future__ import annotations

import numpy as np
import pytest

from tests.vision.surface.surface_faces import figure, finish, jpeg, painted, tint, view_of, wood
from vision.surface import colour

SEEN = {"colour_chroma_seen", "colour_chroma_top", "colour_hue_seen", "colour_light_seen"}


def values(pixels):
    return colour.measure(view_of(pixels), None)


def to_linear(v):
    v = v / 255.0
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def to_srgb(v):
    return 255 * np.where(v <= 0.0031308, 12.92 * v, 1.055 * np.clip(v, 1e-9, None) ** (1 / 2.4) - 0.055)


def under(pixels, gains):
    """The picture under another lamp: linear light times a gain per channel (IEC 61966-2-1 both ways)."""
    return np.clip(np.round(to_srgb(to_linear(pixels.astype(float)) * np.array(gains))), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("gains", [(1.0, 0.85, 0.6), (0.8, 0.95, 1.2), (0.6, 0.6, 0.6)])
def test_lamp_and_exposure_drop_out(gains):
    face = wood(2)
    before, after = values(face), values(under(face, gains))
    for name, value in before.items():
        if name in SEEN:
            continue
        if name in ("colour_tone_count", "colour_hue_count"):
            assert after[name] == pytest.approx(value, rel=0.15), name
        else:
            assert after[name] == pytest.approx(value, rel=0.1, abs=0.03), name


def test_what_is_as_photographed_does_shift():
    face = wood(2)
    assert abs(values(under(face, (1.0, 0.85, 0.6)))["colour_chroma_seen"] - values(face)["colour_chroma_seen"]) > 5


def test_wood_colours_lie_on_a_line_and_two_inks_do_not():
    rng = np.random.default_rng(0)
    tone = figure(rng)
    one = values(finish(rng, tint(tone)))
    other = np.where((np.mgrid[:480, :640][1] // 40 % 2 == 0)[..., None], [180.0, 120, 120], [120.0, 160, 130])
    two = values(finish(rng, tint(tone) * 0.6 + other * 0.4))
    assert one["colour_line_share"] > 0.97 > two["colour_line_share"] + 0.03
    assert two["colour_line_rest"] > 2 * one["colour_line_rest"]


def test_slopes_are_those_drawn():
    # PALE to DARK in linear light, in the units of the features.
    pale, dark = np.log(to_linear(np.array([205.0, 165, 120])) + 1e-4), np.log(to_linear(np.array([120.0, 75, 40])) + 1e-4)
    d = dark - pale
    tone, red, warm = (d[0] + 2 * d[1] + d[2]) / 4, d[0] - d[1], (d[0] + d[1]) / 2 - d[2]
    rng = np.random.default_rng(0)
    v = values(finish(rng, tint(figure(rng)), noise=0.5))
    assert v["colour_warm_slope"] == pytest.approx(warm / tone, rel=0.08)
    assert v["colour_red_slope"] == pytest.approx(red / tone, rel=0.08)


def test_a_solid_colour_has_few_tones_and_hues():
    plain, figured = values(painted()), values(wood())
    assert plain["colour_tone_count"] < figured["colour_tone_count"]
    assert plain["colour_hue_count"] < 4 < figured["colour_hue_count"] / 4


def test_dark_lines_skew_the_tone():
    rng = np.random.default_rng(0)
    tone = np.where(rng.random((480, 1)) < 0.12, 0.8, 0.1) * np.ones((1, 640))
    assert values(finish(rng, tint(tone)))["colour_tone_skew"] < -1
    assert values(finish(rng, tint(0.9 - tone)))["colour_tone_skew"] > 1


def test_two_tones_peak_twice():
    rng = np.random.default_rng(0)
    two = np.where(np.mgrid[:480, :640][0] < 240, 0.2, 0.8)
    assert values(finish(rng, tint(two)))["colour_tone_peaks"] > 0.9
    # 5/9 is the coefficient of an even spread (closed form).
    even = np.linspace(0, 1, 480)[:, None] * np.ones((1, 640))
    assert values(finish(rng, tint(even)))["colour_tone_peaks"] == pytest.approx(5 / 9, abs=0.08)


@pytest.mark.parametrize("quality", [60, 80])
def test_compression_leaves_colour_alone(quality):
    face = wood(4)
    before, after = values(face), values(jpeg(face, quality))
    for name in ("colour_tone_spread", "colour_tone_core", "colour_chroma_spread", "colour_warm_slope", "colour_red_slope",
                 "colour_line_share", "colour_warm_match", "colour_red_match", "colour_chroma_seen"):
        assert after[name] == pytest.approx(before[name], rel=0.2, abs=0.02), name

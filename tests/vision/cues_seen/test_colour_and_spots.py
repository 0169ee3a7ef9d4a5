"""Colour of the figure, of dark spots and of what shows in a highlight, where the truth is drawn."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.vision.cues_seen.boards_made import SHAPE, WOOD, boards, smooth, view_of
from vision import cues_seen, grain
from vision.cues_seen.dark_spots import dark_spots
from vision.cues_seen.figure_colour import figure_colour
from vision.features import Feature


def wood(seed, *, fuller=0.6, strength=0.12):
    """Float RGB of figure whose blue falls (1 + fuller) as fast as its red."""
    t = strength * smooth(np.random.default_rng(seed), 12, 3)
    return np.stack([WOOD[0] * np.exp(t), WOOD[1] * np.exp(t * (1 + fuller / 2)), WOOD[2] * np.exp(t * (1 + fuller))], axis=-1)


def lamp(rgb, *, diffuse=0.0, sheen=0.0, relief=0.0):
    """A lamp's spot in the middle: `diffuse` share more light on the figure itself, `sheen` share of white light that lies over
    it, of which `relief` is its own texture; with the noise of a camera."""
    rng = np.random.default_rng(9)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    spot = np.exp(-(((x - SHAPE[1] / 2) / 90) ** 2 + ((y - SHAPE[0] / 2) / 90) ** 2))
    white = sheen * WOOD.mean() * spot * (1 + relief * smooth(rng, 3, 3))
    return rgb * 0.5 * (1 + diffuse * spot)[..., None] + white[..., None] + rng.normal(scale=1.5, size=rgb.shape)


def test_slope_is_that_of_the_colours_drawn():
    rgb = wood(0)
    total = rgb.sum(axis=2) + 24
    x, y = np.log(total), (rgb[..., 0] - rgb[..., 2]) / total
    wanted = np.polyfit(x.ravel(), y.ravel(), 1)[0]
    assert figure_colour(view_of(rgb)).slope == pytest.approx(wanted, abs=0.02) and wanted < -0.1
    assert figure_colour(view_of(wood(0, fuller=0.0))).slope == pytest.approx(0, abs=0.04)


def test_no_highlight_no_sheen():
    found = figure_colour(view_of(wood(1)))
    assert math.isnan(found.apart) and math.isnan(found.apart_more)


def test_figure_lives_on_under_plain_light_and_drowns_in_a_sheen():
    lit, filmed = (figure_colour(view_of(lamp(wood(2), **k))) for k in ({"diffuse": 0.9}, {"sheen": 1.1}))
    assert lit.apart < 0.25 and filmed.apart > lit.apart + 0.25
    assert abs(lit.apart_more) < 0.15 and filmed.apart_more > 0.2


def test_grey_figure_fools_the_share_but_not_its_difference_to_the_rest():
    """Figure without colour of its own goes apart from colour in any light."""
    found = figure_colour(view_of(lamp(wood(3, fuller=0.0), diffuse=0.9)))
    assert found.apart > 0.6 and abs(found.apart_more) < 0.35


def spotted(seed, colour, radius=14):
    """Boards without joints and a soft round spot of the given (red, green, blue) shares of light."""
    rgb = boards(seed)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    inside = 1 / (1 + np.exp((np.hypot(x - 240, y - 160) - radius) / 1.5))
    return rgb * (1 - inside[..., None] * (1 - np.array(colour)))


def test_a_knot_is_of_another_hue_and_a_shade_is_only_darker():
    knot, shade = (dark_spots(view_of(spotted(4, c))) for c in ((0.55, 0.35, 0.22), (0.45, 0.45, 0.45)))
    for found in (knot, shade):
        assert found and math.hypot(found[0].x - 240, found[0].y - 160) < 6
        assert found[0].radius == pytest.approx(14, abs=5)
    assert knot[0].tint > 3 * shade[0].tint and knot[0].tint > 0.08


def test_bright_spots_and_spots_at_the_rim_are_left_out():
    assert dark_spots(view_of(spotted(5, (1.3, 1.3, 1.3)))) == ()
    cut = spotted(6, (0.5, 0.35, 0.25))[150:, :]
    assert all(s.y > 20 for s in dark_spots(view_of(cut)))


def measured(rgb):
    view = view_of(rgb)
    return cues_seen.measure(view, grain.grain_field(view.pixels, mask=view.mask))


def test_numbers_are_those_declared_and_nan_where_nothing_is():
    assert all(isinstance(f, Feature) and f.group == "eye_cues" for f in cues_seen.FEATURES)
    names = {f.name for f in cues_seen.FEATURES}
    flat, gapped = measured(np.full((*SHAPE, 3), 128.0)), measured(boards(7, gap=0.3))
    assert set(flat) == set(gapped) == names
    assert {n for n in names if math.isfinite(flat[n])} <= {"eye_figure_slope"}
    assert gapped["eye_gap"] == pytest.approx(0.3, abs=0.06) and gapped["eye_wander"] < 0.5
    tiny = measured(np.full((9, 9, 3), 128.0))
    assert all(math.isnan(v) for v in tiny.values())


def test_cues_are_read_once():
    view = view_of(boards(8, gap=0.3))
    field = grain.grain_field(view.pixels, mask=view.mask)
    assert cues_seen.read_cues(view, field) is cues_seen.read_cues(view, field)

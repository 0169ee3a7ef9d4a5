"""Ply stripes and face lines on made edges of known build."""

from __future__ import annotations

import numpy as np
import pytest

from tests.vision.edges.edge_strips_made import fibre, long_grain, particles, plies, veneered
from tests.vision.surface.surface_faces import jpeg, view_of
from vision.edges import strips
from vision.edges.strips import FaceLine, LayerLine
from vision.edges.unroll import unroll


def values(pixels, mask=None):
    return strips.measure(view_of(pixels, mask), None)


@pytest.mark.parametrize("count", [3, 5, 7, 9, 11, 13])
@pytest.mark.parametrize("quality", [None, 75])
def test_counts_the_plies(count, quality):
    for seed, slope in ((0, 0.0), (1, 0.01)):
        edge = plies(count, seed, slope=slope)
        assert values(edge if quality is None else jpeg(edge, quality))["layers_count"] == count


def test_counts_thin_plies_after_strong_compression():
    assert values(jpeg(plies(7, 3, thickness=40), 50))["layers_count"] == 7
    assert values(jpeg(plies(5, 3, thickness=24), 50))["layers_count"] == 5


def test_ply_pitch_is_regular_and_long_grain_is_not():
    ply, grain = values(plies(9)), values(long_grain())
    assert ply["layers_pitch_spread"] < 0.15 < grain["layers_pitch_spread"]
    assert ply["layers_coherence"] > 0.9 > grain["layers_coherence"]
    assert ply["layers_pitch_peak"] > 0.6 > grain["layers_pitch_peak"]


def test_contrast_is_what_was_drawn():
    # 30 grey levels between plies of mean 155.
    assert values(plies(5, noise=1.0))["layers_contrast"] == pytest.approx(30 / 155, rel=0.2)


def test_end_grain_plies_are_darker_and_rougher():
    assert values(plies(7))["layers_texture_match"] < -0.7


def test_stripes_that_do_not_run_on_are_not_coherent():
    whole = plies(7)
    rng = np.random.default_rng(0)
    blocks = [np.roll(b, int(rng.integers(0, 72)), axis=0) for b in np.array_split(whole, 20, axis=1)]
    broken = np.concatenate(blocks, axis=1)
    assert values(broken)["layers_coherence"] < 0.5 < values(whole)["layers_coherence"]


@pytest.mark.parametrize("quality", [None, 70])
def test_face_line_is_seen_and_placed(quality):
    edge = veneered(skin=6)
    v = values(edge if quality is None else jpeg(edge, quality))
    assert v["layers_count"] == 2
    assert v["layers_face_depth"] == pytest.approx(6 / 72, abs=0.015)
    for plain in (fibre(), long_grain(), particles()):
        assert values(plain)["layers_face_line"] < v["layers_face_line"] - 1


def test_layer_lines_are_drawn_where_the_plies_meet():
    lines = [x for x in strips.located(view_of(plies(5, thickness=80, length=600)), None) if isinstance(x, LayerLine)]
    assert len(lines) == 4
    for line, row in zip(lines, (16, 32, 48, 64), strict=True):
        ys = [p[1] for p in line.points]
        assert max(abs(y - (row - 0.5)) for y in ys) < 2.0
        assert abs(line.points[1][0] - line.points[0][0]) > 560
    assert [np.sign(x.step) for x in lines] == [-1, 1, -1, 1]


def test_sloping_layers_are_drawn_sloping():
    slope = 0.015
    lines = [x for x in strips.located(view_of(plies(5, thickness=80, length=600, slope=slope)), None)
             if isinstance(x, LayerLine)]
    assert len(lines) == 4
    for line in lines:
        (x0, y0), (x1, y1) = line.points
        assert (y1 - y0) / (x1 - x0) == pytest.approx(slope, abs=0.004)


def test_face_line_is_drawn():
    found = [x for x in strips.located(view_of(veneered(skin=6)), None) if isinstance(x, FaceLine)]
    assert len(found) == 1 and all(abs(p[1] - 5.5) < 1.5 for p in found[0].points)


def test_an_upright_edge_measures_like_a_lying_one():
    lying = plies(7)
    upright = np.ascontiguousarray(lying.transpose(1, 0, 2))
    a, b = values(lying), values(upright)
    assert a["layers_count"] == b["layers_count"] == 7
    assert a["layers_contrast"] == pytest.approx(b["layers_contrast"], rel=0.05)


def test_strip_takes_its_thickness_from_the_native_crop():
    # 2,400 px long: the working view shrinks 3.75 times, to 19 rows; eleven plies need the crop.
    edge = plies(11, thickness=72, length=2400)
    view = view_of(edge)
    assert view.pixels.shape[0] < 22
    assert unroll(view).luma.shape[0] == 72
    assert strips.measure(view, None)["layers_count"] == 11


def test_a_face_shows_no_layers_worth_drawing():
    rng = np.random.default_rng(0)
    blank = np.clip(rng.normal(150, 6, (300, 400, 3)), 0, 255).astype(np.uint8)
    assert strips.located(view_of(blank), None) == ()

"""A thin layer near the face, and lines that run on over the arris or do not."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.vision.edges.edge_photos_made import photo_of
from tests.vision.edges.edge_strips_made import fibre, veneered
from vision.edges.continuation import measure_continuation
from vision.edges.face_layer import find_line, measure_face_layer
from vision.edges.frame import lay_out


def framed(strip, **more):
    pixels, outline, face = photo_of(strip, **more)
    return lay_out(pixels, outline, face_at=face)


@pytest.mark.parametrize("skin", [3, 6, 10])
def test_a_veneer_line_is_found_at_its_depth(skin):
    values, line, _ = measure_face_layer(framed(veneered(skin=skin), floor=50, face=np.full((150, 700, 3), 95, np.uint8)))
    assert abs(line.row - skin) <= 1.0 and line.same > 0.95
    assert values["depth_px"] == pytest.approx(line.row) and values["dark"] > 20


def test_a_patchy_highlight_is_less_even_than_a_sheet():
    rng = np.random.default_rng(8)
    strip = fibre().astype(np.float32)
    patches = np.clip(cv2.GaussianBlur(rng.normal(size=(1, 700)), (0, 0), 25) * 20, 0, 1)[0]
    strip[:6] += 45 * patches[None, :, None]
    dark = np.full((150, 700, 3), 95, np.uint8)
    patchy = measure_face_layer(framed(np.clip(strip, 0, 255).astype(np.uint8), face=dark))[0]
    even = measure_face_layer(framed(veneered(skin=6), face=dark))[0]
    assert even["step_even"] > 1.5 * patchy["step_even"]


def test_the_most_even_line_is_found_by_hand():
    # a step of 12 after row 5 in every stretch, and one of 40 after row 9 in half of them
    blocks = np.full((20, 10, 3), 100.0)
    blocks[:5, :, 0] += 12
    blocks[:9, ::2, 0] += 40
    line = find_line(blocks, 1.5, 12)
    assert abs(line.row - 5) <= 1 and line.step[0] == pytest.approx(12) and line.same == 1.0


def _lines(seed, height, width, shift=0.0, pitch=11.0, slope=0.0):
    """Grain lines at irregular places along the arris, running off at `slope`."""
    rng = np.random.default_rng(seed)
    drawing = cv2.GaussianBlur(rng.normal(size=(1, 4 * width)).astype(np.float32), (0, 0), pitch / 4)[0]
    drawing = drawing / drawing.std()
    y, x = np.mgrid[:height, :width].astype(np.float64)
    luma = 140 + 18 * np.interp((x + slope * y + 1.5 * width).ravel(), np.arange(4 * width), drawing).reshape(height, width)
    return np.clip(luma[..., None] * [1.08, 1.0, 0.82] + rng.normal(0, 3, (height, width, 1)), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("slope", [0.0, 0.7])
def test_lines_that_run_on_match_in_place_and_others_do_not(slope):
    face = _lines(1, 150, 700)[::-1]
    on = (_lines(1, 60, 700, slope=slope) * 0.8).astype(np.uint8)
    off = (_lines(2, 60, 700, slope=slope) * 0.8).astype(np.uint8)
    same, other = (measure_continuation(framed(s, face=face)) for s in (on, off))
    assert same["match_best"] > 4 > 3 > other["match_best"]
    assert same["followed_middle_here"] > other["followed_middle_here"] + 0.3


def test_long_grain_on_an_edge_below_lines_across_is_told_by_direction():
    face = _lines(1, 150, 700)
    along = np.ascontiguousarray(_lines(3, 700, 60).transpose(1, 0, 2))
    values = measure_continuation(framed(along, face=face))
    assert values["face_turn"] < -0.4 and values["strip_turn"] > values["face_turn"] + 0.4

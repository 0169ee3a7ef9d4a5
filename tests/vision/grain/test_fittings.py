"""Knobs and handles are told from knots by colour, rim, glint and shadow; a knob is not reported as a knot."""

from __future__ import annotations

import importlib

import numpy as np
import pytest

from training.trap_scenes import board_face, hardware, noisy
from vision.grain.field import grain_field
from vision.grain.fittings import fittings
from vision.grain.knots import find_knots
from vision.panels import panels_from_outlines, rectify
from vision.types import Photo, WorkingView

measure = importlib.import_module("vision.grain.measure")


def _view(pixels: np.ndarray) -> WorkingView:
    h, w = pixels.shape[:2]
    photo = Photo("p", "p.jpg", "0" * 64, pixels)
    return rectify(photo, panels_from_outlines(photo, [("front", [(0, 0), (w - 1, 0), (w - 1, h - 1), (0, h - 1)])])[0])


def _with_knob(face: np.ndarray, colour: tuple[int, int, int] | None, at: tuple[int, int], size: int = 34) -> np.ndarray:
    """The face with one round knob whose middle lies at (x, y); a dark square of iron where a colour is given."""
    out = face.astype(np.float32)
    if colour is None:
        rgb, alpha = hardware("knob", size, np.random.default_rng(3))
        n, m = alpha.shape
        part = np.s_[at[1] - n // 2 : at[1] - n // 2 + n, at[0] - m // 2 : at[0] - m // 2 + m]
        out[part] = out[part] * (1 - alpha[..., None]) + rgb * alpha[..., None]
    else:
        out[at[1] - 12 : at[1] + 12, at[0] - 12 : at[0] + 12] = colour
    return np.clip(out, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("colour", [None, (34, 31, 29), (190, 190, 186)])
@pytest.mark.parametrize("species", ["pine_like", "cherry_like", "maple_like"])
def test_knob_is_marked_and_the_wood_is_not(species, colour):
    face = noisy(board_face(species, "flat", 3, 480, 240, knots=0.0), 1)
    marked = fittings(_with_knob(face, colour, (240, 120)), np.ones(face.shape[:2], bool))
    assert marked[112:129, 232:249].mean() > 0.9
    marked[80:165, 200:285] = False
    assert marked.mean() < 0.01


def test_dark_spot_of_the_woods_own_colour_is_left():
    """A knot as drawn by its tone alone: the wood darkened to a third, still red, with a soft rim."""
    face = board_face("pine_like", "quarter", 4, 480, 240, knots=0.0).astype(np.float32)
    y, x = np.mgrid[0:240, 0:480]
    soft = np.clip((26 - np.hypot(x - 200, y - 120)) / 6, 0, 1)[..., None]
    knot = np.array([92, 52, 34], np.float32)
    pixels = np.clip(face * (1 - soft) + knot * soft, 0, 255).astype(np.uint8)
    assert not fittings(pixels, np.ones((240, 480), bool))[110:130, 190:210].any()


def test_knots_of_a_board_are_kept_when_fittings_are_taken_out(monkeypatch):
    """The answer with the fittings looked for is the answer without, on boards that have none."""
    boards = [_view(board_face("pine_like", "flat", 200 + k, 640, 320, knots=9.0)) for k in range(4)]
    fields = [grain_field(v.pixels, mask=v.mask) for v in boards]
    with_it = [measure.located(v, f).knots for v, f in zip(boards, fields, strict=True)]
    monkeypatch.setattr("vision.grain.knots.MOST_FITTING", 2.0)
    fine = [measure._fine(v)[1] for v in boards]
    without = [find_knots(v, f, window=measure.FINE.rho) for v, f in zip(boards, fine, strict=True)]
    assert sum(len(k) for k in without) > 0
    assert with_it == without


def test_empty_and_tiny_panels_have_no_fittings():
    assert not fittings(np.full((60, 80, 3), 120, np.uint8), np.ones((60, 80), bool)).any()
    assert not fittings(np.full((9, 9, 3), 120, np.uint8), np.zeros((9, 9), bool)).any()

"""Identical handles, knobs, keyholes and hinges on different boards make no repeat; knots are not taken for hardware."""

from __future__ import annotations

import numpy as np
import pytest

from training.trap_scenes import KINDS, alarms, board_face, hardware, printed_fronts, sheet, two_fronts
from vision.repeats.hardware import figure_mask, spread_enough

BOARDS = [board_face(s, "flat", 60 + k, 460, 230) for k, s in enumerate(
    ("white_oak_like", "cherry_like", "walnut_like", "beech_like", "mahogany_like", "maple_like"))]


@pytest.mark.parametrize("one_photo", [True, False])
@pytest.mark.parametrize("pair", [(0, 1), (2, 3), (4, 5)])
def test_same_fittings_on_two_boards_are_no_repeat(pair, one_photo):
    rng = np.random.default_rng(pair[0])
    assert alarms(two_fronts(BOARDS[pair[0]], BOARDS[pair[1]], rng, "none", one_photo=one_photo)) == []


def test_fittings_do_not_hide_a_print():
    web = board_face("white_oak_like", "flat", 71, 640, 240)
    found = alarms(printed_fronts(web, np.random.default_rng(1), "none", one_photo=True))
    assert any(not r.within for r in found)


@pytest.mark.parametrize("kind", [k for k in KINDS if k != "wooden_knob"])
def test_fittings_are_left_out_of_the_figure(kind):
    face = BOARDS[1].astype(np.float32)
    rgb, alpha = hardware(kind, 40, np.random.default_rng(3))
    n, m = alpha.shape
    y, x = 60, 100
    face[y : y + n, x : x + m] = face[y : y + n, x : x + m] * (1 - alpha[..., None]) + rgb * alpha[..., None]
    kept = figure_mask(sheet(np.clip(face, 0, 255).astype(np.uint8), "p", "front"))
    solid = alpha > 0.9
    away = np.ones(kept.shape, bool)
    away[y - 12 : y + n + 12, x - 12 : x + m + 12] = False
    assert 1 - kept[y : y + n, x : x + m][solid].mean() > 0.5
    assert kept[away].mean() > 0.98


def test_knots_and_plain_boards_stay_figure():
    for k, cut in enumerate(("flat", "rift", "quarter")):
        board = board_face("pine_like", cut, 80 + k, 460, 230, knots=8.0)
        assert figure_mask(sheet(board, "p", "board")).mean() > 0.97


def test_mask_stays_within_the_panel():
    mask = np.zeros(BOARDS[0].shape[:2], bool)
    mask[30:200, 40:400] = True
    one = sheet(BOARDS[0], "p", "board", mask=mask)
    assert not (figure_mask(one) & ~one.mask).any()


def test_points_on_few_spots_are_not_spread():
    rng = np.random.default_rng(0)
    handles = np.concatenate([rng.normal((100, 100), 6, (20, 2)), rng.normal((300, 100), 6, (20, 2))])
    assert not spread_enough(handles, 400, 200)
    assert not spread_enough(rng.uniform(0, 400, (3, 2)), 400, 200)
    assert spread_enough(rng.uniform((0, 0), (400, 200), (12, 2)), 400, 200)

"""Width of the correlation's peak: what is refused for it, in whose pixels it counts, and the second look at small sheets."""

from __future__ import annotations

import numpy as np
import pytest

from training.trap_scenes import alarms, board_face, noisy, sheet
from vision.repeats.describe import describe
from vision.repeats.measure import measure, own_pixels
from vision.repeats.register import Registered, register
from vision.repeats.sheet import Sheet
from vision.resize import resize

WIDEST = 2.0


def sheet_of(face: np.ndarray, seed: int) -> Sheet:
    return sheet(noisy(face, seed), f"photo {seed}", "face")


def small(face: np.ndarray) -> np.ndarray:
    """A quarter of the pixels: figures of such sheets are enlarged."""
    return resize(np.ascontiguousarray(face), face.shape[1] // 2, face.shape[0] // 2)


def laid(a: Sheet, b: Sheet, move: float) -> Registered:
    found = register(describe(a).figure, describe(b).figure, np.array([[1.0, 0, move], [0, 1, 0], [0, 0, 1]]))
    assert found is not None
    return found


def test_straight_grain_slid_along_itself_is_too_wide_and_a_copy_is_not() -> None:
    board = board_face("spruce_like", "quarter", 5, 900, 320, knots=0.0)
    slid = laid(sheet_of(board[:, :420], 1), sheet_of(board[:, 470:890], 2), 0.0)
    assert measure(slid, 5) is not None and measure(slid, 5, widest=WIDEST) is None
    lively = board_face("walnut_like", "flat", 12, 640, 320)
    copy = laid(sheet_of(lively[:, :480], 1), sheet_of(lively[:, 60:540], 2), -60.0)
    assert own_pixels(copy) == 1.0
    whole = measure(copy, 20)
    strict = measure(copy, 20, widest=WIDEST)
    assert whole is not None and strict is not None and strict.values == whole.values


def test_width_counts_in_the_pixels_of_an_enlarged_sheet() -> None:
    lively = small(board_face("walnut_like", "flat", 12, 640, 320))
    copy = laid(sheet_of(lively[:, :240], 1), sheet_of(lively[:, 30:270], 2), -30.0)
    assert own_pixels(copy) == pytest.approx(160 / 300, abs=0.02)
    whole = measure(copy, 20)
    assert whole is not None
    widest = max(whole.values["along_sd"], whole.values["across_sd"])
    assert measure(copy, 20, same_sheet=True, widest=0.99 * own_pixels(copy) * widest) is None
    assert measure(copy, 20, same_sheet=True, widest=1.01 * own_pixels(copy) * widest) is not None


@pytest.mark.parametrize("species", ["white_oak_like", "spruce_like", "teak_like"])
def test_small_straight_boards_are_refused(species: str) -> None:
    boards = [small(board_face(species, "quarter", 30 + k, 840, 320, knots=0.0)) for k in range(2)]
    halves = [boards[0][:, :200], boards[0][:, 215:415], boards[1][:, :200]]
    assert alarms([sheet_of(h, k) for k, h in enumerate(halves)]) == []

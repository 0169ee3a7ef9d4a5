"""Straight quarter-sawn grain looks like itself along the grain, and like that of other boards: neither is a repeat."""

from __future__ import annotations

import pytest

from training.trap_scenes import alarms, board_face, noisy, sheet

SPECIES = ("white_oak_like", "spruce_like", "mahogany_like", "teak_like")


@pytest.mark.parametrize("species", SPECIES)
def test_boards_of_one_species_do_not_repeat(species):
    faces = [noisy(board_face(species, "quarter", 20 + k, knots=0.0), k) for k in range(3)]
    assert alarms([sheet(f, f"photo {k}", "board") for k, f in enumerate(faces)]) == []


def test_straight_grain_slid_along_itself_is_refused():
    """Two halves of one board: the lines run on from one to the other, but no figure comes back."""
    board = board_face("spruce_like", "quarter", 5, 900, 220, knots=0.0)
    halves = [noisy(board[:, :420], 1), noisy(board[:, 470:890], 2)]
    assert alarms([sheet(h, f"photo {k}", "half") for k, h in enumerate(halves)]) == []


def test_but_a_printed_copy_of_lively_grain_is_found():
    web = board_face("white_oak_like", "flat", 77, 640, 220)
    fronts = [noisy(web[:, :420], 1), noisy(web[:, 110:530], 2)]
    sheets = [sheet(f, "photo", f"front {k}", at=(50.0, 50.0 + 300 * k)) for k, f in enumerate(fronts)]
    assert any(not r.within and r.motion == "shift" for r in alarms(sheets))

"""Knots are many and alike on pine: boards full of them do not repeat, a print of them does."""

from __future__ import annotations

import pytest

from training.trap_scenes import alarms, board_face, noisy, sheet


@pytest.mark.parametrize("species", ["pine_like", "spruce_like", "fir_like"])
def test_knotty_boards_do_not_repeat(species):
    faces = [noisy(board_face(species, "flat", 40 + k, knots=9.0), k) for k in range(3)]
    assert alarms([sheet(f, f"photo {k}", "board") for k, f in enumerate(faces)]) == []


def test_but_a_print_of_a_knotty_board_is_found():
    web = board_face("pine_like", "flat", 51, 640, 220, knots=9.0)
    fronts = [noisy(web[:, :420], 1), noisy(web[:, 130:550], 2)]
    sheets = [sheet(f, "photo", f"front {k}", at=(50.0, 50.0 + 300 * k)) for k, f in enumerate(fronts)]
    assert any(not r.within and r.motion == "shift" for r in alarms(sheets))

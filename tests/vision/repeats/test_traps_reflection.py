"""The mirror image of a panel in a glossy top below or in a door beside it is no repeat."""

from __future__ import annotations

import numpy as np
import pytest

from training.trap_scenes import alarms, board_face, mirrored_beside, reflected


@pytest.mark.parametrize("seed", range(4))
def test_reflection_in_a_top_is_no_repeat(seed):
    species = ("white_oak_like", "cherry_like", "walnut_like", "pine_like")[seed]
    upright = board_face(species, "flat", 110 + seed, 460, 230)
    top = board_face("mahogany_like", "rift", 120 + seed, 460, 230)
    assert alarms(reflected(upright, top, np.random.default_rng(seed), "none")) == []


@pytest.mark.parametrize("seed", range(6))
def test_reflection_in_a_door_beside_is_no_repeat(seed):
    species = ("white_oak_like", "cherry_like", "walnut_like", "pine_like")[seed % 4]
    front = board_face(species, "flat", 130 + seed, 460, 230)
    door = board_face("mahogany_like", "rift", 140 + seed, 460, 230)
    sheets = mirrored_beside(front, door, np.random.default_rng(seed), "none")
    high, wide = min(sheets[1].height, 230), min(sheets[1].width, 460)
    assert np.abs(sheets[1].pixels[:high, :wide].astype(float) - door[:high, :wide]).mean() > 1.0  # the image is there
    assert alarms(sheets) == []

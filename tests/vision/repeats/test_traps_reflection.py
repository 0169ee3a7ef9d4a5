"""The mirror image of an upright panel in a glossy top is no repeat."""

from __future__ import annotations

import numpy as np
import pytest

from training.trap_scenes import alarms, board_face, reflected


@pytest.mark.parametrize("seed", range(4))
def test_reflection_in_a_top_is_no_repeat(seed):
    species = ("white_oak_like", "cherry_like", "walnut_like", "pine_like")[seed]
    upright = board_face(species, "flat", 110 + seed, 460, 230)
    top = board_face("mahogany_like", "rift", 120 + seed, 460, 230)
    assert alarms(reflected(upright, top, np.random.default_rng(seed), "none")) == []

"""Outlines of one photo that lie within one another show one surface."""

from __future__ import annotations

import numpy as np
import pytest

from training.trap_scenes import alarms, board_face, nested


@pytest.mark.parametrize("seed", range(4))
def test_a_panel_and_a_part_of_it_are_no_repeat(seed):
    species = ("white_oak_like", "cherry_like", "walnut_like", "pine_like")[seed]
    panel = board_face(species, "flat", 150 + seed, 480, 260)
    assert alarms(nested(panel, np.random.default_rng(seed), "none")) == []

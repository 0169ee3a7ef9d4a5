"""A drawer front photographed twice, with new light, tilt and JPEG, is one surface."""

from __future__ import annotations

import numpy as np
import pytest

from training.trap_scenes import alarms, board_face, front_twice, printed_fronts
from vision.repeats.find import find_repeats


@pytest.mark.parametrize("damage", ["none", "light", "scale"])
@pytest.mark.parametrize("seed", [0, 1])
def test_front_photographed_twice_is_no_repeat(seed, damage):
    front = board_face(("white_oak_like", "walnut_like")[seed], "flat", 130 + seed, 480, 240)
    assert alarms(front_twice(front, np.random.default_rng(seed), damage)) == []


def test_it_is_seen_and_named_one_surface():
    front = board_face("white_oak_like", "flat", 140, 480, 240)
    found = [r for r in find_repeats(front_twice(front, np.random.default_rng(3), "none")) if not r.within]
    assert found
    assert all(r.same_surface for r in found)


def test_but_two_fronts_of_one_print_on_two_photos_are_told_by_their_borders():
    web = board_face("white_oak_like", "flat", 141, 640, 260)
    found = alarms(printed_fronts(web, np.random.default_rng(2), "none"))
    assert any(not r.within for r in found)

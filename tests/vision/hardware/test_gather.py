"""From maps to things: places, widths and doubles on maps made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from vision.hardware.gather import Candidate, apart, candidates
from vision.hardware.kinds import SEEN
from vision.hardware.net import HardwareMaps
from vision.hardware.read import stored


def maps(things: list[tuple[str, float, float, float, float]], size: tuple[int, int] = (100, 160), scale: float = 2.0):
    """Discs (kind, x, y, radius, chance) in cells."""
    p = np.zeros((1 + len(SEEN), *size), np.float32)
    ys, xs = np.mgrid[0 : size[0], 0 : size[1]]
    for kind, x, y, r, chance in things:
        inside = np.hypot(xs - x, ys - y) <= r
        p[1 + SEEN.index(kind)][inside] = chance
    p[0] = 1 - p[1:].sum(axis=0)
    return HardwareMaps(p, scale), np.full((round(size[0] * scale), round(size[1] * scale), 3), 120, np.uint8)


def test_a_disc_is_found_where_it_is_in_pixels_of_the_picture() -> None:
    found = candidates(*maps([("knob", 40, 30, 8, 0.9)]))
    assert len(found) == 1
    # a cell k covers pixels 2k and 2k + 1, so its middle lies at 2k + 0.5
    assert found[0].middle == pytest.approx((80.5, 60.5), abs=0.01)
    assert found[0].width == pytest.approx(34, abs=1.5)
    assert set(found[0].numbers) == set(stored()[0].inputs)
    assert found[0].numbers["mean_knob"] == pytest.approx(0.9) and found[0].numbers["border"] == 0


def test_specks_and_weak_places_are_nothing() -> None:
    assert candidates(*maps([("screw", 40, 30, 0.5, 0.9), ("hole", 80, 30, 6, 0.25)])) == []


def test_pieces_of_one_thing_close_by_are_one() -> None:
    found = candidates(*maps([("pull", 40, 30, 4, 0.6), ("pull", 50, 30, 4, 0.6)]))
    assert len(found) == 1 and found[0].width == pytest.approx(38, abs=2)


def test_things_at_the_border_are_marked_and_like_things_counted() -> None:
    found = candidates(*maps([("hole", 30, 20, 3, 0.8), ("hole", 60, 20, 3, 0.8), ("hole", 0, 70, 3, 0.8)]))
    assert sum(c.numbers["border"] for c in found) == 1
    assert max(c.numbers["others"] for c in found) > 0.6 and max(c.numbers["level"] for c in found) == 1


def square(x: float, y: float, half: float) -> Candidate:
    hull = np.array([[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half]])
    return Candidate(hull, (x, y), 2 * half, {})


def test_of_two_things_at_one_place_the_likelier_stays() -> None:
    kept = apart([(square(50, 50, 20), "hinge", 0.9), (square(52, 50, 4), "screw", 0.7), (square(120, 50, 4), "screw", 0.6)])
    assert [(k, q) for _, k, q in kept] == [("hinge", 0.9), ("screw", 0.6)]


def test_a_knob_on_a_pane_is_its_own() -> None:
    kept = apart([(square(50, 50, 40), "glass", 0.9), (square(50, 50, 6), "knob", 0.7)])
    assert len(kept) == 2

"""Bare holes in order against closed forms; words give millimetres only where a scale is known and claim no material."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vision.hardware.kinds import KINDS, HardwareItem
from vision.hardware.order import PULLS, missing_pull, nearest_pull
from vision.hardware.words import saying

SHAPE = (200, 400)
SQUARE = ((0.0, 0.0), (10.0, 0.0), (10.0, 8.0))


def pair_of(points: list[tuple[float, float]], widths: list[float] | None = None, grips: tuple = ()):
    at = np.array(points, float)
    return missing_pull(at, np.array(widths or [6.0] * len(points)), grips, SHAPE)


def test_two_level_holes_have_the_distance_between_them() -> None:
    pair = pair_of([(152.0, 100.0), (248.0, 101.0)])
    assert pair is not None
    assert pair.px == pytest.approx(math.hypot(96, 1))
    assert pair.error == pytest.approx(math.sqrt(2) * (0.5 + 0.08 * 6))


def test_a_pull_stands_upright_too() -> None:
    pair = pair_of([(200.0, 40.0), (201.0, 168.0)])
    assert pair is not None and pair.px == pytest.approx(128, abs=0.1)


@pytest.mark.parametrize("points", [
    [(150.0, 100.0), (240.0, 130.0)],  # slanted
    [(150.0, 100.0), (165.0, 100.0)],  # too near for their width
    [(150.0, 100.0)],
    [(40.0 + 32 * k, 100.0) for k in range(6)],  # a row for shelf pins
])
def test_other_holes_are_no_missing_pull(points: list[tuple[float, float]]) -> None:
    assert pair_of(points) is None


def test_unlike_holes_and_holes_with_a_grip_between_are_none() -> None:
    assert pair_of([(152.0, 100.0), (248.0, 100.0)], [5.0, 12.0]) is None
    assert pair_of([(152.0, 100.0), (248.0, 100.0)], grips=((200.0, 98.0),)) is None


def test_of_three_holes_the_level_and_central_pair_is_taken() -> None:
    pair = pair_of([(152.0, 100.0), (248.0, 100.0), (150.0, 20.0)])
    assert pair is not None and (pair.first, pair.second) == (0, 1)


@pytest.mark.parametrize("mm", PULLS)
def test_spacings_that_are_sold_are_named(mm: float) -> None:
    assert nearest_pull(mm + 1.0, 0.5) == mm


def test_a_spacing_between_two_fits_none() -> None:
    assert nearest_pull(112.0, 1.0) is None


def item(kind: str, **more: float) -> HardwareItem:
    return HardwareItem(kind, 0.7, SQUARE, 20.0, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_words_with_limits_and_no_material(kind: str) -> None:
    s = saying(item(kind, spacing_px=90.0) if kind == "pull_missing" else item(kind))
    assert s.seen and s.means and s.limits and "nan" not in s.seen
    assert not any(word in s.seen + s.means for word in ("solid", "veneer", "print", "particle"))


def test_what_may_be_wrong_is_said_as_possible() -> None:
    assert "Possibly" in saying(item("glass")).seen
    assert "may be missing" in saying(item("pull_missing", spacing_px=90.0)).means


def test_millimetres_only_with_a_scale() -> None:
    assert " mm" not in saying(item("pull_missing", spacing_px=90.0, spacing_error=1.0)).seen
    said = saying(item("pull_missing", spacing_px=90.0, spacing_mm=96.3, spacing_error=0.9, nearest_mm=96.0)).seen
    assert "96 ± 0.9 mm" in said and "pulls of 96 mm" in said
    assert "no usual spacing" in saying(item("pull_missing", spacing_px=90.0, spacing_mm=112.0, spacing_error=0.9)).seen


def test_items_check_themselves() -> None:
    for wrong in ({"kind": "handle"}, {"chance": 1.2}, {"outline": SQUARE[:2]}, {"width_px": 0.0}, {"spacing_px": -1.0}):
        with pytest.raises(ValueError):
            HardwareItem(**{"kind": "knob", "chance": 0.5, "outline": SQUARE, "width_px": 3.0, **wrong})

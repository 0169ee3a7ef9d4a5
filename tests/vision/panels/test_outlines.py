"""Outlines drawn by the user: what is refused, and that the refusal says which, why and what to do."""

from __future__ import annotations

import numpy as np
import pytest

from vision.errors import UsageError
from vision.panels import panels_from_outlines
from vision.types import Photo

SQUARE = [(10, 10), (90, 10), (90, 60), (10, 60)]


@pytest.fixture(scope="module")
def photo() -> Photo:
    return Photo(id="f3", file="chest.jpg", sha256="0", pixels=np.zeros((80, 120, 3), np.uint8))


def test_good_outlines_keep_order_and_ids(photo):
    panels = panels_from_outlines(photo, [("lid", SQUARE), (None, [(0, 0), (119, 0), (60, 79)])])
    assert [p.id for p in panels] == ["lid", "f3.p2"]
    assert panels[0].source == "given" and panels[0].photo == "f3" and panels[0].surface_share == 1.0
    assert panels[0].quad is not None and panels[1].quad is None
    assert panels[0].outline == tuple((float(x), float(y)) for x, y in SQUARE)


def test_a_made_up_id_never_clashes_with_a_given_one(photo):
    panels = panels_from_outlines(photo, [(None, SQUARE), ("f3.p1", SQUARE)])
    assert len({p.id for p in panels}) == 2


@pytest.mark.parametrize(("points", "cause"), [
    ([(10, 10), (90, 60), (90, 10), (10, 60)], "crosses"),
    ([(10, 10), (90, 10), (50, 30), (90, 60), (10, 60), (50, 30)], "crosses or touches"),
    ([(10, 10), (90, 10)], "fewer than three"),
    ([(10, 10), (90, 10), (10, 10)], "fewer than three"),
    ([(10, 10), (10, 10), (90, 10), (90, 10)], "fewer than three"),
    ([], "not a list"),
    ([(10, 10, 3), (90, 10, 3), (90, 60, 3)], "not a list"),
    ([("a", 10), (90, 10), (90, 60)], "not a list"),
    ([(10, 10), (90, float("nan")), (90, 60)], "not a finite"),
    ([(10, 10), (float("inf"), 10), (90, 60)], "not a finite"),
    ([(10, 10), (300, 10), (90, 60)], "outside the photo"),
    ([(-40, 10), (90, 10), (90, 60)], "outside the photo"),
    ([(10, 10), (12, 10), (12, 12), (10, 12)], "too small"),
    ([(10, 10), (110, 10), (110, 11.5), (10, 11.5)], "too small"),
    ([(10, 10), (50, 10), (90, 10)], "no area"),
])
def test_bad_outline_is_refused_with_name_cause_and_remedy(photo, points, cause):
    with pytest.raises(UsageError) as caught:
        panels_from_outlines(photo, [("good", SQUARE), ("bad one", points)])
    assert "'bad one'" in caught.value.subject and "chest.jpg" in caught.value.subject
    assert cause in caught.value.cause
    assert len(caught.value.remedy) > 10
    assert caught.value.exit_code == 2


def test_an_unnamed_outline_is_named_by_its_place(photo):
    with pytest.raises(UsageError, match=r"outline 2 of chest\.jpg"):
        panels_from_outlines(photo, [(None, SQUARE), (None, [(0, 0), (1, 1)])])


def test_one_id_for_two_outlines_is_refused(photo):
    with pytest.raises(UsageError, match="used twice"):
        panels_from_outlines(photo, [("a", SQUARE), ("a", SQUARE)])


def test_rounding_over_the_border_is_clipped(photo):
    (panel,) = panels_from_outlines(photo, [(None, [(-1.5, -1), (121, -1), (121, 81), (-1, 81)])])
    points = np.array(panel.outline)
    assert points.min() == 0.0 and points[:, 0].max() == 119.0 and points[:, 1].max() == 79.0


def test_a_long_strip_is_hinted_to_be_an_edge(photo):
    (panel,) = panels_from_outlines(photo, [(None, [(5, 30), (115, 32), (115, 40), (5, 38)])])
    assert panel.view_hint == "edge"

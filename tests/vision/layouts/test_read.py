"""Whole readings of patterns with known layout: names, geometry, relations and honesty."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.vision.layouts.patterns import picture, radial, straight, view_of, wandering
from vision.features import Feature
from vision.grain import grain_field
from vision.layouts import FEATURES, LAYOUTS, Layout, measure, read_layout
from vision.layouts.words import widths_of


def read(grey: np.ndarray) -> Layout:
    view = view_of(picture(grey))
    return read_layout(view, grain_field(view.pixels, mask=view.mask))


def book(leaf: int, count: int, seed: int) -> np.ndarray:
    one = wandering(leaf, 480, seed)
    return np.vstack([one if k % 2 else one[::-1] for k in range(count)])


def test_book_leaves_give_axes_pairs_and_point_to_veneer() -> None:
    layout = read(book(105, 4, 4))
    assert layout.probabilities["book"] == max(layout.probabilities.values())
    assert len(layout.axes) == 3
    for k, axis in enumerate(sorted(layout.axes, key=lambda a: a.p0[1])):
        middle = (axis.p0[1] + axis.p1[1]) / 2
        assert abs(middle - (105 * (k + 1) - 0.5)) < 0.02 * 420
        assert abs(axis.p1[1] - axis.p0[1]) < math.tan(math.radians(2)) * abs(axis.p1[0] - axis.p0[0])
    assert [r.kind for r in layout.relations] == ["mirrored"] * 3
    assert layout.widths == "centre_balance"
    assert layout.points_to == "veneer" if layout.name == "book" else layout.name == "unclear"


def test_upright_book_is_the_same_turned() -> None:
    layout = read(np.ascontiguousarray(book(140, 3, 6).T))
    assert layout.probabilities["book"] == max(layout.probabilities.values())
    xs = sorted((a.p0[0] + a.p1[0]) / 2 for a in layout.axes)
    assert np.allclose(xs, [139.5, 279.5], atol=0.02 * 420)


def test_slip_leaves_repeat_and_do_not_mirror() -> None:
    one = wandering(105, 480, 8)
    layout = read(np.vstack([one] * 4))
    assert layout.probabilities["slip"] == max(layout.probabilities.values())
    assert [r.kind for r in layout.relations] == ["repeated"] * 3
    assert not layout.axes


def test_straight_grain_is_never_called_matched() -> None:
    for seed in range(4):
        layout = read(straight(420, 480, seed))
        assert layout.name not in ("book", "slip", "end")
        assert layout.points_to != "veneer"


@pytest.mark.parametrize("wedges", [8, 12])
def test_sunburst_counts_wedges(wedges: int) -> None:
    layout = read(radial(480, wedges, (240.0, 236.0)))
    assert layout.probabilities["sunburst"] == max(layout.probabilities.values())
    assert layout.wedges == wedges and len(layout.leaves) == wedges and len(layout.seams) == wedges
    assert layout.centre is not None and math.dist((layout.centre.x, layout.centre.y), (240, 236)) < 10
    assert layout.centre.error_px > 0


def test_leaves_cover_the_panel_without_overlap() -> None:
    from shapely.geometry import Polygon
    from shapely.ops import unary_union

    for grey in (book(105, 4, 4), radial(480, 8, (240.0, 236.0))):
        layout = read(grey)
        shapes = [Polygon(leaf.outline) for leaf in layout.leaves]
        area = grey.shape[0] * grey.shape[1]
        assert abs(sum(s.area for s in shapes) / area - 1) < 0.04
        assert unary_union(shapes).area > 0.96 * area


def test_no_grain_no_layout() -> None:
    layout = read(np.full((200, 240), 0.4))
    assert layout.name == "none" and layout.points_to is None and not layout.leaves


def test_numbers_follow_the_schema() -> None:
    assert all(isinstance(f, Feature) and f.group == "leaf_layout" and f.name.startswith("layout_") for f in FEATURES)
    for grey in (book(105, 4, 4), np.full((200, 240), 0.4)):
        view = view_of(picture(grey))
        values = measure(view, grain_field(view.pixels, mask=view.mask))
        assert set(values) == {f.name for f in FEATURES}
    assert math.isnan(values["layout_uniform"])


def test_probabilities_are_over_all_layouts() -> None:
    layout = read(wandering(420, 480, 2))
    assert set(layout.probabilities) == set(LAYOUTS)
    assert abs(sum(layout.probabilities.values()) - 1) < 1e-6


@pytest.mark.parametrize(("widths", "key"), [
    ([50, 50, 50, 50], "centre_balance"), ([60, 61, 59], "balance"), ([30, 60, 60, 25], "running"), ([80], None),
])
def test_widths(widths: list[float], key: str | None) -> None:
    assert widths_of(widths) == key


def test_measurements_can_speak_against_a_name() -> None:
    from dataclasses import replace

    from vision.layouts.geometry import Geometry
    from vision.layouts.read import evidence_of, supported
    from vision.layouts.words import words_of

    view = view_of(picture(straight(420, 480, 1)))
    e = evidence_of(view, grain_field(view.pixels, mask=view.mask))
    assert e is not None
    plain = replace(e, values={**e.values, "tone_joints": 0.0, "joint_strength": 0.0})
    stepped = replace(e, values={**e.values, "tone_joints": 2.0, "joint_strength": 0.95})
    assert supported(plain, Geometry(()), "single", 0.9) and not supported(stepped, Geometry(()), "single", 0.9)
    assert not supported(plain, Geometry(()), "book", 0.99)  # without an axis there is no book match
    text = words_of("unclear", "single", 0.97, 1, (), None, None, True)
    assert "97" not in text and "step of tone" in text

"""Wider plans of layouts: pieces cover the panel, and what lies at equal distances from an axis is the same place of a leaf."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import Point, Polygon
from shapely.ops import unary_union

from training.composites.layout_plans import Piece, Plan
from training.composites.layout_variety import WIDE, clip_segment, distract, grown_figure, varied_figure, varied_plan
from training.composites.layouts import NAMES, figure_reaches, make_planned

MIRRORED = ("book", "end", "diamond", "reverse_diamond", "sunburst", "herringbone")


def piece_at(plan: Plan, at: np.ndarray) -> Piece | None:
    return next((p for p in plan.pieces if Polygon(p.polygon).contains(Point(*at))), None)


@pytest.mark.parametrize("name", sorted(WIDE))
def test_pieces_cover_the_panel_once(name: str) -> None:
    rng = np.random.default_rng(4)
    for _ in range(3):
        plan = varied_plan(name, 3, rng, wide=1.0)
        w, h = plan.size
        shapes = [Polygon(p.polygon) for p in plan.pieces]
        assert abs(sum(s.area for s in shapes) / (w * h) - 1) < 0.01
        assert unary_union(shapes).area > 0.99 * w * h


@pytest.mark.parametrize("name", MIRRORED)
def test_figure_mirrors_at_every_axis(name: str) -> None:
    # closed form: the reflection of a place in an axis has the same coordinates in its own leaf
    rng = np.random.default_rng(8)
    seen = 0
    for _ in range(4):
        plan = varied_plan(name, 2, rng, wide=1.0)
        for axis in plan.axes:
            d = (axis[1] - axis[0]) / np.hypot(*(axis[1] - axis[0]))
            normal = np.array([-d[1], d[0]])
            for t in (0.3, 0.5, 0.7):
                middle = axis[0] + t * (axis[1] - axis[0])
                for reach in (3.0, 7.0):
                    one, two = (piece_at(plan, middle + s * reach * normal) for s in (1, -1))
                    if one is None or two is None or one is two:
                        continue
                    a, b = ((p.to_leaf @ [*(middle + s * reach * normal + 0.5), 1.0])[:2] for p, s in ((one, 1), (two, -1)))
                    assert np.allclose(a, b, atol=1e-6), (name, a, b)
                    seen += 1
    assert seen > 20


def test_grown_figure_is_made_anew_the_same() -> None:
    one, two, other = grown_figure(5), grown_figure(5), grown_figure(6)
    assert np.array_equal(one.pixels, two.pixels) and one.pixels.shape != other.pixels.shape
    assert one.pixels.shape[0] >= 300 and one.pixels.shape[1] >= 700


def test_varied_figures_stay_usable() -> None:
    figure = grown_figure(7)
    for seed in range(6):
        out = varied_figure(figure, np.random.default_rng(seed)).pixels
        assert out.dtype == np.uint8 and out.shape[0] >= 140 and out.shape[1] >= 240


def test_marks_lie_on_some_panels_only() -> None:
    plain = np.full((200, 300, 3), 120, np.uint8)
    touched = [not np.array_equal(distract(plain, np.random.default_rng(s)), plain) for s in range(60)]
    assert 15 < sum(touched) < 60


def test_segments_are_cut_at_the_box() -> None:
    line = clip_segment(np.array([[-10.0, 5.0], [30.0, 25.0]]), (0, 0), (20, 40))
    assert line is not None and np.allclose(line, [[0, 10], [20, 20]])
    assert clip_segment(np.array([[-10.0, 5.0], [-3.0, 25.0]]), (0, 0), (20, 40)) is None


def test_too_small_a_figure_is_noticed() -> None:
    figure = grown_figure(9)
    small = type(figure)(figure.pixels[:80, :100], "a", "b", "plain")
    plan = varied_plan("single", 1, np.random.default_rng(0), wide=0.0)
    assert figure_reaches(plan, [figure]) and not figure_reaches(plan, [small])


def test_a_plan_is_laid_with_marks() -> None:
    rng = np.random.default_rng(3)
    figures = [grown_figure(11), grown_figure(12)]
    truth = make_planned(varied_plan("end", 2, rng, wide=1.0), figures, "end", rng, "none", distract)
    assert truth.name == "end" and len(truth.axes) >= 1 and truth.pixels.ndim == 3
    assert set(WIDE) <= set(NAMES)

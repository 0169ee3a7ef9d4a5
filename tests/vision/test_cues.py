"""Cues in view."""

from dataclasses import replace

import numpy as np

from tests.vision.findings.scene import context, straight_grain
from vision.cues import cues_in_view, with_wear
from vision.detail import Detail
from vision.grain.knots import Knot
from vision.registry import CUES


def test_figure_is_a_cue_and_a_blank_wall_has_none():
    assert "figure" in cues_in_view(context(straight_grain()), "face")
    assert cues_in_view(context(np.full((100, 100, 3), 128, np.uint8)), "face") == ("none",)


def test_view_and_located_marks_count():
    ctx = context(straight_grain())
    marked = replace(ctx, structure=replace(ctx.structure, knots=(Knot(50, 50, 8, 0.5),)))
    assert {"end", "knot"} <= set(cues_in_view(marked, "end"))
    assert [c for c in CUES if c in cues_in_view(marked, "end")] == list(cues_in_view(marked, "end"))


def test_macro_needs_wide_lines_or_a_known_scale():
    ctx = context(straight_grain())
    assert "macro" not in cues_in_view(ctx, "face")
    view = ctx.measure.view
    close = replace(ctx, measure=replace(ctx.measure, view=replace(view, mm_per_px=0.04)))
    assert "macro" in cues_in_view(close, "face")


def test_a_chip_shows_what_is_underneath_and_a_ring_on_the_finish_does_not():
    def spot(kind):
        return Detail("damage", kind, None, "low", ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0)), "Seen.", "Means.")

    assert with_wear(("none",), [spot("chip")]) == ("wear",)
    assert with_wear(("figure",), [spot("chip")]) == ("wear", "figure")
    assert with_wear(("figure",), [spot("water_mark"), spot("mould")]) == ("figure",)
    assert with_wear(("none",), []) == ("none",)

"""What is said of lines between strips, dark spots and sheen, and where it is marked."""

from dataclasses import replace

import numpy as np
import pytest

from tests.vision.cues_seen.boards_made import JOINTS, boards
from tests.vision.findings.scene import context, straight_grain
from vision.findings import Weight, panel_drafts
from vision.findings.observe import eye_cues
from vision.findings.place import place


def of(rgb):
    return context(np.clip(np.rint(rgb), 0, 255).astype(np.uint8))


def test_gaps_are_told_and_marked_where_they_lie():
    ctx = of(boards(3, gap=0.35))
    text = eye_cues(ctx)
    assert "3 of 3 straight lines" in text and "drawn line" in text and "bare" not in text
    where, located = place("eye_cues", ctx)
    lines = [r for r in where if r.type == "line"]
    assert located and len(lines) == 3
    rows = sorted(np.mean([p[1] for p in r.points]) - 50 for r in lines)
    assert rows == pytest.approx(JOINTS, abs=2)


def test_bare_steps_are_told():
    text = eye_cues(of(boards(1, steps=(0.0, 0.16, -0.1, 0.1))))
    assert "3 steps of tone with neither gap nor light line" in text


def test_a_panel_without_lines_speaks_of_its_colour_and_is_marked_whole():
    ctx = of(boards(2))
    assert eye_cues(ctx).startswith("Looked at closely: ") and "line" not in eye_cues(ctx)
    where, located = place("eye_cues", ctx)
    assert not located and where[0].points == ctx.panel.outline


def test_marks_end_where_the_panel_ends():
    ctx = of(boards(3, gap=0.35))
    half = ctx.measure.view.mask.copy()
    half[:, 240:] = False
    view = replace(ctx.measure.view, mask=half)
    where, _ = place("eye_cues", replace(ctx, measure=replace(ctx.measure, view=view)))
    assert max(p[0] for r in where if r.type == "line" for p in r.points) <= 100 + 240


def test_it_stands_among_the_findings():
    drafts = panel_drafts(replace(context(straight_grain()), weights={"eye_cues": Weight("solid_wood", "veneer", 3.0)}), False)
    assert [d.kind for d in drafts] == ["eye_cues"] and drafts[0].text.endswith("as the surface.")


def test_marks_that_weigh_nothing_are_not_shown():
    ctx = of(boards(1, steps=(0.0, 0.16, -0.1, 0.1)))
    light = replace(ctx, weights={"eye_cues": Weight("solid_wood", "veneer", 0.2)})
    assert place("eye_cues", light)[1] and panel_drafts(light, False) == []
    assert panel_drafts(replace(light, weights={"eye_cues": Weight("solid_wood", "veneer", 0.6)}), False)

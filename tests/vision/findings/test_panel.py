"""Findings of a panel: what is listed, where it lies, what it says."""

from dataclasses import replace

import numpy as np
import pytest

from tests.vision.findings.scene import context, straight_grain
from vision.edges.strips import LayerLine
from vision.findings import Weight, panel_drafts, shows_edge
from vision.findings.observe import OBSERVERS, ON_FACES
from vision.findings.panel import tail
from vision.findings.place import place
from vision.grain.seams import Seam
from vision.registry import FINDING_KINDS


@pytest.fixture(scope="module")
def panel():
    return context(straight_grain())


def test_every_kind_has_words_and_all_are_registered():
    assert set(OBSERVERS) <= set(FINDING_KINDS)
    assert set(FINDING_KINDS) - set(OBSERVERS) == {
        "gloss_change", "figure_repeat",  # these need two panels
        "net_region",  # this is worded where it is placed
        "joint", "fitting", "damage"}  # these come as details


def test_heaviest_first_and_the_light_ones_left_out(panel):
    weights = {"colour": Weight("veneer", "printed", 1.0), "gloss": Weight("printed", "veneer", 4.0),
               "fine_texture": Weight("veneer", "printed", 0.1)}
    drafts = panel_drafts(replace(panel, weights=weights), False)
    assert [d.kind for d in drafts] == ["gloss", "colour"]
    assert all(d.where[0].type == "polygon" and d.where[0].points == panel.panel.outline for d in drafts)


def test_a_located_mark_is_shown_even_if_it_weighs_nothing(panel):
    seam = Seam((10.0, 20.0), (10.0, 200.0), 0.8, 0.0, 90.0)
    marked = replace(panel, structure=replace(panel.structure, seams=(seam,)),
                     weights={"direction_seam": Weight("veneer", "printed", 0.0)})
    drafts = panel_drafts(marked, False)
    assert [d.kind for d in drafts] == ["direction_seam"]
    region = drafts[0].where[0]
    assert region.type == "line" and region.points == ((110.0, 70.0), (110.0, 250.0))
    assert "turn of 90 degrees" in drafts[0].text and "settles nothing" in drafts[0].text


def test_without_marks_a_finding_lies_on_the_whole_panel(panel):
    bare = replace(panel, structure=replace(panel.structure, knots=()))
    where, located = place("knot", bare)
    assert not located and where[0].points == panel.panel.outline


def test_layers_are_marked_only_where_a_section_is_in_view(panel):
    assert shows_edge("edge", 0.1) and shows_edge("face", 0.9) and not shows_edge("face", 0.1)
    line = LayerLine(((0.0, 60.0), (319.0, 60.0)), 20.0, 0.25)
    marked = replace(panel, marks=(line,), weights={"edge_layers": Weight("plywood", "lumber", 6.0)})
    on_edge, on_face = panel_drafts(marked, True)[0], panel_drafts(marked, False)[0]
    assert on_edge.where[0].type == "line" and on_face.where[0].type == "polygon"
    assert on_face.weight == on_edge.weight and "layers" not in on_face.text


def test_nothing_that_weighs_is_kept_back(panel):
    weights = {kind: Weight("veneer", "printed", 3.0) for kind in OBSERVERS}
    for edge in (True, False):
        assert {d.kind for d in panel_drafts(replace(panel, weights=weights), edge)} == set(OBSERVERS)


def test_grain_is_described_as_it_is(panel):
    text = OBSERVERS["grain_flow"](panel)
    assert "straight" in text
    flat = context(np.full((240, 320, 3), 128, np.uint8))
    assert "No grain direction" in OBSERVERS["grain_flow"](flat)


@pytest.mark.parametrize("pixels", [np.zeros((40, 40, 3), np.uint8), np.full((30, 200, 3), 255, np.uint8),
                                    np.random.default_rng(3).integers(0, 256, (64, 64, 3), dtype=np.uint8)])
def test_every_observer_speaks_on_awkward_panels(pixels):
    ctx = context(pixels)
    for kind, observe in [*OBSERVERS.items(), *ON_FACES.items()]:
        text = observe(ctx)
        assert text.endswith(".") and "nan" not in text and "inf" not in text, (kind, text)


@pytest.mark.parametrize(("decibans", "word"), [(0.2, "settles nothing"), (1.0, "slight"), (3.0, "moderate"), (7.0, "clear"),
                                                (12.0, "strong")])
def test_words_grow_with_weight(decibans, word):
    assert word in tail("veneer", "printed", decibans)
    assert "core" in tail("plywood", "fibreboard", 3.0)

"""Findings of a panel: what is listed, where it lies, what it says."""

from dataclasses import replace

import numpy as np
import pytest

from tests.vision.findings.scene import context, straight_grain
from vision.findings import Weight, kinds_for, panel_drafts
from vision.findings.observe import OBSERVERS
from vision.findings.panel import tail
from vision.findings.place import place
from vision.grain.seams import Seam
from vision.registry import FINDING_KINDS


@pytest.fixture(scope="module")
def panel():
    return context(straight_grain())


def test_every_kind_has_words_and_all_are_registered():
    assert set(OBSERVERS) <= set(FINDING_KINDS)
    assert set(FINDING_KINDS) - set(OBSERVERS) == {"gloss_change", "shape"}


def test_heaviest_first_and_the_light_ones_left_out(panel):
    weights = {"colour": Weight("veneer", "printed", 1.0), "gloss": Weight("printed", "veneer", 4.0),
               "fine_texture": Weight("veneer", "printed", 0.1)}
    drafts = panel_drafts(replace(panel, weights=weights), kinds_for("face", 0.0))
    assert [d.kind for d in drafts] == ["gloss", "colour"]
    assert all(d.where[0].type == "polygon" and d.where[0].points == panel.panel.outline for d in drafts)


def test_a_located_mark_is_shown_even_if_it_weighs_nothing(panel):
    seam = Seam((10.0, 20.0), (10.0, 200.0), 0.8, 0.0, 90.0)
    marked = replace(panel, structure=replace(panel.structure, seams=(seam,)),
                     weights={"direction_seam": Weight("veneer", "printed", 0.0)})
    drafts = panel_drafts(marked, kinds_for("face", 0.0))
    assert [d.kind for d in drafts] == ["direction_seam"]
    region = drafts[0].where[0]
    assert region.type == "line" and region.points == ((110.0, 70.0), (110.0, 250.0))
    assert "turn of 90 degrees" in drafts[0].text and "settles nothing" in drafts[0].text


def test_without_marks_a_finding_lies_on_the_whole_panel(panel):
    bare = replace(panel, structure=replace(panel.structure, knots=()))
    where, located = place("knot", bare)
    assert not located and where[0].points == panel.panel.outline


def test_layers_and_rings_are_not_read_off_a_plain_face():
    assert not {"edge_layers", "end_rings"} & set(kinds_for("face", 0.1))
    assert kinds_for("edge", 0.9)[:2] == ("edge_layers", "edge_particles")
    assert "edge_layers" in kinds_for("face", 0.9)


def test_grain_is_described_as_it_is(panel):
    text = OBSERVERS["grain_flow"](panel)
    assert "straight" in text
    flat = context(np.full((240, 320, 3), 128, np.uint8))
    assert "No grain direction" in OBSERVERS["grain_flow"](flat)


@pytest.mark.parametrize("pixels", [np.zeros((40, 40, 3), np.uint8), np.full((30, 200, 3), 255, np.uint8),
                                    np.random.default_rng(3).integers(0, 256, (64, 64, 3), dtype=np.uint8)])
def test_every_observer_speaks_on_awkward_panels(pixels):
    ctx = context(pixels)
    for kind, observe in OBSERVERS.items():
        text = observe(ctx)
        assert text.endswith(".") and "nan" not in text and "inf" not in text, (kind, text)


@pytest.mark.parametrize(("decibans", "word"), [(0.2, "settles nothing"), (1.0, "slight"), (3.0, "moderate"), (7.0, "clear"),
                                                (12.0, "strong")])
def test_words_grow_with_weight(decibans, word):
    assert word in tail("veneer", "printed", decibans)
    assert "core" in tail("plywood", "fibreboard", 3.0)

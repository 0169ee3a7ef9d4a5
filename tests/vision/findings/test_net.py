"""The panel net's finding: silent without a net, marked where its evidence lies, honest where it lies nowhere."""

from dataclasses import replace

import numpy as np
import pytest

from tests.vision.evidence.drawn_scene import verdict
from tests.vision.net_scene import CORNER, RedNet, answer_with, photo_with
from vision import grain
from vision.edges.strips import located as located_on_edges
from vision.evidence import draw_evidence, finding_crop
from vision.findings import PanelContext, Weight, panel_drafts
from vision.findings.net import net_place
from vision.measure import PanelMeasure, measure_view
from vision.panels import rectify
from vision.types import Finding


@pytest.fixture(scope="module")
def scene():
    photo, panel = photo_with([CORNER])
    view = rectify(photo, panel)
    field, values = measure_view(view)
    measured = PanelMeasure(view, field, values, {})
    ctx = PanelContext(panel, measured, grain.located(view, field), located_on_edges(view, field), {})
    return photo, ctx, RedNet().answer(photo, view)


def of_the_net(ctx, edge=False):
    return [d for d in panel_drafts(ctx, edge) if d.kind == "net_region"]


def test_without_a_net_nothing_is_said(scene):
    ctx = scene[1]
    assert ctx.net is None and net_place(ctx) is None and of_the_net(ctx) == []
    assert of_the_net(replace(ctx, weights={"colour": Weight("veneer", "printed", 3.0)})) == []


def test_a_spot_is_marked_with_its_share_and_the_classifiers_weight(scene):
    _, ctx, answer = scene
    (draft,) = of_the_net(replace(ctx, net=answer, weights={"net_region": Weight("veneer", "solid_wood", 4.0)}))
    assert draft.weight == Weight("veneer", "solid_wood", 4.0)
    assert [r.type for r in draft.where] == ["polygon"] and draft.where[0].panel == "s1"
    middle = np.array(draft.where[0].points).mean(axis=0)
    assert 150 < middle[0] < 330 and 120 < middle[1] < 290
    assert "wood veneer rather than solid wood" in draft.text and "marked place" in draft.text
    assert draft.text.endswith("A moderate pointer to wood veneer rather than solid wood as the surface.")


def test_a_net_that_the_classifier_does_not_read_is_shown_and_not_weighed(scene):
    _, ctx, answer = scene
    (draft,) = of_the_net(replace(ctx, net=answer))
    assert draft.weight.decibans == 0 and draft.text.endswith("Shown, not weighed.")
    spread = answer_with(np.full((3, 7, 7), 2.0, np.float32))
    assert of_the_net(replace(ctx, net=spread)) == []


def test_spread_evidence_lies_on_the_whole_panel(scene):
    ctx = scene[1]
    weighed = replace(ctx, weights={"net_region": Weight("veneer", "solid_wood", 4.0)})
    (draft,) = of_the_net(replace(weighed, net=answer_with(np.full((3, 7, 7), 2.0, np.float32))))
    assert draft.where[0].points == ctx.panel.outline and "spread over the panel" in draft.text
    (draft,) = of_the_net(replace(weighed, net=answer_with(np.zeros((3, 7, 7), np.float32))))
    assert "about as much" in draft.text
    light = replace(weighed, weights={"net_region": Weight("veneer", "solid_wood", 0.2)})
    assert of_the_net(replace(light, net=answer_with(np.full((3, 7, 7), 2.0, np.float32)))) == []


def test_what_lies_beside_the_panel_is_said_to(scene):
    maps = np.zeros((3, 7, 7), np.float32)
    maps[0, 0, :] = 3.0
    (draft,) = of_the_net(replace(scene[1], net=answer_with(maps)))
    assert "beside the panel" in draft.text


def test_a_weight_is_never_kept_back(scene):
    ctx = scene[1]
    for weight in (Weight("plywood", "lumber", 6.0), Weight("veneer", "printed", 6.0)):
        for net in (None, scene[2]):
            (draft,) = of_the_net(replace(ctx, net=net, weights={"net_region": weight}), True)
            assert draft.weight == weight
            if weight.supports == "plywood":
                assert draft.where[0].points == ctx.panel.outline and draft.text.endswith("as the core.")


def test_the_classifier_may_count_it_the_other_way(scene):
    _, ctx, answer = scene
    (draft,) = of_the_net(replace(ctx, net=answer, weights={"net_region": Weight("solid_wood", "veneer", 1.0)}))
    assert "counted the other way" in draft.text and "slight pointer to solid wood" in draft.text


def test_its_place_is_drawn_on_the_evidence_picture(scene):
    photo, ctx, answer = scene
    (draft,) = of_the_net(replace(ctx, net=answer))
    found = Finding("f1", draft.kind, draft.where, *draft.weight.__dict__.values(), draft.text)
    with_it, without = (draw_evidence(photo, [ctx.panel], {"s1": verdict()}, f, {}) for f in ([found], []))
    changed = (with_it[:900].astype(int) - without[:900]).any(axis=2)
    rows, cols = np.nonzero(changed[: round(700 * 4 / 3)])
    scale = 1200 / photo.width
    points = np.array(draft.where[0].points) * scale
    rim = changed[np.round(points[:, 1]).astype(int).clip(0, 899), np.round(points[:, 0]).astype(int)]
    assert rim.mean() > 0.8 and cols.min() > points[:, 0].min() - 200 and rows.max() < points[:, 1].max() + 200
    assert finding_crop(photo, found) is not None

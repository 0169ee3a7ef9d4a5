"""The boundary net: its answers on drawn furniture whose every line is known, and a clear word when it is damaged."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.vision.panels import drawn_scenes as drawn
from vision.errors import ModelMismatch
from vision.panels import cells
from vision.panels.learned import BoundaryNet, shipped_net
from vision.panels.partition import both


@pytest.fixture(scope="module")
def cabinet():
    scene = drawn.cabinet()
    seen = cells.look(scene.photo())
    scale = np.array([seen.pixels.shape[1] / 1200, seen.pixels.shape[0] / 900])
    return {name: outline * scale for name, outline in scene.panels.items()}, seen, shipped_net().look(seen)


def band(outline, shape, px):
    """Pixels within `px` of an outline, and those inside it that are farther from it."""
    line = np.zeros(shape, np.uint8)
    cv2.polylines(line, [np.round(outline).astype(np.int32)], True, 1)
    near = cv2.dilate(line, np.ones((2 * px + 1, 2 * px + 1), np.uint8)) > 0
    inside = drawn.geometry.polygon_mask(outline, shape[1], shape[0])
    return line > 0, inside & ~near


def test_answers_have_the_shape_of_the_working_image_and_are_probabilities(cabinet):
    _, seen, answers = cabinet
    h, w = seen.pixels.shape[:2]
    assert answers.boundary.shape == (h, w) and answers.furniture.shape == (h // 4, w // 4)
    for values in (answers.boundary, answers.furniture):
        assert values.dtype == np.float32 and values.min() >= 0 and values.max() <= 1


@pytest.mark.parametrize("name", ["top", "drawer1", "drawer2", "drawer3", "side"])
def test_the_line_round_a_surface_stands_out_from_its_grain(cabinet, name):
    outlines, _, answers = cabinet
    line, inside = band(outlines[name], answers.boundary.shape, 6)
    ridge = cv2.dilate(answers.boundary, np.ones((7, 7)))
    assert np.median(ridge[line]) > 0.7
    assert answers.boundary[inside].mean() < 0.15


def test_furniture_is_told_from_wall_and_carpet(cabinet):
    outlines, _, answers = cabinet
    furniture = cv2.resize(answers.furniture, answers.boundary.shape[::-1])
    for name in ("top", "drawer2", "side"):
        assert furniture[band(outlines[name], furniture.shape, 6)[1]].mean() > 0.6, name
    assert furniture[:70].mean() < 0.2 and furniture[430:].mean() < 0.3


def test_the_same_photo_gives_the_same_answers(cabinet):
    _, seen, answers = cabinet
    again = BoundaryNet.load().look(seen)
    assert np.array_equal(again.boundary, answers.boundary) and np.array_equal(again.furniture, answers.furniture)


def test_a_damaged_net_is_named(tmp_path):
    path = tmp_path / "boundary.onnx"
    path.write_bytes(b"no net at all")
    with pytest.raises(ModelMismatch, match="boundary net"):
        BoundaryNet.load(path)


def test_two_witnesses_that_agree_are_believed_and_their_odds_multiply():
    p = np.array([0.2, 0.5, 0.9], np.float32)
    assert both(p, p) == pytest.approx(p, abs=1e-6)
    assert both(np.float32([0.2]), np.float32([0.9]))[0] > 0.2
    assert both(np.float32([0.2]), np.float32([0.9]))[0] < 0.9

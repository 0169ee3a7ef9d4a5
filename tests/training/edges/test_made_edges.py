"""Made pictures of edges: one piece of wood agrees at its arris, truth lies where it is drawn, seeds repeat."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from training.edges import kinds, paints, view
from training.edges.boards import make_board
from training.edges.make import make_edge, take

CLOSE = "close"


@pytest.mark.parametrize("name", ["solid_end", "solid_edge", "glued_end"])
def test_one_piece_shows_the_same_wood_on_both_sides_of_its_arris(name):
    matches = []
    for seed in range(5, 10):
        build = make_board(name, np.random.default_rng(seed))
        x = np.arange(-80, 80, 0.5) * min(1.0, build.size[0] / 170)
        near = np.array([0.001])
        face, strip = build.face(x, near, 0.3)[0].mean(axis=1), build.strip(x, near, 0.3)[0].mean(axis=1)
        matches.append(np.corrcoef(face, strip)[0, 1])
    # half of the ends carry saw marks
    assert max(matches) > 0.97 and np.median(matches) > 0.6


def test_a_veneer_shares_nothing_with_the_core_below_it():
    matches = []
    for seed in range(6):
        build = make_board("veneer_lumber_end", np.random.default_rng([seed, 1]))
        x = np.arange(-150, 150, 0.5)
        face, strip = build.face(x, np.array([0.1]), 0.5)[0].mean(axis=1), build.strip(x, np.array([6.0]), 0.5)[0].mean(axis=1)
        matches.append(abs(np.corrcoef(face, strip)[0, 1]))
    assert np.median(matches) < 0.3


def test_camera_agrees_with_opencv():
    # OpenCV's own projection of the same camera
    pose = view.Pose(31.0, 12.0, 3.0, 4.0, (20.0, 0.0, -5.0), 2.5, (640, 420))
    cam = view.camera(pose)
    points = np.random.default_rng(1).uniform(-60, 60, (30, 3))
    rotation, _ = cv2.Rodrigues(cam.turn)
    k = np.array([[cam.focal, 0, 319.5], [0, cam.focal, 209.5], [0, 0, 1.0]])
    expected, _ = cv2.projectPoints(points, rotation, -cam.turn @ cam.place, k, None)
    assert np.allclose(cam.project(points), expected[:, 0], atol=1e-6)
    assert np.allclose(cam.project(np.array(pose.target)), [319.5, 209.5])


@pytest.mark.parametrize("name", sorted(kinds.BUILDS))
def test_layers_fill_the_thickness(name):
    for seed in (1, 2):
        build = make_board(name, np.random.default_rng(seed))
        edges = [layer.top for layer in build.layers] + [build.layers[-1].bottom]
        assert edges[0] == 0 and abs(edges[-1] - build.size[2]) < 1e-6
        assert all(a.bottom == pytest.approx(b.top) for a, b in zip(build.layers, build.layers[1:], strict=False))
        assert (build.plies % 2 == 1) == (kinds.BUILDS[name] == "plies")


def test_plywood_table_keeps_the_pitch_of_its_source():
    # a dealer's sheet of birch-type plywood "composed of 1.4 mm thick veneers": 1.27 to 1.38 mm a ply
    pitches = [mm / plies for plies, mm in kinds.PLYWOOD[:6]]
    assert min(pitches) > 1.26 and max(pitches) < 1.39
    assert all(plies % 2 for plies, _ in kinds.PLYWOOD)


def test_same_seed_same_picture_and_truth_on_the_picture():
    one, two = make_edge("laminate_particle", CLOSE, 4), make_edge("laminate_particle", CLOSE, 4)
    assert np.array_equal(one.pixels, two.pixels)
    assert not np.array_equal(one.pixels, make_edge("laminate_particle", CLOSE, 5).pixels)
    truth = one.truth
    h, w = one.pixels.shape[:2]
    assert (truth.outline >= -0.5).all() and (truth.outline <= [w, h]).all()
    assert truth.face_px == pytest.approx(truth.face_mm * truth.px_per_mm)


def test_outline_and_arris_lie_on_what_is_drawn():
    """A white face over a black narrow side before a grey ground: the step at the arris, by plain counting."""
    white, black = paints.plain((1.0, 1.0, 1.0), "melamine", 1), paints.plain((0.03, 0.03, 0.03), "melamine", 2)
    build = make_board("bare_fibre", np.random.default_rng(2))
    build = replace(build, face=white, strip=black, third=white, under=white, gloss=0.0)
    pose = view.Pose(30.0, 10.0, 2.0, 3.0, (0.0, 0.0, 0.0), 3.0, (640, 420))
    picture = take(build, pose, CLOSE, 1, np.random.default_rng(3))
    assert picture is not None
    (x0, y0), (x1, y1) = picture.truth.arris
    grey = cv2.cvtColor(picture.pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    for t in (0.2, 0.5, 0.8):
        x, y = round(x0 + t * (x1 - x0)), y0 + t * (y1 - y0)
        column = grey[round(y) - 15 : round(y) + 16, x]
        edge = round(y) - 15 + float((column > 0.5 * (column.max() + column.min())).sum()) - 0.5
        assert abs(edge - y) < 2.5
    inside = cv2.fillPoly(np.zeros(grey.shape, np.uint8), [np.round(picture.truth.outline).astype(np.int32)], 1) > 0
    inside = cv2.erode(inside.astype(np.uint8), np.ones((9, 9))) > 0
    assert np.percentile(grey[inside], 95) < 0.5 * grey.max()


@pytest.mark.parametrize("name", kinds.OTHER_TRAPS)
def test_traps_are_no_edges(name):
    truth = make_edge(name, "angled", 3).truth
    assert truth.strip == "other" and truth.arris is None and truth.plies == 0 and truth.continuous is None


def test_unknown_names_are_refused():
    with pytest.raises(ValueError, match="unknown edge"):
        make_edge("marble", CLOSE, 1)


def test_folding_is_a_mirror():
    assert np.allclose(paints.back_and_forth(np.array([0.0, 5.0, 10.0, 12.0, 30.0, -12.0]), 10.0), [0, 5, 10, 8, -10, -8])

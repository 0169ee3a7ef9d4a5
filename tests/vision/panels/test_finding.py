"""Panel finding and taps on drawn furniture with known outlines."""

from __future__ import annotations

import numpy as np
import pytest

from tests.vision.panels import drawn_scenes as drawn
from vision.errors import UsageError
from vision.panels import PhotoSurfaces, find_panels, panel_at, rectify, surface_map
from vision.panels.cells import WORKING_SIDE
from vision.types import Photo


@pytest.fixture(scope="module")
def cabinet():
    scene = drawn.cabinet()
    return scene, scene.photo()


def best(panels, outline, photo):
    """(overlap, panel) of the panel that fits an outline best."""
    return max(((drawn.overlap(np.array(p.outline), outline, (photo.width, photo.height)), p) for p in panels),
               key=lambda pair: pair[0])


@pytest.mark.parametrize("name", ["top", "side", "drawer1", "drawer2", "drawer3"])
def test_each_surface_of_a_cabinet_is_a_panel_of_its_own(cabinet, name):
    scene, photo = cabinet
    overlap, panel = best(find_panels(photo), scene.panels[name], photo)
    assert overlap > 0.8
    assert panel.source == "found" and panel.photo == "f1" and panel.surface_share > 0.5


@pytest.mark.parametrize("name", ["top", "side", "drawer1", "drawer2", "drawer3"])
def test_a_tap_on_each_surface_gives_that_surface(cabinet, name):
    scene, photo = cabinet
    panel = panel_at(photo, *scene.panels[name].mean(axis=0))
    assert drawn.overlap(np.array(panel.outline), scene.panels[name], (photo.width, photo.height)) > 0.8
    assert panel.source == "tap"


def test_wall_and_carpet_are_no_panels(cabinet):
    _, photo = cabinet
    panels = find_panels(photo)
    assert len({p.id for p in panels}) == len(panels) <= 14
    wall = np.array([[20, 20], [1180, 20], [1180, 150], [20, 150]])
    carpet = np.array([[20, 800], [1180, 800], [1180, 890], [20, 890]])
    for panel in panels:
        for background in (wall, carpet):
            mask = drawn.geometry.polygon_mask(np.array(panel.outline), 1200, 900)
            assert mask[background[0, 1]:background[2, 1], background[0, 0]:background[1, 0]].mean() < 0.1
    assert surface_map(photo).at(60, 60) < 0.5 < surface_map(photo).at(500, 350)


def test_a_tap_on_the_wall_says_that_it_is_hardly_furniture(cabinet):
    _, photo = cabinet
    panel = panel_at(photo, 60, 60)
    assert panel.surface_share < 0.5


def test_panels_can_be_rectified(cabinet):
    scene, photo = cabinet
    _, panel = best(find_panels(photo), scene.panels["drawer1"], photo)
    view = rectify(photo, panel)
    assert view.mask.mean() > 0.9
    assert view.pixels.shape[1] / view.pixels.shape[0] == pytest.approx(556 / 160, rel=0.2)


def test_a_close_up_of_one_surface_is_one_panel():
    photo = drawn.Scene(drawn.wood(1200, 900, (165, 112, 68), 44)).photo()
    panels = find_panels(photo)
    assert len(panels) == 1
    whole = np.array([[0, 0], [1199, 0], [1199, 899], [0, 899]])
    assert drawn.overlap(np.array(panels[0].outline), whole, (1200, 900)) > 0.95
    assert panels[0].view_hint == "face"


def test_a_round_top_is_one_panel_with_no_corners():
    scene = drawn.round_top()
    photo = scene.photo()
    overlap, panel = best(find_panels(photo), scene.panels["top"], photo)
    assert overlap > 0.9
    assert panel.quad is None


def test_a_visible_edge_is_a_panel_apart_from_its_face():
    scene = drawn.thick_edge()
    photo = scene.photo()
    panels = find_panels(photo)
    face, face_panel = best(panels, scene.panels["face"], photo)
    edge, edge_panel = best(panels, scene.panels["edge"], photo)
    assert face > 0.9 and edge > 0.75
    assert edge_panel.view_hint == "edge" and face_panel.view_hint == "face"
    assert face_panel.quad is not None


def test_what_stands_on_a_surface_is_cut_out_of_it():
    """A box on a wooden floor: the floor's outline must leave the box out and still be one simple line."""
    from shapely.geometry import Polygon

    scene = drawn.Scene(drawn.wood(1000, 800, (186, 140, 92), 51))
    scene.put("box", drawn.plain(300, 300, (40, 52, 78), 8), [(350, 250), (650, 250), (650, 550), (350, 550)])
    photo = scene.photo()
    floor = panel_at(photo, 100, 100)
    polygon = Polygon(floor.outline)
    assert polygon.is_valid
    assert polygon.area > 0.75 * (1000 * 800 - 300 * 300)
    box = Polygon(scene.panels["box"])
    assert polygon.intersection(box).area < 0.1 * box.area


@pytest.mark.parametrize(("x", "y"), [(-1, 5), (5, -1), (5000, 5), (5, 5000), (float("nan"), 5), (5, float("inf"))])
def test_a_tap_outside_the_photo_is_refused(cabinet, x, y):
    _, photo = cabinet
    with pytest.raises(UsageError, match="outside the photo"):
        panel_at(photo, x, y)


@pytest.mark.parametrize("seed", range(4))
def test_a_tap_anywhere_gives_a_panel_that_holds_the_tap(cabinet, seed):
    from shapely.geometry import Point, Polygon

    _, photo = cabinet
    for x, y in np.random.default_rng(seed).uniform([0, 0], [1199, 899], (12, 2)):
        outline = Polygon(panel_at(photo, float(x), float(y)).outline)
        assert outline.buffer(4.0).contains(Point(x, y))


def test_the_corners_of_the_photo_can_be_tapped(cabinet):
    _, photo = cabinet
    for x in (0, photo.width):
        for y in (0, photo.height):
            assert len(panel_at(photo, x, y).outline) >= 3


def test_work_is_shared_between_finding_and_tapping_and_forgotten_with_the_photo(cabinet):
    _, photo = cabinet
    assert PhotoSurfaces.of(photo) is PhotoSurfaces.of(photo)
    h, w = surface_map(photo).likeness.shape
    assert max(h, w) == WORKING_SIDE


@pytest.mark.parametrize("shape", [(40, 40), (33, 900), (900, 33), (64, 48)])
def test_odd_sizes_are_no_trouble(shape):
    rng = np.random.default_rng(3)
    photo = Photo(id="f1", file="odd.png", sha256="0", pixels=rng.integers(0, 255, (*shape, 3), dtype=np.uint8))
    for panel in find_panels(photo):
        points = np.array(panel.outline)
        assert points.min() >= 0 and (points.max(axis=0) <= [shape[1] - 1, shape[0] - 1]).all()
    assert panel_at(photo, shape[1] / 2, shape[0] / 2).outline


def test_a_blank_photo_has_no_panels():
    photo = Photo(id="f1", file="blank.png", sha256="0", pixels=np.full((300, 400, 3), 128, np.uint8))
    assert all(p.surface_share > 0.5 for p in find_panels(photo))

"""Narrow sides beside a panel: found where a thickness shows, to a pixel or two; other lines and bands are not told."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.vision.edges.edge_photos_made import distance, photo_of
from tests.vision.edges.edge_strips_made import fibre, particles
from vision.edges.find import find_strips, side_bands, sides_of
from vision.edges.find_lines import Shrunk, changes, lay_side, lines_of, seen_part, stretches_of
from vision.edges.find_model import OWN, load_strip_model, own_numbers, second_numbers
from vision.edges.find_numbers import NAMES

FACE = np.array([(150.0, 90.0), (650.0, 90.0), (650.0, 330.0), (150.0, 330.0)])


def grainy(shape, colour, seed, sd=3.0, along=12.0):
    """Wood-like (h, w, 3) patch: streaks along the rows."""
    rng = np.random.default_rng(seed)
    streaks = cv2.GaussianBlur(rng.normal(size=shape).astype(np.float32), (0, 0), sigmaX=along, sigmaY=1.0)
    return np.array(colour) + sd * (streaks / streaks.std())[..., None] * np.array([1, 0.95, 0.85])


def room(seed=0, wall=(178, 182, 188), top=(172, 128, 84), size=(560, 800)):
    """A wood panel seen a little from above before a wall: (h, w, 3) float."""
    picture = np.full((*size, 3), wall, np.float64)
    x0, y0, x1, y1 = 150, 90, 651, 331
    picture[y0:y1, x0:x1] = grainy((y1 - y0, x1 - x0), top, seed)
    return picture


def photo(picture, seed=0, blur=0.7):
    noisy = cv2.GaussianBlur(picture, (0, 0), blur) + np.random.default_rng(seed).normal(0, 2.0, picture.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8)


def with_edge(thick=22, colour=(146, 104, 66), seed=0):
    picture = room(seed)
    picture[331:331 + thick, 150:651] = grainy((thick, 501), colour, seed + 50, sd=2.5)
    return photo(picture, seed)


@pytest.mark.parametrize("thick", [10, 14, 22])
@pytest.mark.parametrize("off", [0.0, 2.5])
def test_an_edge_below_the_face_is_found_where_it_is(thick, off):
    pixels = with_edge(thick, seed=thick)
    outline = FACE + off * np.array([(1, -1), (-1, -1), (1, 1), (-1, -1)]) / np.sqrt(2)
    strips = find_strips(pixels, outline, least=0.0)
    best = strips[0]
    assert not best.inside and best.chance > 0.5
    assert abs(best.depth_px - thick) < 2
    line = (150.0, 330.5), (650.0, 330.5)
    assert max(distance(p, line) for p in best.outline[:2]) < 2
    assert max(abs(p[1] - 330.5 - thick) for p in best.outline[2:]) < 2
    assert best.face_at[1] < 330


@pytest.mark.parametrize("strip", [particles(thickness=30, length=700), fibre(thickness=36, length=700)])
def test_edges_of_board_are_found_beside_a_plain_face(strip):
    pixels, outline, _ = photo_of(strip, angle=2.0, floor=30)
    a, b = outline[0], outline[1]
    into = (a - outline[3]) / np.hypot(*(a - outline[3]))
    face = np.array([a + into, b + into, b + 120 * into, a + 120 * into])
    best = find_strips(pixels, face, least=0.0)[0]
    assert not best.inside and abs(best.depth_px - len(strip)) < 4
    assert distance(best.outline[0], (outline[0], outline[1])) < 3 and distance(best.outline[2], (outline[3], outline[2])) < 3


@pytest.mark.parametrize("turn", [0, 1, 2, 3])
def test_a_turned_photo_turns_the_band(turn):
    pixels = with_edge(24, seed=4)
    h, w = pixels.shape[:2]
    outline = FACE.copy()
    for _ in range(turn):
        outline = np.stack([outline[:, 1], (w - 1) - outline[:, 0]], axis=1)
        h, w = w, h
    strips = find_strips(np.ascontiguousarray(np.rot90(pixels, turn)), outline, least=0.0)
    assert any(abs(s.depth_px - 24) < 2 and not s.inside for s in strips)


def shadow(seed):
    """A soft shadow below the panel on the wall's own tone."""
    picture = room(seed)
    picture[331:375, 150:651] *= np.linspace(0.55, 1.0, 44)[:, None, None]
    return picture


def gap(seed):
    """Two fronts a dark gap apart."""
    picture = room(seed)
    picture[331:336, 150:651] = 28
    picture[336:500, 150:651] = grainy((164, 501), (172, 128, 84), seed + 9)
    return picture


def moulding(seed):
    """A grooved line inside the face, none beside it."""
    picture = room(seed)
    picture[300:303, 150:651] *= 0.7
    picture[303:305, 150:651] *= 1.15
    return picture


def louvre(seed):
    """Slats from the panel on downwards, each lit above and dark below."""
    picture = room(seed)
    for k, y in enumerate(range(331, 540, 18)):
        picture[y:y + 18, 150:651] = grainy((18, 501), (172, 128, 84), seed + k) * np.linspace(1.1, 0.55, 18)[:, None, None]
    return picture


def stacked(seed):
    """Drawer fronts of one wood below each other, narrow dark gaps between."""
    picture = room(seed)
    for k, y in enumerate((331, 418)):
        picture[y:y + 4, 150:651] = 34
        picture[y + 4:y + 87, 150:651] = grainy((83, 501), (170, 127, 83), seed + 20 + k)
    return picture


def shelf_shadow(seed):
    """A shelf's soft shadow falls on the upper part of the back, which is the panel outlined."""
    picture = room(seed)
    dark = 1 - 0.55 / (1 + np.exp((np.arange(240) - 40) / 6.0))
    picture[91:331, 150:651] *= dark[:, None, None]
    picture[60:90, 150:651] = grainy((30, 501), (172, 128, 84), seed + 3)
    return picture


def floor_line(seed):
    """Wall below the panel, then a skirting line and the floor."""
    picture = room(seed)
    picture[352:] = (150, 118, 92)
    picture[350:352] = (96, 88, 80)
    return picture


def cloth(seed):
    """A cloth hangs over the panel's lower arris, its hem waved."""
    picture = room(seed)
    x = np.arange(150, 651)
    hem = 362 + 9 * np.sin(x / 23.0 + seed) + 4 * np.sin(x / 7.0)
    y = np.arange(560)[:, None]
    folds = (225 + 16 * np.sin(x / 11.0 + seed))[None, :, None] * np.array([1.0, 0.98, 0.93])
    picture[:, 150:651] = np.where(((y >= 318) & (y <= hem[None]))[..., None], folds, picture[:, 150:651])
    return picture


def nothing(seed):
    return room(seed)


@pytest.mark.parametrize("draw", [shadow, gap, moulding, louvre, stacked, shelf_shadow, floor_line, cloth, nothing])
def test_what_is_no_narrow_side_is_not_told(draw):
    for seed in range(3):
        assert find_strips(photo(draw(seed), seed), FACE) == ()


def test_an_even_picture_and_odd_outlines_give_nothing():
    pixels = np.random.default_rng(2).normal(130, 3, (400, 600, 3)).astype(np.uint8)
    assert find_strips(pixels, [(100, 60), (500, 60), (500, 200), (100, 200)]) == ()
    assert find_strips(pixels, [(100, 60), (500, 60)]) == ()
    assert find_strips(pixels, [(10, 10), (40, 10), (40, 40)]) == ()  # too short
    assert find_strips(pixels, [(-3, -3), (602, -3), (602, 402), (-3, 402)]) == ()  # the whole photo: nothing beside it


def test_a_band_whose_arris_hardly_shows_is_judged_but_not_told(monkeypatch):
    pixels = with_edge(22)
    monkeypatch.setattr("vision.edges.find.load_strip_model", lambda: replace(load_strip_model(), least=0.3))
    told = find_strips(pixels, FACE)[0]
    assert abs(told.depth_px - 22) < 2
    monkeypatch.setattr("vision.edges.find.TOLD_ARRIS", 60.0)
    assert find_strips(pixels, FACE) == () and told in find_strips(pixels, FACE, least=0.0)


@pytest.mark.parametrize("cut", [0, 1])
def test_an_edge_that_leaves_the_photo_is_found_as_far_as_it_shows(cut):
    pixels = with_edge(20, seed=3)
    h = len(pixels)
    pixels = np.ascontiguousarray(pixels[:, 190:] if cut == 0 else pixels[:, :600])
    outline = np.clip(FACE - np.array([190 * (cut == 0), 0]), 0, [pixels.shape[1] - 1, h - 1])
    best = find_strips(pixels, outline, least=0.0)[0]
    assert abs(best.depth_px - 20) < 2 and abs(best.outline[0][1] - 330.5) < 2
    xs = sorted(p[0] for p in best.outline)
    assert xs[0] > -1 and xs[-1] < pixels.shape[1] and xs[-1] - xs[0] > 430


def test_the_seen_part_of_a_side_is_where_the_photo_shows_both_its_sides():
    a, b, way = np.array([100.0, 100.0]), np.array([500.0, 100.0]), np.array([0.0, 1.0])
    assert seen_part(a, b, way, (800, 600)) == (0.0, 1.0)
    first, last = seen_part(a, b, way, (300, 600))
    assert first == 0.0 and last == pytest.approx(0.5, abs=0.01)
    assert seen_part(a, b, way, (800, 105)) is None


def test_only_bands_at_or_over_the_least_chance_are_told_likeliest_first():
    pixels = with_edge(22)
    pixels[72:90, 150:651] = 90  # a second band, above
    every = find_strips(pixels, FACE, least=0.0)
    chances = [s.chance for s in every]
    assert len(every) > 1 and chances == sorted(chances, reverse=True) and all(0 <= c <= 1 for c in chances)
    assert find_strips(pixels, FACE) == tuple(s for s in every if s.chance >= load_strip_model().least)


def test_sides_point_outwards_whichever_way_the_outline_runs():
    for outline in (FACE, FACE[::-1]):
        middle = outline.mean(axis=0)
        sides = list(sides_of(outline))
        assert len(sides) == 4
        for a, b, way, panel in sides:
            assert ((a + b) / 2 - middle) @ way > 0 and panel["corner_low"] == pytest.approx(90, abs=1e-6)


def test_lines_are_found_to_a_fraction_of_a_row_and_with_their_tilt():
    picture = np.full((400, 600, 3), 180.0)
    y, x = np.mgrid[:400, :600]
    below = np.clip(y - (250.3 + 0.02 * (x - 300)) + 0.5, 0, 1)[..., None]
    pixels = (picture * (1 - below) + 90 * below).round().astype(np.uint8)
    a, b, way = np.array([100.0, 220.0]), np.array([500.0, 220.0]), np.array([0.0, 1.0])
    layout = lay_side(Shrunk(pixels), a, b, way, (600, 400))
    lines = lines_of(layout, 4.0)
    k = int(np.argmax(lines.score))
    found = layout.on_photo(0.5, lines.row[k])
    assert found[1] == pytest.approx(249.8, abs=0.6) and lines.tilt[k] * layout.step == pytest.approx(8.0, abs=0.8)


def test_changes_see_a_step_at_its_border():
    profile = np.zeros((12, 1, 3), np.float32)
    profile[6:] = 10.0
    change = changes(profile)
    assert int(np.argmax(change[:, 0, 0])) == 6 and change[6, 0, 0] == 10.0


def test_stretches_stay_clear_of_the_corners():
    for n in (48, 77, 192):
        start, stop, place = stretches_of(n)
        assert (stop > start).all() and stop.max() <= n and (np.diff(place) > 0).all()
        assert (place[:2] < 0).all() and (place[-2:] > 1).all() and place[2] > 0 and place[-3] < 1


def test_numbers_are_finite_and_the_same_each_time():
    pixels = with_edge(18)
    first, again = (side_bands(Shrunk(pixels), pixels.shape, FACE) for _ in range(2))
    assert first and all(s.numbers.shape == (len(s.bands), len(NAMES)) and np.isfinite(s.numbers).all() for s in first)
    assert all(np.array_equal(s.numbers, t.numbers) for s, t in zip(first, again, strict=True))


def test_the_second_step_takes_one_band_a_side_and_compares_depths():
    sides = np.array([0, 0, 1, 1])
    best, numbers = second_numbers(sides, np.array([2.0, 1.0, -1.0, 0.5]), np.array([20.0, 40.0, 9.0, 20.0]), np.zeros(4, bool))
    assert best.tolist() == [0, 3]
    assert numbers[0].tolist() == [2.0, 1.0, 0.5, 1.0, 0.5] and numbers[1].tolist() == [0.5, 1.5, 2.0, 1.0, 2.0]


def test_whose_a_narrow_side_is_weighs_what_shows_opposite_and_across():
    numbers, odds = np.arange(8.0).reshape(4, 2), np.array([2.0, 0.5, 1.0, -1.0])
    ways = np.array([(0.0, 1.0), (0.0, 1.0), (0.0, -1.0), (1.0, 0.0)])
    out = own_numbers(numbers, odds, ways, np.array([0, 3]))
    assert out.shape == (2, 2 + len(OWN)) and out[0].tolist() == [0.0, 1.0, 2.0, 1.0, -1.0]
    assert out[1].tolist() == [6.0, 7.0, -1.0, -6.0, 2.0]

"""Round things, rows, grids, pairs, strokes and gaps against closed forms and scikit-image."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from skimage.feature import blob_log, canny
from skimage.transform import hough_circle, hough_circle_peaks

from tests.vision.joints.joint_drawings import discs
from vision.joints import gaps, rows, strokes
from vision.joints.rounds import Spot, spots
from vision.joints.rows import Holes


def nearest(found: list[Spot], x: float, y: float) -> Spot:
    return min(found, key=lambda s: math.hypot(s.x - x, s.y - y))


PLACES = [(60.0, 70.0, 6.0), (150.5, 120.0, 11.0), (250.0, 180.5, 17.0)]


def test_discs_are_found_where_they_are() -> None:
    found = spots(discs(PLACES))
    for x, y, r in PLACES:
        s = nearest(found, x, y)
        assert math.hypot(s.x - x, s.y - y) < 0.8
        assert s.radius == pytest.approx(r, rel=0.1)


def test_middle_and_radius_agree_with_hough() -> None:
    """Outside source: skimage.transform.hough_circle on canny edges of the same picture."""
    pixels = discs([(140.0, 100.0, 15.0)])
    edges = canny(pixels[..., 1] / 255.0, sigma=2)
    radii = np.arange(8, 24)
    _, cx, cy, rad = hough_circle_peaks(hough_circle(edges, radii), radii, total_num_peaks=1)
    s = nearest(spots(pixels), 140, 100)
    assert math.hypot(s.x - cx[0], s.y - cy[0]) < 2 and abs(s.radius - rad[0]) < 1.5


def test_small_holes_agree_with_laplacian_blobs() -> None:
    """Outside source: skimage.feature.blob_log (radius of a disc is sqrt(2) sigma)."""
    places = [(40.0 + 50 * k, 60.0, 4.0) for k in range(5)]
    pixels = discs(places)
    blobs = blob_log(1 - pixels[..., 1] / 255.0, min_sigma=1.5, max_sigma=6, threshold=0.2)
    found = spots(pixels)
    assert len(blobs) == 5
    for y, x, sigma in blobs:
        s = nearest(found, x, y)
        assert math.hypot(s.x - x, s.y - y) < 1.5
        assert s.radius == pytest.approx(sigma * math.sqrt(2), rel=0.25)


def holes_at(points: list[tuple[float, float]], radius: float = 3.0) -> Holes:
    return Holes(np.array(points, float), np.full(len(points), radius), np.full(len(points), 0.9))


def test_a_row_with_one_hole_missing_and_strangers_about() -> None:
    line = [(20 + 25.0 * k, 50 + 1.0 * k) for k in range(9) if k != 4]
    found = rows.rows_of(holes_at([*line, (33, 120), (180, 140), (90, 10)]))
    assert len(found) == 1
    assert len(found[0].members) == 8
    assert found[0].pitch == pytest.approx(math.hypot(25, 1), abs=0.05)
    result = rows.row_result(found[0], holes_at([*line, (33, 120), (180, 140), (90, 10)]), 0.9, 32 / 25.02)
    assert result.mm == pytest.approx(32, abs=0.1)


def test_scattered_holes_make_no_row() -> None:
    rng = np.random.default_rng(4)
    assert rows.rows_of(holes_at([(float(x), float(y)) for x, y in rng.uniform(0, 400, (10, 2))])) == []


def test_a_grid_is_one() -> None:
    holes = holes_at([(20 + 22.0 * i, 15 + 22.0 * j) for i in range(7) for j in range(5)])
    grid = rows.grid_of(rows.rows_of(holes), holes)
    assert len(grid) in (5, 7)
    result = rows.grid_result(grid, holes, 0.9, None)
    assert len(result.holes) == 35 and result.pitch == pytest.approx(22, abs=0.1)
    assert result.ratio == pytest.approx(22 / 6, rel=0.02)


def test_two_rows_are_no_grid() -> None:
    holes = holes_at([(20 + 22.0 * i, y) for i in range(7) for y in (20.0, 200.0)])
    assert rows.grid_of(rows.rows_of(holes), holes) == []


def test_a_level_pair_and_its_spacing_in_mm() -> None:
    holes = holes_at([(102.0, 60.0), (198.0, 60.5)])
    pair = rows.pairs_of(holes, (120, 301))[0]
    assert pair.spacing == pytest.approx(96, abs=0.1) and pair.level < 0.5 and pair.off_centre < 0.01
    assert rows.pair_result(pair, holes, 0.8, 1.0).nearest == 96.0
    assert rows.pair_result(pair, holes, 0.8, 0.87).nearest is None  # 83.5 mm fits no pull
    assert rows.pair_result(pair, holes, 0.8, None).mm is None


def test_slanted_or_unlike_holes_are_no_pair() -> None:
    assert rows.pairs_of(holes_at([(100.0, 50.0), (190.0, 75.0)]), (120, 300)) == []
    unlike = Holes(np.array([[100.0, 60.0], [200.0, 60.0]]), np.array([3.0, 6.0]), np.array([0.9, 0.9]))
    assert rows.pairs_of(unlike, (120, 300)) == []


def test_strokes_along_an_edge() -> None:
    pixels = discs([], (160, 320))
    for k in range(6):
        x = 30 + 48 * k
        cv2.line(pixels, (x, 9), (x + 16, 11), (235, 235, 235), 2, cv2.LINE_AA)
    found = strokes.rows_of(strokes.strokes_of(pixels), (160, 320))
    best = max(found, key=lambda r: r.numbers["rank"])
    assert len(best.strokes) == 6
    result = strokes.result(best, 0.9)
    assert result.spacing == pytest.approx(48, abs=1) and result.length == pytest.approx(18.5, abs=3.5)  # cv2 adds round ends


def wedge(wide: float, narrow: float = 0.0) -> np.ndarray:
    """A dark wedge down the middle, from `narrow` at the top to `wide` at the bottom, px."""
    pixels = discs([], (300, 240))
    big = np.zeros((300 * 8, 240 * 8), np.uint8)
    corners = np.array([[120 - narrow / 2, 0], [120 + narrow / 2, 0], [120 + wide / 2, 300], [120 - wide / 2, 300]]) * 8
    cv2.fillPoly(big, [corners.round().astype(np.int32)], 255)
    cover = cv2.resize(big, (240, 300), interpolation=cv2.INTER_AREA)[..., None] / 255.0
    return np.asarray(pixels * (1 - cover) + 18 * cover, np.uint8)


@pytest.mark.parametrize("wide", [4.0, 7.0])
def test_width_of_a_wedge(wide: float) -> None:
    """Closed form: the width grows evenly from nothing."""
    found = gaps.gaps_of(wedge(wide))
    assert found and found[0].wide == pytest.approx(wide, abs=0.8) and found[0].narrow < 1.2
    assert found[0].line[1][1] > found[0].line[0][1]  # opens downwards


def test_a_line_of_one_width_rises_less_surely() -> None:
    even, opening = gaps.gaps_of(wedge(4.0, 4.0)), gaps.gaps_of(wedge(6.0))
    assert even[0].numbers["sure"] < opening[0].numbers["sure"] - 1

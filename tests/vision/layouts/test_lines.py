"""Lines fitted to ideal maps: closed form, and the straight line transform of scikit-image as a second opinion."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.vision.layouts.ideal import blank, map_of
from vision.layouts.directions import line_through
from vision.layouts.learned import CELL
from vision.layouts.lines import Cells, apart, find_lines


def gap(line: object, true: tuple[float, float, float, float]) -> tuple[float, float]:
    """(px, degrees) by which a found line misses a true one."""
    a, b = np.array(true[:2]), np.array(true[2:])
    d = (b - a) / np.hypot(*(b - a))
    middle = (np.array(line.p0) + np.array(line.p1)) / 2 - a  # type: ignore[attr-defined]
    direction = math.degrees(math.atan2(-d[1], d[0]))
    return float(abs(d[0] * middle[1] - d[1] * middle[0])), apart(line.direction, direction)  # type: ignore[attr-defined]


@pytest.mark.parametrize(("width", "height"), [(640, 512), (380, 640), (320, 160), (640, 200)])
def test_slanting_lines_are_found_to_a_fraction_of_a_cell(width: int, height: int) -> None:
    canvas = blank(width, height)
    rng = np.random.default_rng(width)
    for direction in (1.3, 88.9, 37.0, 121.5):
        middle = np.array([width, height]) * rng.uniform(0.4, 0.6, 2)
        t = math.radians(direction)
        ends = line_through(direction, float(middle @ [math.sin(t), math.cos(t)]), width, height)
        assert ends is not None
        true = (*ends[0], *ends[1])
        cells = Cells(*(lambda m: (m[0], canvas, m[1]))(map_of(canvas, [true])))
        found = find_lines(cells)
        assert len(found) == 1
        px, degrees = gap(found[0], true)
        assert px < 0.2 * cells.cell and degrees < 0.4
        assert found[0].strength > 0.7 and found[0].covered > 0.95


def test_parallel_lines_are_all_found_and_only_they() -> None:
    canvas = blank(640, 480)
    rows = [80.0, 190.5, 301.0, 420.0]
    strength, way = map_of(canvas, [(-0.5, y, 639.5, y + 6) for y in rows])
    for cells in (Cells(strength, canvas, way), Cells(strength, canvas)):
        found = find_lines(cells, [0.0, 90.0])
        assert len(found) == len(rows)
        middles = sorted((v.p0[1] + v.p1[1]) / 2 for v in found)
        assert np.allclose(middles, np.array(rows) + 3, atol=1.0)


def test_faint_or_short_marks_are_no_lines() -> None:
    canvas = blank(640, 480)
    strength, way = map_of(canvas, [(100.0, 100.0, 220.0, 100.0)])
    assert find_lines(Cells(strength, canvas, way)) == []
    strength, way = map_of(canvas, [(0.0, 100.0, 639.0, 100.0)])
    assert find_lines(Cells(0.2 * strength, canvas, way)) == []
    noise = np.random.default_rng(0).uniform(0, 0.35, strength.shape).astype(np.float32)
    assert find_lines(Cells(noise, canvas), [0.0, 90.0]) == []


def test_agrees_with_the_line_transform_of_scikit_image() -> None:
    # skimage.transform.hough_line: its normal (cos a, sin a) and distance, on the cells of an unstretched canvas
    from skimage.transform import hough_line, hough_line_peaks

    canvas = blank(640, 512)
    true = [(0.0, 60.0, 639.0, 300.0), (200.0, 0.0, 260.0, 511.0)]
    strength, way = map_of(canvas, true)
    angles = np.radians(np.arange(-90, 90, 0.25))
    space, theta, dist = hough_line(strength > 0.75, angles)
    _, peaks, offsets = hough_line_peaks(space, theta, dist, num_peaks=2, min_distance=9, min_angle=40)
    found = find_lines(Cells(strength, canvas, way))
    assert len(found) == 2
    for angle, offset in zip(peaks, offsets, strict=True):
        normal = np.array([math.cos(angle), math.sin(angle)])

        def off(line: object, n: np.ndarray = normal, o: float = float(offset)) -> float:
            ends = (canvas.to_canvas(np.array([line.p0, line.p1])) + 0.5) / CELL - 0.5  # type: ignore[attr-defined]
            return float(np.abs(ends @ n - o).max())

        assert min(off(v) for v in found) < 1.5  # cells at the far ends

"""A panel's millimetres follow the perspective of the surface that the scale lies on."""

import numpy as np
import pytest

from vision.millimetres import Scale
from vision.panels import rectify
from vision.types import Panel, Photo

PLANE = np.array([[0.5, 0.0, 0.0], [0.0, 0.5, 0.0], [0.0, -8e-4, 1.0]])


def working_mm(y0, scale, mm_per_px=0.5):
    photo = Photo("p1", "a.jpg", "0", np.full((600, 600, 3), 120, np.uint8), mm_per_px=mm_per_px, scale=scale)
    outline = ((100.0, y0), (300.0, y0), (300.0, y0 + 100.0), (100.0, y0 + 100.0))
    view = rectify(photo, Panel("a", "p1", outline))
    return view.mm_per_px / view.px_scale


def test_panels_further_away_have_more_millimetres_to_a_pixel():
    square = ((0.0, 0.0), (60.0, 0.0), (60.0, 60.0), (0.0, 60.0))
    scale = Scale("card", square, "words", PLANE, None, np.zeros((0, 3, 3)))
    for y0 in (20.0, 420.0):
        # closed form: the map is (0.5 x, 0.5 y) / (1 - 8e-4 y), so the areas grow by the third power of the divisor
        expected = 0.5 / (1 - 8e-4 * (y0 + 50.0)) ** 1.5
        assert working_mm(y0, scale) == pytest.approx(expected, rel=0.02)


def test_without_a_plane_there_the_object_counts():
    line = Scale("points", ((10.0, 10.0), (90.0, 10.0)), "words", None, np.array([[40.0, 0.0], [0.0, 1.0]]), np.zeros((0, 2, 2)))
    assert working_mm(420.0, line) == pytest.approx(0.5, rel=1e-6)
    assert working_mm(420.0, None) == pytest.approx(0.5, rel=1e-6)

"""Grain strokes point along the field, stay on the panel, and are missing where the field is not to be trusted."""

import cv2
import numpy as np
import pytest

from tests.vision.evidence.drawn_scene import plain_field
from vision.evidence.grain_strokes import grain_strokes
from vision.grain import grain_field
from vision.types import GrainField


def angle_of(stroke):
    """Degrees 0..180, counter-clockwise on screen."""
    dx, dy = stroke[-1] - stroke[0]
    return np.degrees(np.arctan2(-dy, dx)) % 180


def off(a, b):
    return abs((a - b + 90) % 180 - 90)


INSIDE = np.zeros((160, 240), bool)
INSIDE[15:140, 20:220] = True


@pytest.mark.parametrize("angle", [0, 20, 45, 90, 135, 179])
def test_strokes_follow_the_angle(angle):
    strokes = grain_strokes(plain_field(angle), np.eye(3), INSIDE, spacing=30, length=20)
    assert len(strokes) >= 10
    for s in strokes:
        assert off(angle_of(s), angle) < 1e-3 and np.linalg.norm(s[-1] - s[0]) == pytest.approx(20, abs=1e-6)


def test_strokes_stay_on_the_panel():
    mask = np.zeros((160, 240), np.uint8)
    cv2.circle(mask, (120, 80), 60, 1, -1)
    strokes = grain_strokes(plain_field(30), np.eye(3), mask > 0, spacing=20, length=24)
    assert len(strokes) > 5
    for s in strokes:
        for t in np.linspace(0, 1, 30):
            x, y = s[0] + t * (s[-1] - s[0])
            assert np.hypot(x - 120, y - 80) <= 61


def test_a_turned_and_shrunk_view_turns_the_strokes():
    turn = np.radians(-25)  # 25 degrees counter-clockwise on screen
    c, s = 0.5 * np.cos(turn), 0.5 * np.sin(turn)
    to_picture = np.array([[c, -s, 40], [s, c, 70], [0, 0, 1]])
    strokes = grain_strokes(plain_field(10), to_picture, np.ones((200, 220), bool), spacing=15, length=9)
    assert len(strokes) > 5
    assert all(off(angle_of(stroke), 35) < 1e-3 for stroke in strokes)


def test_perspective_bends_directions_towards_the_vanishing_point():
    corners = np.float32([[0, 0], [240, 0], [240, 160], [0, 160]])
    matrix = cv2.getPerspectiveTransform(corners, np.float32([[60, 0], [180, 0], [240, 160], [0, 160]])).astype(float)
    strokes = grain_strokes(plain_field(90), matrix, np.ones((161, 241), bool), spacing=24, length=14)
    for s in strokes:  # upright lines of the board meet at (120, -160) in the picture
        middle = s.mean(axis=0)
        expected = np.degrees(np.arctan2(middle[1] + 160, 120 - middle[0])) % 180
        assert off(angle_of(s), expected) < 1.5


def test_strokes_bend_with_rings():
    y, x = np.mgrid[0:240, 0:240].astype(float)
    picture = (128 + 60 * np.sin(np.hypot(x - 120, y + 40) / 1.4)).round().astype(np.uint8)
    strokes = grain_strokes(grain_field(picture), np.eye(3), np.pad(np.ones((200, 200), bool), 20), spacing=30, length=24)
    assert len(strokes) > 15
    errors = [off(angle_of(s), np.degrees(np.arctan2(-(s.mean(axis=0)[1] + 40), s.mean(axis=0)[0] - 120)) + 90) for s in strokes]
    assert np.median(errors) < 2


def test_no_strokes_where_direction_is_unknown():
    weak = plain_field(30, coherence=0.1)
    assert grain_strokes(weak, np.eye(3), INSIDE, spacing=30, length=20) == []
    f = plain_field(30)
    blind = GrainField(f.angle, f.coherence, f.energy, f.wavelength, np.zeros_like(f.valid), f.step)
    assert grain_strokes(blind, np.eye(3), INSIDE, spacing=30, length=20) == []
    holes = GrainField(f.angle * np.nan, f.coherence * np.nan, f.energy, f.wavelength, f.valid, f.step)
    assert grain_strokes(holes, np.eye(3), INSIDE, spacing=30, length=20) == []
    assert grain_strokes(f, np.eye(3), np.zeros((50, 50), bool), spacing=30, length=20) == []

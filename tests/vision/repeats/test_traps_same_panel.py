"""One panel on two photos, near and far, upright and turned: one surface, or not to be told, never a repeat."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from training.trap_scenes import alarms, board_face, noisy, sheet
from vision.panels import panels_from_outlines, rectify
from vision.repeats.sheet import Sheet, sheet_of
from vision.types import Photo

PANEL = board_face("white_oak_like", "flat", 160, 640, 320)


def _photographed(name: str, corners: list[tuple[float, float]], seed: int) -> Sheet:
    """The panel seen in perspective before a grey wall, outlined by hand (2 px off) and rectified as the program does."""
    h, w = PANEL.shape[:2]
    quad = np.array(corners, np.float32)
    lay = cv2.getPerspectiveTransform(np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32), quad)
    scene = np.full((700, 900, 3), 150, np.uint8)
    cv2.warpPerspective(PANEL, lay, (900, 700), dst=scene, borderMode=cv2.BORDER_TRANSPARENT)
    off = np.random.default_rng(seed).normal(0, 2, (4, 2))
    photo = Photo(name, name, "0" * 64, noisy(scene, seed))
    outline = [(float(x), float(y)) for x, y in np.clip(quad + off, 0, [899, 699])]
    panel = panels_from_outlines(photo, [("panel", outline)])[0]
    return sheet_of(rectify(photo, panel), (photo.width, photo.height))


FRONTAL = [(120, 150), (760, 160), (755, 480), (125, 470)]
VIEWS = {
    "tilted": [(150, 120), (720, 200), (715, 470), (140, 520)],
    "farther": [(300, 250), (640, 255), (635, 430), (300, 425)],
    "upside down": [(755, 480), (125, 470), (120, 150), (760, 160)],
}


@pytest.mark.parametrize("view", VIEWS)
def test_panel_on_two_photos_is_no_repeat(view):
    assert alarms([_photographed("one.jpg", FRONTAL, 1), _photographed("two.jpg", VIEWS[view], 2)]) == []


def test_close_view_of_a_part_is_no_repeat():
    close = noisy(np.ascontiguousarray(PANEL[40:280, 150:560]), 4)
    assert alarms([_photographed("one.jpg", FRONTAL, 1), sheet(close, "two.jpg", "panel", frame=(410, 240))]) == []

"""An edge laid out: borders found to a fraction of a pixel, the face's side up."""

from __future__ import annotations

import numpy as np
import pytest

from tests.vision.edges.edge_photos_made import distance, photo_of
from tests.vision.edges.edge_strips_made import fibre
from vision.edges.frame import block_profiles, lay_out


@pytest.mark.parametrize("angle", [0.0, 3.7, -11.0, 86.0])
def test_borders_are_found_though_the_outline_errs(angle):
    pixels, outline, face = photo_of(fibre(thickness=60, length=600), angle=angle, size=(900, 900), middle=(450.3, 449.6))
    rng = np.random.default_rng(3)
    frame = lay_out(pixels, outline + rng.normal(0, 2.0, outline.shape), face_at=face)
    truth = (outline[0], outline[1]), (outline[3], outline[2])
    for border, line in zip((frame.upper, frame.lower), truth, strict=True):
        assert max(distance(p, line) for p in border.points) < 1.2
        assert border.sure > 2
    assert abs(frame.thickness_px - 60) < 1.5


def test_the_face_lies_above_whichever_way_the_photo_is_turned():
    for angle in (0.0, 90.0, 180.0, 250.0):
        strip = fibre(thickness=50, length=400)
        pixels, outline, face = photo_of(strip, angle=angle, size=(800, 800), middle=(400.0, 400.0), floor=40)
        frame = lay_out(pixels, outline, face_at=face)
        assert frame.rgb[frame.top - 12].mean() > 150 > 80 > frame.rgb[frame.top + frame.rows + 10].mean()


def test_points_go_back_to_the_photo():
    pixels, outline, face = photo_of(fibre(thickness=60, length=600))
    frame = lay_out(pixels, outline, face_at=face, refine=False)
    n = frame.rgb.shape[1]
    high, low = frame.top - 0.5, frame.top + frame.rows - 0.5
    corners = frame.photo_points(np.array([[-0.5, high], [n - 0.5, high], [n - 0.5, low], [-0.5, low]]))
    assert max(distance(p, outline[:2]) for p in corners[:2]) < 0.6 and max(distance(p, outline[2:]) for p in corners[2:]) < 0.6
    assert np.abs(corners - outline).max() < 8  # the very ends are left out


def test_too_thin_or_too_short_is_refused():
    pixels = np.zeros((200, 300, 3), np.uint8)
    assert lay_out(pixels, [(10, 10), (200, 10), (200, 13), (10, 13)]) is None
    assert lay_out(pixels, [(10, 10), (30, 10), (30, 20), (10, 20)]) is None
    assert lay_out(pixels, [(10, 10), (30, 10)]) is None


def test_block_profiles_are_plain_means():
    plane = np.random.default_rng(1).normal(size=(7, 48)).astype(np.float32)
    assert np.allclose(block_profiles(plane, 24), plane.reshape(7, 24, 2).mean(axis=2), atol=1e-6)

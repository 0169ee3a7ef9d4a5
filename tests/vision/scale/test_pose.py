"""Pose of a flat object against a closed-form camera and OpenCV."""

import cv2
import numpy as np
import pytest

from vision.millimetres import mapped
from vision.scale.card import CARD_CORNERS
from vision.scale.objects import CARD_MM
from vision.scale.pose import RATIO, fit_poses

SIZE = (4000, 3000)


def seen_from(tilt, about, focal=3100.0, distance=420.0):
    """(corners on the photo, 3x3 mm to photo) of a card before a pinhole camera."""
    turn, _ = cv2.Rodrigues(np.deg2rad(tilt) * np.array([np.cos(about), np.sin(about), 0.0]))
    turn = turn @ cv2.Rodrigues(np.array([0, 0, 0.4]))[0]
    camera = np.array([[focal, 0, 1999.5], [0, focal, 1499.5], [0, 0, 1.0]])
    to_photo = camera @ np.c_[turn[:, 0], turn[:, 1], [20.0, -15.0, distance]]
    return mapped(to_photo, CARD_CORNERS), to_photo


@pytest.mark.parametrize("tilt", [0.0, 10.0, 25.0, 40.0, 55.0])
@pytest.mark.parametrize("about", [0.3, 2.0])
def test_exact_corners_give_the_exact_plane(tilt, about):
    corners, to_photo = seen_from(tilt, about)
    pose = fit_poses(CARD_CORNERS, corners, 0.01 * np.eye(8), SIZE, focal_px=3100.0)[0]
    far = np.array([[-200.0, 60.0], [150.0, 150.0], [0.0, -120.0]])
    back = mapped(pose.plane, mapped(to_photo, far))
    expected = np.linalg.norm(far - far[[1, 2, 0]], axis=1)
    assert np.linalg.norm(back - back[[1, 2, 0]], axis=1) == pytest.approx(expected, rel=2e-3)
    assert pose.tilt == pytest.approx(tilt, abs=1.5) and pose.distance == pytest.approx(420.8, rel=0.01)


def test_the_plane_agrees_with_opencv_homography():
    """With four corners trusted fully the plane is the homography through them (cv2.getPerspectiveTransform)."""
    corners, _ = seen_from(35, 1.0)
    pose = fit_poses(CARD_CORNERS, corners, 1e-4 * np.eye(8), SIZE, focal_px=3100.0)[0]
    direct = cv2.getPerspectiveTransform(corners.astype(np.float32), CARD_CORNERS.astype(np.float32))
    assert mapped(pose.plane, corners) == pytest.approx(mapped(direct, corners), abs=0.05)


def test_another_rectangle_is_told_by_its_ratio():
    corners, to_photo = seen_from(0.0, 0.0)
    stretched = mapped(to_photo, CARD_CORNERS * [1.03, 1.0])
    free = fit_poses(CARD_CORNERS, stretched, 0.04 * np.eye(8), SIZE, ratio_spread=0.5)[0]
    assert free.values[RATIO] == pytest.approx(np.log(1.03), abs=0.004)
    assert np.sqrt(free.covariance[RATIO, RATIO]) < 0.01
    held = fit_poses(CARD_CORNERS, stretched, 0.04 * np.eye(8), SIZE)[0]
    true = fit_poses(CARD_CORNERS, corners, 0.04 * np.eye(8), SIZE)[0]
    assert held.misfit > 30 > 1 > true.misfit


def test_covariance_is_the_spread_of_repeated_fits():
    """Against 150 fits to corners with drawn noise; a square-on length and a length off the card."""
    rng = np.random.default_rng(5)
    corners, to_photo = seen_from(30, 0.7)
    ends = np.array([[60.0, 0.0], [140.0, 40.0]])
    at = mapped(to_photo, ends)

    def length(plane):
        return float(np.linalg.norm(np.diff(mapped(plane, at), axis=0)))

    lengths, spreads = [], []
    for _ in range(150):
        noisy = corners + rng.normal(0, 0.5, (4, 2))
        pose = fit_poses(CARD_CORNERS, noisy, 0.25 * np.eye(8), SIZE, focal_px=3100.0)[0]
        lengths.append(length(pose.plane))
        spreads.append(np.linalg.norm([length(m) - lengths[-1] for m in pose.moves()]))
    # the prior on focal length and middle does not vary between these fits, so the stated spread is the larger one
    assert 0.8 * np.std(lengths) < np.median(spreads) < 3.5 * np.std(lengths)


def test_size_of_the_card():
    """ISO/IEC 7810:2019, ID-1: nominal size and corner radius."""
    assert CARD_MM == (85.60, 53.98) and CARD_MM[0] / CARD_MM[1] == pytest.approx(1.5858, abs=1e-4)

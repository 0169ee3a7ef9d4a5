"""One surface seen twice is told from a figure that lies twice, by place and by borders; what cannot be told counts as one."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from training.trap_scenes import board_face
from vision.repeats.same_surface import (
    REASONS,
    SameSurface,
    _facing,
    _out_of_shape,
    _overlap,
    _reach,
    _share_kept,
    more_than_itself,
    outlines_share,
    same_surface,
)
from vision.repeats.sheet import Sheet

W, H = 400, 200
FRAME = (2000, 1500)
WHOLE = np.array([[0, 0], [W - 1, 0], [W - 1, H - 1], [0, H - 1]], dtype=np.float64)
FACE = board_face("white_oak_like", "flat", 3, 700, 300)


def _sheet(photo: str, panel: str, at: tuple[float, float], pixels: np.ndarray | None = None,
           frame: tuple[int, int] | None = FRAME) -> Sheet:
    pixels = FACE[:H, :W] if pixels is None else pixels
    move = np.array([[1, 0, at[0]], [0, 1, at[1]], [0, 0, 1.0]])
    return Sheet(photo, panel, np.ascontiguousarray(pixels), np.ones(pixels.shape[:2], np.bool_), move, frame)


def _shift(x: float, y: float) -> np.ndarray:
    return np.array([[1, 0, x], [0, 1, y], [0, 0, 1.0]])


def _region(move: np.ndarray) -> np.ndarray:
    """Corners on sheet a of what lands inside sheet b."""
    dx, dy = move[0, 2], move[1, 2]
    x0, x1, y0, y1 = max(0, -dx), min(W, W - dx), max(0, -dy), min(H, H - dy)
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def test_outlines_that_overlap_on_one_photo_are_one_place():
    whole = _sheet("p", "whole", (100, 100))
    part = _sheet("p", "part", (180, 130), FACE[30:160, 80:330])
    move = _shift(-80, -30)
    told = same_surface(whole, part, move, np.array([[90, 40], [320, 40], [320, 150], [90, 150.0]]))
    assert (told.same, told.told, told.reason) == (True, True, "same_place")


def test_figure_moved_between_overlapping_outlines_is_a_repeat():
    told = same_surface(_sheet("p", "a", (100, 100)), _sheet("p", "b", (180, 130)), _shift(0, 0), WHOLE)
    assert (told.same, told.reason) == (False, "apart")


def test_two_fronts_of_one_photo_are_apart_even_if_cut_alike():
    told = same_surface(_sheet("p", "upper", (100, 100)), _sheet("p", "lower", (100, 340)), _shift(0, 0), WHOLE)
    assert (told.same, told.told, told.reason) == (False, True, "apart")


@pytest.mark.parametrize("slip", [0.0, 10.0, -12.0])
def test_same_borders_on_two_photos_are_one_surface(slip):
    move = _shift(slip, slip / 3)
    told = same_surface(_sheet("p", "a", (100, 100)), _sheet("q", "a", (300, 200)), move, _region(move))
    assert told.same
    assert told.reason == "same_borders"


@pytest.mark.parametrize("move", [(90, 0), (-90, 0), (0, 60), (0, -60), (80, 40)])
def test_figure_moved_against_both_borders_is_a_repeat(move):
    told = same_surface(_sheet("p", "a", (100, 100)), _sheet("q", "b", (300, 200)), _shift(*move), _region(_shift(*move)))
    assert (told.same, told.told, told.reason) == (False, True, "borders_moved")
    assert told.score < 0.5


def test_half_turned_front_at_another_place_is_a_repeat_and_at_the_same_place_not():
    turned = np.array([[-1, 0, W - 1], [0, -1, H - 1], [0, 0, 1.0]])
    a, b = _sheet("p", "a", (100, 100)), _sheet("q", "b", (300, 200))
    assert same_surface(a, b, turned, WHOLE).same
    moved = _shift(100, 0) @ turned
    assert same_surface(a, b, moved, WHOLE).reason == "borders_moved"


def test_close_view_that_ends_inside_the_surface_cannot_be_told():
    close = _sheet("q", "close", (0, 0), FACE[20:180, 60:340], frame=(280, 160))
    move = _shift(-60, -20)
    told = same_surface(_sheet("p", "a", (100, 100)), close, move, np.array([[60, 20], [340, 20], [340, 180], [60, 180.0]]))
    assert (told.same, told.told) == (True, False)
    assert told.reason == "no_borders"


def test_smaller_outline_within_the_other_cannot_be_told():
    part = _sheet("q", "part", (300, 200), FACE[40:170, 60:300])
    move = _shift(-60, -40)
    told = same_surface(_sheet("p", "a", (100, 100)), part, move, np.array([[60, 40], [300, 40], [300, 170], [60, 170.0]]))
    assert (told.same, told.told, told.reason) == (True, False, "part_of")


@pytest.mark.parametrize("strength", [0.1, 0.25, 0.4])
def test_faint_mirror_image_below_is_a_reflection(strength):
    upright = FACE[:H, :W]
    own = board_face("walnut_like", "quarter", 8, W, H).astype(np.float64)
    image = np.clip((1 - strength) * own + strength * upright[::-1], 0, 255).astype(np.uint8)
    mirror = np.array([[1, 0, 0], [0, -1, H - 1], [0, 0, 1.0]])
    told = same_surface(_sheet("p", "upright", (100, 100)), _sheet("p", "top", (100, 100 + H), image), mirror, WHOLE)
    assert (told.same, told.reason) == (True, "reflection")
    back = same_surface(_sheet("p", "top", (100, 100 + H), image), _sheet("p", "upright", (100, 100)), mirror, WHOLE)
    assert back.reason == "reflection"


def test_book_matched_doors_side_by_side_are_no_reflection():
    mirror = np.array([[-1, 0, W - 1], [0, 1, 0], [0, 0, 1.0]])
    leaf = np.clip(0.92 * FACE[:H, :W][:, ::-1] + np.random.default_rng(0).normal(0, 4, (H, W, 3)), 0, 255).astype(np.uint8)
    told = same_surface(_sheet("p", "left", (100, 100)), _sheet("p", "right", (100 + W, 100), leaf), mirror, WHOLE)
    assert not told.same


@pytest.mark.parametrize(("far", "reach"), [(0.7, 0.9), (0.85, 0.6), (0.95, 0.75)])
def test_strong_mirror_image_in_a_plane_at_an_angle_is_a_reflection(far, reach):
    """Full contrast, as silvered glass gives back: only the shape tells it from a leaf opened like a book."""
    low = 0.5 * (1 - far) * H
    corners = np.array([[0, 0], [reach * W, low], [reach * W, H - low], [0, H]], np.float32)
    into = cv2.getPerspectiveTransform(np.array([[W, 0], [0, 0], [0, H], [W, H]], np.float32), corners)
    image = cv2.warpPerspective(np.ascontiguousarray(FACE[:H, :W]), into, (W, H))
    told = same_surface(_sheet("p", "front", (100, 100)), _sheet("p", "door", (100 + W, 100), image), into, WHOLE)
    assert (told.same, told.reason) == (True, "reflection")


def test_shape_of_a_homography_against_skimage():
    """Log ratio and scale range as finite differences of skimage.transform.ProjectiveTransform give them."""
    from skimage.transform import ProjectiveTransform

    m = np.array([[0.8, 0.1, 5], [-0.05, 1.1, 3], [2e-4, -1e-4, 1.0]])
    points = np.array([[20.0, 30], [200, 40], [180, 150], [40, 160], [100, 100]])
    move, step = ProjectiveTransform(m), 1e-3
    singular = []
    for p in points:
        q = move(p + np.array([[0, 0], [step, 0], [0, step]]))
        singular.append(np.linalg.svd(((q[1:] - q[0]) / step).T, compute_uv=False))
    singular = np.array(singular)
    want = np.median(np.log(singular[:, 0] / singular[:, 1])), np.ptp(0.5 * np.log(singular.prod(axis=1)))
    assert _out_of_shape(m, points) == pytest.approx(want, abs=1e-4)


def test_overlap_against_shapely():
    """Intersection over union as shapely computes it."""
    from shapely.geometry import Polygon

    rng = np.random.default_rng(2)
    for _ in range(5):
        p = WHOLE + rng.normal(0, 20, (4, 2))
        q = WHOLE + rng.normal(0, 20, (4, 2)) + [60, 20]
        one, two = Polygon(p), Polygon(q)
        want = one.intersection(two).area / one.union(two).area
        assert _overlap(p, q) == pytest.approx(want, abs=1e-3)


def test_sides_face_outwards_and_reach_grows_with_distance():
    box = (0.0, 0.0, 100.0, 50.0)
    side, outside, depth = _facing(np.array([0.0, -5.0]), np.array([100.0, -5.0]), np.array([50.0, 20.0]), box)
    assert (side, outside, depth) == (0, 5.0, 50.0)
    side, outside, _ = _facing(np.array([90.0, 0.0]), np.array([90.0, 50.0]), np.array([40.0, 25.0]), box)
    assert (side, outside) == (1, -10.0)
    region = np.array([[10, 10], [30, 10], [30, 30], [10, 30.0]])
    assert _reach(region, box, 3) == pytest.approx(2.0)
    assert _reach(region, box, 1) == pytest.approx(8.0)


def test_likeness_to_itself_is_told_from_a_second_showing():
    copy = {"crossing": 0.8, "lead": 0.6, "residual_mid": 0.9, "votes": 40.0}
    slid = {"crossing": 0.3, "lead": 0.2, "residual_mid": 0.85, "votes": 40.0}
    assert more_than_itself("shift", copy)
    assert more_than_itself("mirror", copy)
    assert not more_than_itself("shift", slid)
    assert not more_than_itself("mirror", copy | {"crossing": 0.6})
    assert not more_than_itself("half_turn", copy | {"votes": 6.0})
    assert not more_than_itself("shift", copy | {"residual_mid": 0.1})


def test_share_of_outlines():
    whole, part = _sheet("p", "a", (100, 100)), _sheet("p", "b", (150, 120), FACE[:100, :200])
    assert outlines_share(whole, part) == pytest.approx(1.0, abs=0.02)
    assert outlines_share(whole, _sheet("p", "c", (100 + W // 2, 100))) == pytest.approx(0.5, abs=0.02)
    assert outlines_share(whole, _sheet("q", "b", (150, 120))) == 0.0


def test_answers_are_checked():
    with pytest.raises(ValueError, match="unknown reason"):
        SameSurface(True, True, 1.0, "whim")
    with pytest.raises(ValueError, match="cannot be told"):
        SameSurface(False, False, 0.5, "part_of")
    assert all(REASONS.values())


def test_contrast_kept_is_not_spoilt_by_a_partner_that_ends_inside_the_region():
    # closed form: the partner is the same figure, so the slope of either on the other is 1
    rng = np.random.default_rng(3)
    figure = cv2.GaussianBlur(rng.normal(0, 1, (200, 300)), (0, 0), 2.0)
    pixels = np.repeat(np.clip(150 + 60 * figure / figure.std() / 3, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
    half = np.ascontiguousarray(pixels[:, 150:])
    a = Sheet("p", "a", pixels, np.ones((200, 300), bool), np.eye(3))
    b = Sheet("p", "b", half, np.ones((200, 150), bool), np.array([[1, 0, 400.0], [0, 1, 0], [0, 0, 1]]))
    shift = np.array([[1, 0, -150.0], [0, 1, 0], [0, 0, 1]])
    kept = _share_kept(a, b, shift, np.array([[100.0, 10.0], [290.0, 190.0]]))
    assert min(kept) > 0.9

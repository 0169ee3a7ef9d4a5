"""Seams, strips and knots on pictures of known structure, and on pictures made to mislead."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from tests.vision.grain.scenes import boards, carpet, grating, grid, long_grain, profile, round_knot, straight, to_u8, view_of
from vision.grain import GrainStructure, grain_field, located
from vision.grain.metric import angle_difference


def found(image: np.ndarray) -> GrainStructure:
    view = view_of(image)
    return located(view, grain_field(view.pixels, mask=view.mask))


def seam_at(x: float, left: float, right: float, height: int = 360, width: int = 480) -> np.ndarray:
    columns = np.arange(width)[None]
    return np.where(columns < x, straight(left, 1, height, width), straight(right, 2, height, width))


@pytest.mark.parametrize(("left", "right"), [(20.0, -20.0), (45.0, -45.0), (10.0, 70.0), (12.0, -12.0)])
def test_seam_is_found_where_it_is(left: float, right: float) -> None:
    seams = found(seam_at(240, left, right)).seams
    assert len(seams) == 1
    s = seams[0]
    assert all(abs(p[0] - 240) < 8 for p in (s.p0, s.p1)) and s.length > 0.6 * 360
    # walking from p0 to p1, the left hand is west when going up and east when going down
    west, east = (s.angle_before, s.angle_after) if s.p1[1] < s.p0[1] else (s.angle_after, s.angle_before)
    assert angle_difference(west, left) == pytest.approx(0, abs=2)
    assert angle_difference(east, right) == pytest.approx(0, abs=2)
    assert s.turn == pytest.approx(abs(angle_difference(left, right)), abs=3)


def test_mitre_is_found_on_the_slant() -> None:
    x, y = grid(400, 400)
    image = np.where(x - 399 > y, straight(0, 3, 400, 400), straight(90, 4, 400, 400))
    s = found(image).seams[0]
    assert s.strength > 0.7 and s.turn > 80
    for px, py in (s.p0, s.p1):
        assert abs(px + py - 399) / math.sqrt(2) < 10 or abs(px - py) / math.sqrt(2) < 10


def misleading() -> dict[str, np.ndarray]:
    x, y = grid(360, 480)
    rng = np.random.default_rng(5)
    handle = straight(0, 6, 360, 480)
    cv2.ellipse(handle, (240, 180), (70, 14), 0, 0, 360, 60, -1)
    cv2.ellipse(handle, (240, 176), (66, 5), 0, 0, 360, 215, -1)
    keyhole = straight(90, 7, 360, 480)
    cv2.circle(keyhole, (200, 150), 10, 30, -1)
    cv2.rectangle(keyhole, (196, 150), (204, 180), 30, -1)
    return {
        "grating": grating(9, 30, 400),
        "noise": rng.normal(128, 20, (360, 480)),
        "carpet": carpet(2),
        "wavy grain": 128 + profile(y + 20 * np.sin(x / 60), 3),
        "rings": 128 + profile(np.hypot(x + 300, y - 200), 4),
        "handle": handle,
        "keyhole": keyhole,
        "streaks": long_grain(8, 9, (1.5, 4.0), 400),
    }


@pytest.mark.parametrize("name", sorted(misleading()))
def test_misleading_pictures_have_no_seam(name: str) -> None:
    assert found(misleading()[name]).seams == ()


@pytest.mark.parametrize("name", sorted(misleading()))
def test_misleading_pictures_have_no_knot(name: str) -> None:
    assert found(misleading()[name]).knots == ()


@pytest.mark.parametrize("name", ["noise", "carpet", "wavy grain", "rings", "streaks"])
def test_misleading_pictures_have_no_strips(name: str) -> None:
    assert found(misleading()[name]).strips == ()


@pytest.mark.parametrize("angle", [0.0, 30.0, 90.0, 160.0])
@pytest.mark.parametrize("radius", [9.0, 14.0, 25.0])
def test_knot_with_flow_round_it(angle: float, radius: float) -> None:
    knots = found(round_knot(240, 160, radius, 1, angle=angle)).knots
    assert len(knots) == 1
    assert math.hypot(knots[0].x - 240, knots[0].y - 160) < 0.5 * radius
    assert knots[0].radius == pytest.approx(radius, rel=0.5) and knots[0].score > 0.5


@pytest.mark.parametrize("angle", [0.0, 30.0, 90.0])
@pytest.mark.parametrize("radius", [6.0, 9.0, 14.0, 25.0])
def test_hole_in_straight_grain_is_no_knot(angle: float, radius: float) -> None:
    assert found(round_knot(240, 160, radius, 1, angle=angle, deflect=False)).knots == ()


def test_knot_survives_jpeg_and_noise() -> None:
    image = round_knot(240, 160, 16, 3) + np.random.default_rng(1).normal(0, 8, (320, 480))
    coded = cv2.imdecode(cv2.imencode(".jpg", to_u8(image), [cv2.IMWRITE_JPEG_QUALITY, 50])[1], cv2.IMREAD_GRAYSCALE)
    knots = found(coded).knots
    assert len(knots) == 1 and math.hypot(knots[0].x - 240, knots[0].y - 160) < 8


EDGES = [0, 90, 150, 260, 340, 400]
TONES = [0.0, 16.0, -8.0, 14.0, -14.0]


def test_boards_of_different_tone() -> None:
    hits, wrong = 0, 0
    for seed in (0, 10, 20):
        strips = found(boards(EDGES, TONES, [1, -2, 1, -1, 2], seed)).strips
        cuts = np.array([min(p[1] for p in s.outline) for s in strips[1:]])
        hits += sum(bool(cuts.size) and np.abs(cuts - e).min() < 5 for e in EDGES[1:-1])
        wrong += sum(min(abs(c - e) for e in EDGES) > 10 for c in cuts)
    assert hits >= 9 and wrong <= 1


def test_boards_laid_upright() -> None:
    image = boards(EDGES, TONES, [1, -2, 1, -1, 2], 10)
    flat, upright = found(image).layup, found(np.ascontiguousarray(image.T)).layup
    assert abs(angle_difference(upright.direction, 90 - flat.direction)) < 1
    assert sorted(round(s.width, -1) for s in upright.strips) == sorted(round(s.width, -1) for s in flat.strips)


def test_regular_and_random_widths() -> None:
    regular = found(boards([0, 80, 160, 240, 320, 400], TONES, [1, -1, 1, -1, 1], 10)).layup
    random = found(boards([0, 40, 190, 250, 360, 400], TONES, [1, -1, 1, -1, 1], 10)).layup
    assert len(regular.strips) >= 4 and len(random.strips) >= 4
    assert regular.spread < 0.15 < random.spread


def test_single_boards_have_few_joints() -> None:
    joints = [len(found(boards([0, 400], [0.0], [1.0], seed)).strips) for seed in range(4)]
    assert sum(j > 0 for j in joints) <= 1

"""Evidence of a net laid on the photo: it adds up, a corner is found where it is, and what is spread makes no spot."""

import cv2
import numpy as np
import pytest

from tests.vision.net_scene import CORNER, NAMES, RedNet, answer_with, photo_with, view_of
from vision.net_answer import NetAnswer
from vision.net_regions import CELLS, evidence_map, net_regions

SIZE = (900, 700)


def in_shares(points, quad):
    """Points of the photo in shares of the panel's width and height."""
    frame = cv2.getPerspectiveTransform(np.array(quad, np.float32), np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32))
    return cv2.perspectiveTransform(np.array([points], np.float32), frame)[0]


@pytest.fixture(scope="module")
def corner():
    photo, panel = photo_with([CORNER])
    view = view_of(photo, panel)
    return photo, panel, view, RedNet().answer(photo, view)


def test_evidence_adds_up_to_the_log_odds_but_for_the_bias(corner):
    answer = corner[3]
    assert answer.leading() == ("veneer", "solid_wood")
    pair = ("veneer", "solid_wood")
    assert answer.evidence(pair).sum() == pytest.approx(answer.log_odds(pair) + 0.3, abs=1e-4)
    assert np.allclose(answer.evidence(pair[::-1]), -answer.evidence(pair))


@pytest.mark.parametrize("cells", [4, 7, 14])
def test_laying_it_on_the_photo_loses_nothing(corner, cells):
    maps = np.random.default_rng(1).normal(0.2, 1, (3, cells, cells)).astype(np.float32)
    answer = answer_with(maps)
    found = evidence_map(answer, corner[2], SIZE, ("veneer", "solid_wood"))
    each = maps / cells**2
    assert found.net.sum() == pytest.approx(each.sum(), abs=1e-6)
    assert found.towards.sum() == pytest.approx(np.maximum(each, 0).sum(), abs=1e-6)
    assert found.even.sum() == pytest.approx(found.towards.sum(), abs=1e-6)
    assert found.panel.sum() * found.step**2 == pytest.approx(cv2.contourArea(np.array(corner[1].outline, np.float32)), rel=0.06)
    assert max(corner[2].native.shape[:2]) / found.step == pytest.approx(CELLS)


def test_a_corner_is_found_where_it_is(corner):
    _, panel, view, answer = corner
    found = net_regions(answer, view, SIZE)
    assert found.pair == ("veneer", "solid_wood") and len(found.spots) == 1 and found.beside < 0.1
    spot = found.spots[0]
    shares = in_shares(spot.outline, panel.outline)
    middle = shares.mean(axis=0)
    assert CORNER[0] <= middle[0] <= CORNER[2] and CORNER[1] <= middle[1] <= CORNER[3]
    assert shares[:, 0].max() < CORNER[2] + 0.12 and shares[:, 1].max() < CORNER[3] + 0.12
    assert spot.inside > 0.95 and 0.5 < spot.share <= 1 and spot.nats == pytest.approx(spot.share * found.nats, rel=0.01)


def test_two_corners_are_two_spots_and_four_places_at_most_three():
    photo, panel = photo_with([CORNER, (0.75, 0.7, 0.98, 0.98)])
    view = view_of(photo, panel)
    spots = net_regions(RedNet().answer(photo, view), view, SIZE).spots
    assert len(spots) == 2 and sum(s.share for s in spots) < 1.001
    ends = sorted(float(in_shares(s.outline, panel.outline).mean()) for s in spots)
    assert ends[0] < 0.35 and ends[1] > 0.7
    photo, panel = photo_with([(0, 0, 0.15, 0.2), (0.8, 0, 1, 0.2), (0, 0.8, 0.15, 1), (0.8, 0.8, 1, 1)])
    assert len(net_regions(RedNet().answer(photo, view), view, SIZE).spots) <= 3


def test_what_is_spread_makes_no_spot(corner):
    view = corner[2]
    assert net_regions(answer_with(np.full((3, 7, 7), 2.0, np.float32)), view, SIZE).spots == ()
    only_tile = np.zeros((3, 7, 7), np.float32)
    only_tile[2] = 5.0  # all of it in the tile at full resolution, but nowhere more than elsewhere in the tile
    assert net_regions(answer_with(only_tile), view, SIZE).spots == ()
    assert net_regions(answer_with(np.full((3, 7, 7), -2.0, np.float32)), view, SIZE).pair == ("solid_wood", "veneer")
    nothing = net_regions(answer_with(np.zeros((3, 7, 7), np.float32)), view, SIZE)
    assert nothing.spots == () and nothing.nats == 0 and nothing.beside == 0


def test_noise_seldom_looks_like_a_spot(corner):
    """Maps of one mean with smooth noise twice as large: 100 draws."""
    rng = np.random.default_rng(7)
    spots = 0
    for _ in range(100):
        noise = np.stack([cv2.GaussianBlur(rng.normal(0, 1, (7, 7)), (0, 0), 0.7) for _ in NAMES])
        answer = answer_with((1.0 + 2 * noise / noise.std()).astype(np.float32))
        spots += bool(net_regions(answer, corner[2], SIZE).spots)
    assert spots <= 5


def test_what_lies_beside_the_panel_is_said_to(corner):
    maps = np.zeros((3, 7, 7), np.float32)
    maps[0, 0, :] = 3.0  # the top row of the surroundings: above the panel
    found = net_regions(answer_with(maps), corner[2], SIZE)
    assert found.beside > 0.9 and all(s.inside < 0.3 for s in found.spots)


@pytest.mark.parametrize("quad", [
    ((2.0, 2.0), (40.0, 3.0), (39.0, 14.0), (1.0, 13.0)), ((0.0, 300.0), (899.0, 290.0), (899.0, 330.0), (0.0, 340.0)),
    ((300.0, 300.0), (305.0, 300.0), (305.0, 304.0), (300.0, 304.0)),
])
def test_odd_panels_are_read_too(quad):
    photo, panel = photo_with(quad=quad)
    view = view_of(photo, panel)
    maps = np.random.default_rng(3).normal(0, 2, (3, 7, 7)).astype(np.float32)
    maps[1, 3, 3] += 60
    for spot in net_regions(answer_with(maps), view, SIZE).spots:
        assert np.isfinite(spot.outline).all() and len(spot.outline) >= 3 and 0 < spot.share <= 1


def test_answers_check_themselves():
    maps = np.zeros((3, 6, 7, 7), np.float32)
    good = (np.zeros(6, np.float32), np.zeros(4, np.float32), np.zeros(4, np.float32))
    NetAnswer(*good, maps, NAMES)
    with pytest.raises(ValueError, match="face_map"):
        NetAnswer(*good, maps[:2], NAMES)
    with pytest.raises(ValueError, match="logits"):
        NetAnswer(good[1], *good[1:], maps, NAMES)
    with pytest.raises(ValueError, match="finite"):
        NetAnswer(*good, maps + np.nan, NAMES)

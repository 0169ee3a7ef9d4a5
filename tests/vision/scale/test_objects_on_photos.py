"""Card, coin, ruler, sheet and points on made photos with exact truth."""

from dataclasses import replace

import numpy as np
import pytest
from skimage.measure import EllipseModel

from training import scale_objects as objects
from training.scale_scenes import aim, photograph
from vision.errors import UsageError
from vision.millimetres import mapped
from vision.scale import ScaleAsked, find_card, find_scale
from vision.scale.card import _mended, _posed, is_card
from vision.scale.coin import circle_planes, find_coin
from vision.scale.ellipse import Ellipse, distances, fit_ellipse
from vision.scale.objects import COINS, coin_diameter
from vision.scale.points import scale_of_points
from vision.scale.ruler import find_ruler
from vision.scale.sheet import find_sheet
from vision.scale.sides import refined_side

SIZE = (1200, 900)


def board(seed=3):
    """A plain board: streaks along x over a brown ground; 0.4 mm per texel."""
    rng = np.random.default_rng(seed)
    streaks = np.repeat(rng.normal(0, 9, (700, 1)), 900, axis=1) + rng.normal(0, 2, (700, 900))
    return np.clip(np.array([168, 124, 82]) + streaks[..., None], 0, 255).astype(np.uint8)


def shot(layers, tilt, distance=330.0, seed=1, **more):
    rng = np.random.default_rng(seed)
    camera = aim(rng, tilt, distance, SIZE, 0.78, wander=0.08, crop=0.0)
    return photograph(board(), layers, camera, rng, **{"noise": 2.0, "blur": 0.6, **more}), camera


def off(scale, camera, height=0.0, reach=70.0, count=8):
    """(errors, bars) as shares of true lengths about the plane's origin."""
    rng = np.random.default_rng(2)
    out = []
    for ends in rng.uniform(-reach, reach, (count, 2, 2)):
        true = float(np.hypot(*(ends[1] - ends[0])))
        p, q = (tuple(v) for v in mapped(camera.to_photo(height), ends))
        length, bar = scale.length_mm(p, q)
        out.append((length / true - 1, bar / true))
    return np.abs(np.array(out)).T


@pytest.mark.parametrize(("tilt", "look", "most"), [(0, "flat", 0.015), (40, "white", 0.03), (25, "printed", 0.03)])
def test_a_card_gives_millimetres(tilt, look, most):
    card = objects.card(np.random.default_rng(8), look, board(), (0.0, 0.0), 0.5)
    photo, camera = shot([card], tilt)
    scale = find_card(photo)
    assert scale is not None and scale.source == "card"
    true = mapped(camera.to_photo(card.thick) @ card.to_plane, np.array([[-42.8, -26.99], [42.8, 26.99]]))
    assert min(np.hypot(*(np.array(scale.outline) - true[0]).T)) < 4
    errors, bars = off(scale, camera)
    assert np.median(errors) < most and (errors < 1.5 * bars).all()


def test_a_tapped_card_is_that_card():
    rng = np.random.default_rng(4)
    one = objects.card(rng, "white", board(), (-70.0, 0.0), 0.2)
    two = objects.card(rng, "dark", board(), (70.0, 0.0), 1.2)
    photo, camera = shot([one, two], 10, 420.0)
    for card in (one, two):
        at = mapped(camera.to_photo(0.8), np.array([card.at]))[0]
        scale = find_card(photo, tap=(float(at[0]), float(at[1])))
        assert scale is not None and np.hypot(*(np.array(scale.centre) - at)) < 8


@pytest.mark.parametrize("kind", ["business_card", "playing_card", "print", "phone", "note", "box"])
def test_other_rectangles_are_no_card(kind):
    thing = objects.other(np.random.default_rng(5), kind, (0.0, 0.0), 0.4)
    photo, _ = shot([thing], 12)
    assert find_card(photo) is None


@pytest.mark.parametrize("kind", ["business_card", "playing_card"])
def test_a_point_on_it_makes_nothing_a_card(kind):
    """ISO/IEC 7810 ID-1 has one shape: 85 x 55 mm with sharp corners and 88.9 x 63.5 mm with round ones are others."""
    thing = objects.other(np.random.default_rng(5), kind, (0.0, 0.0), 0.4)
    photo, camera = shot([thing], 12)
    x, y = mapped(camera.to_photo(), np.zeros((1, 2)))[0]
    assert find_scale(photo, ScaleAsked("card", points=((float(x), float(y)),))) is None


@pytest.mark.parametrize("tilt", [0, 40])
def test_a_side_mostly_hidden_is_mended_from_the_other_three(tilt):
    """Length over width of ISO/IEC 7810 ID-1 puts the fourth side where it must lie."""
    card = objects.card(np.random.default_rng(8), "white", board(), (0.0, 0.0), 0.5)
    photo, camera = shot([card], tilt)
    to_photo = np.asarray(camera.to_photo(card.thick) @ card.to_plane)
    corners = mapped(to_photo, np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array([85.60, 53.98]) / 2)
    moved = corners.copy()
    moved[1:3] += 0.07 * (corners[0] - corners[1])  # the right side taken where a print line runs, some 6 mm inside
    sides = [refined_side(photo, corners[k], corners[(k + 1) % 4], 3.0) for k in range(4)]
    wrong = replace(sides[1], start=moved[1], end=moved[2])
    assert _posed(photo, [sides[0], wrong, *sides[2:]], None) is None or not is_card(
        _posed(photo, [sides[0], wrong, *sides[2:]], None), told=True)
    seen = _mended(photo, [sides[0], wrong, *sides[2:]], None)
    assert seen is not None
    off = min(np.hypot(*(np.roll(seen.corners, k, axis=0) - corners).T).max() for k in range(4))
    assert off < 3.0


def test_an_empty_board_has_no_scale():
    photo, _ = shot([], 20)
    assert find_scale(photo, ScaleAsked()) is None


def test_sheet_partly_covered():
    sheet = objects.sheet((0.0, 0.0), 0.3)
    lid = objects.Layer(np.full((40, 40, 4), 255, np.uint8), (130.0, 130.0), (-70.0, -60.0), 0.3)
    photo, camera = shot([sheet, lid], 40, 620.0)
    scale = find_sheet(photo)
    assert scale is not None
    errors, bars = off(scale, camera)
    assert errors.max() < 0.01 and (errors <= bars).all()
    # the printer made the 100 mm bar 97 mm long: everything is that much smaller
    shrunk = find_sheet(photo, bar_mm=97.0)
    p, q = scale.outline[0], scale.outline[1]
    assert shrunk.length_mm(p, q)[0] == pytest.approx(0.97 * scale.length_mm(p, q)[0], rel=2e-3)


@pytest.mark.parametrize(("unit", "tilt"), [("mm", 0), ("inch", 25)])
def test_ruler_ticks(unit, tilt):
    ruler = objects.ruler(np.random.default_rng(6), unit, (0.0, 0.0), 0.2)
    photo, camera = shot([ruler], tilt, 300.0)
    scale = find_ruler(photo)
    assert scale is not None and scale.along is not None
    a, b = np.array(scale.outline)
    ends = np.array([a + 0.1 * (b - a), a + 0.8 * (b - a)])
    true = mapped(np.linalg.inv(camera.to_photo(ruler.thick)), ends)
    length, bar = scale.length_mm(tuple(ends[0]), tuple(ends[1]))
    assert length == pytest.approx(np.hypot(*(true[1] - true[0])), rel=0.003) and bar < 0.01 * length
    assert scale.length_mm(tuple(ends[0]), (ends[0][0] + 80.0, ends[0][1] - 200.0)) is None
    # without ticks nothing is told
    assert find_ruler(shot([], 10)[0], unit="mm") is None


def test_coin_square_on():
    coin = objects.coin(np.random.default_rng(9), 25.75, (0.0, 0.0), thick=0.2)
    photo, camera = shot([coin], 0, 170.0)
    at = mapped(camera.to_photo(), np.zeros((1, 2)))[0]
    scale = find_coin(photo, 25.75, tap=(float(at[0]), float(at[1])))
    assert scale is not None
    errors, bars = off(scale, camera, reach=15)
    assert np.median(errors) < 0.03 and (errors <= 1.5 * bars).all()


@pytest.mark.parametrize("tilt", [15.0, 35.0, 50.0])
def test_one_of_the_two_planes_of_a_circle_is_the_true_one(tilt):
    """Closed form against an exact camera: the circle's outline fitted by skimage.measure.EllipseModel."""
    camera = aim(np.random.default_rng(3), tilt, 200.0, SIZE, 0.78, wander=0.2, crop=0.0)
    t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    outline = mapped(camera.to_photo(), 12.0 * np.c_[np.cos(t), np.sin(t)])
    model = EllipseModel.from_estimate(outline)
    (x, y), (a, b), theta = model.center, model.axis_lengths, model.theta
    if a < b:
        a, b, theta = b, a, theta + np.pi / 2
    own = fit_ellipse(outline)
    assert (own.x, own.y, own.major, own.minor) == pytest.approx((x, y, a, b), rel=1e-4)
    assert np.abs(distances(own, outline)).max() < 1e-3
    middle = ((SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2)
    planes = circle_planes(Ellipse(x, y, a, b, theta), 24.0, camera.focal, middle)
    far = mapped(camera.to_photo(), np.array([[0.0, 0.0], [60.0, 20.0], [-40.0, 50.0]]))
    true = [np.hypot(60, 20), np.hypot(100, 30), np.hypot(40, 50)]
    found = [np.hypot(*(m[[0, 1, 2]] - m[[1, 2, 0]]).T) for m in (mapped(p, far) for p in planes)]
    assert min(np.abs(f / true - 1).max() for f in found) < 2e-3


def test_two_points():
    scale = scale_of_points((100, 100), (700, 100), 300.0, SIZE)
    assert scale.length_mm((100, 100), (700, 100))[0] == pytest.approx(300)
    part = scale.length_mm((100, 100), (400, 100))
    whole = scale.length_mm((100, 100), (700, 100))
    assert part[0] == pytest.approx(150) and part[1] / part[0] > 3 * whole[1] / whole[0]
    assert scale.length_mm((100, 100), (100, 500)) is None
    with pytest.raises(UsageError):
        scale_of_points((100, 100), (103, 100), 300.0, SIZE)
    with pytest.raises(UsageError):
        scale_of_points((100, 100), (700, 100), -1.0, SIZE)


def test_coins_by_name():
    assert coin_diameter("2 euro") == 25.75 and coin_diameter("US Quarter") == 24.26 and coin_diameter("24.5mm") == 24.5
    assert all(15 < mm < 35 for mm in COINS.values())
    with pytest.raises(UsageError, match="euro"):
        coin_diameter("3 euro")

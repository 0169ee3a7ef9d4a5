"""The stated truth of a pair is the truth of its pixels."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from skimage.registration import phase_cross_correlation

from training.composites.drift import leaf_displacement, renew_detail
from training.composites.figures import Figure
from training.composites.pairs import Pair, _offsets, _turn_length, make_pair, make_rendered_pair
from training.figure.cuts import Peeled
from training.figure.log import Log
from training.repeat_baselines import band


def laid_over(pair: Pair, extra: float = 0.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(a, b moved onto a by the truth, where both are known); `extra` pixels of deliberate error."""
    assert pair.truth is not None
    h, w = pair.a.shape[:2]
    back = np.linalg.inv(pair.truth) @ np.array([[1, 0, extra], [0, 1, extra], [0, 0, 1.0]])
    moved = cv2.warpPerspective(pair.b, back, (w, h))
    known = cv2.warpPerspective(np.full(pair.b.shape[:2], 255, np.uint8), back, (w, h))
    inner = cv2.erode(known, np.ones((15, 15), np.uint8)) > 200
    return band(pair.a), band(np.ascontiguousarray(moved)), inner


def agreement(pair: Pair, extra: float = 0.0) -> float:
    a, b, inner = laid_over(pair, extra)
    return float(np.corrcoef(a[inner], b[inner])[0, 1])


@pytest.mark.parametrize("kind", ["copy", "copy_turned", "copy_mirrored", "reconstituted"])
@pytest.mark.parametrize("damage", ["none", "perspective", "scale"])
def test_copies_lie_where_the_truth_says(figures: list[Figure], kind: str, damage: str) -> None:
    pair = make_pair(figures[:2], kind, np.random.default_rng(4), damage)
    assert 0.35 <= pair.share <= 1.0
    assert agreement(pair) > 0.6
    assert agreement(pair) > agreement(pair, 8.0) + 0.2


def test_a_copy_is_registered_to_less_than_a_pixel_by_an_outside_method(figures: list[Figure]) -> None:
    pair = make_pair(figures[0], "copy", np.random.default_rng(11), "none")
    a, b, inner = laid_over(pair)
    rows, cols = np.flatnonzero(inner.any(axis=1)), np.flatnonzero(inner.any(axis=0))
    box = np.s_[rows[20] : rows[-20], cols[20] : cols[-20]]
    shift = phase_cross_correlation(a[box], b[box], upsample_factor=10, normalization=None)[0]  # scikit-image
    assert np.abs(shift).max() < 0.8


def test_leaves_agree_less_than_copies_and_less_with_distance(figures: list[Figure]) -> None:
    copy = agreement(make_pair(figures[:2], "copy", np.random.default_rng(5)))
    pairs = [make_pair(figures[:2], "slip", np.random.default_rng(k)) for k in range(10)]
    near = [agreement(p) for p in pairs if p.leaves <= 2]
    far = [agreement(p) for p in pairs if p.leaves >= 5]
    assert len(near) and len(far)
    assert copy > np.mean(near) > np.mean(far)
    assert np.mean([p.drift_px for p in pairs if p.leaves >= 5]) > np.mean([p.drift_px for p in pairs if p.leaves <= 2])


def test_book_mirrors_and_rotary_shrinks(figures: list[Figure]) -> None:
    book = make_pair(figures[:2], "book", np.random.default_rng(1))
    assert book.truth is not None
    assert np.linalg.det(book.truth[:2, :2]) < 0
    assert agreement(book) > agreement(book, 10.0)
    rotary = make_pair(figures[:2], "rotary", np.random.default_rng(2))
    assert rotary.truth is not None
    area = abs(np.linalg.det(rotary.truth[:2, :2]))
    assert 0.003 <= rotary.shrink <= 0.03
    assert area == pytest.approx(1 - rotary.shrink, abs=0.02)


def test_no_drift_at_no_depth(figures: list[Figure]) -> None:
    rng = np.random.default_rng(0)
    dx, dy = leaf_displacement(200, 300, 0.0, "plain", 2.0, rng)
    assert max(np.abs(dx).max(), np.abs(dy).max()) == 0
    pixels = figures[0].pixels[:200, :300]
    same = renew_detail(pixels, figures[1].pixels[:200, :300], 0.0, 2.0, rng)
    assert np.abs(same.astype(int) - pixels).max() <= 1


def test_two_parts_of_one_board_share_nothing() -> None:
    # every pixel tells its own place: red and green along the grain, blue across it
    x = np.arange(1200)
    ramp = np.zeros((500, 1200, 3), np.uint8)
    ramp[..., 0] = (x // 5)[None, :]
    ramp[..., 2] = (np.arange(500) // 2)[:, None]
    pair = make_pair(Figure(ramp, "g", "n", "plain"), "none", np.random.default_rng(3), "none")
    assert pair.truth is None
    red = sorted((np.percentile(p[..., 0], 5), np.percentile(p[..., 0], 95)) for p in (pair.a, pair.b))
    assert red[0][1] < red[1][0] + 12  # exposure differs by up to 18 %, so a little slack


def test_windows_share_forty_to_a_hundred_percent() -> None:
    rng = np.random.default_rng(0)
    shares = []
    for _ in range(200):
        (ax, ay), (bx, by) = _offsets(400.0, 200.0, 400.0, 300.0, rng)
        shares.append((1 - abs(ax - bx) / 400) * (1 - abs(ay - by) / 300))
    assert min(shares) > 0.39
    assert max(shares) > 0.95


def test_rendered_leaves_lie_where_the_truth_says() -> None:
    for kind in ("slip", "book"):
        gain = [agreement(p) - agreement(p, 14.0) for p in (make_rendered_pair(kind, np.random.default_rng(k)) for k in range(2))]
        assert np.mean(gain) > 0.02
    assert make_rendered_pair("none", np.random.default_rng(1)).truth is None
    with pytest.raises(ValueError, match="no kind"):
        make_rendered_pair("copy", np.random.default_rng(1))


def test_a_turn_of_a_peeled_sheet_is_a_whole_turn() -> None:
    # closed form: the point one turn on lies at the same angle, one leaf nearer to the middle
    radius, thick, start = 180.0, 1.4, 250.0
    pitch = _turn_length(radius, thick, start)
    sheet = Peeled(Log("pine_like", 1), radius, 0.0, thick)
    p = sheet.points(np.zeros(2), np.array([start, start + pitch]), np.zeros(2))
    angles = np.arctan2(p[:, 1], p[:, 0])
    assert np.cos(angles[0] - angles[1]) == pytest.approx(1.0, abs=1e-6)
    assert np.hypot(*p[0, :2]) - np.hypot(*p[1, :2]) == pytest.approx(thick, abs=1e-3)


def test_same_seed_same_pair_and_unknown_names_refused(figures: list[Figure]) -> None:
    one, two = (make_pair(figures[:2], "slip", np.random.default_rng(9), "all") for _ in range(2))
    assert np.array_equal(one.a, two.a) and np.array_equal(one.b, two.b)
    with pytest.raises(ValueError, match="unknown kind"):
        make_pair(figures[0], "clone", np.random.default_rng(0))

"""Pictures of joints: the truth is where it says, the same seed draws the same, geometry agrees with closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from training.joints import tails
from training.joints.kinds import NAMES, SHOWN, TRAPS
from training.joints.make import make_joint
from training.joints.pictures import seeds
from training.joints.stuff import Sheet


def test_every_name_is_either_shown_or_a_trap() -> None:
    assert not set(SHOWN) & set(TRAPS)
    assert set(NAMES) == set(SHOWN) | set(TRAPS)
    with pytest.raises(ValueError, match="unknown picture"):
        make_joint("mortise", 1)


def test_parts_share_no_seed() -> None:
    parts = [set(seeds(p, 500)) for p in ("fit", "held_out", "report")]
    assert not parts[0] & parts[1] and not parts[1] & parts[2] and not parts[0] & parts[2]


@pytest.mark.parametrize("name", ["finger_joint", "missing_pull"])
def test_same_seed_same_picture(name: str) -> None:
    one, two, other = make_joint(name, 3), make_joint(name, 3), make_joint(name, 4)
    assert np.array_equal(one.pixels, two.pixels)
    assert one.pixels.shape != other.pixels.shape or not np.array_equal(one.pixels, other.pixels)


@pytest.mark.parametrize("hand", [True, False])
def test_sides_slant_by_their_angle_and_tails_widen_to_the_end(hand: bool) -> None:
    for seed in range(30):
        plan = tails.dovetail_plan(np.random.default_rng(seed), half_blind=False, hand=hand)
        shoulder, end = plan.sides[:, 0], plan.sides[:, 1]
        # closed form: over the depth a side moves by depth * tan(angle), outwards at the end
        assert np.allclose(np.abs(end - shoulder), plan.depth * np.tan(np.deg2rad(plan.angles)))
        assert (end[0::2] < shoulder[0::2]).all() and (end[1::2] > shoulder[1::2]).all()
        assert (np.diff(shoulder) > 0).all() and (np.diff(end) > 0).all()


def test_machine_joints_are_regular_and_hand_cut_ones_are_not() -> None:
    spread = {}
    for hand in (True, False):
        found = []
        for seed in range(60):
            plan = tails.dovetail_plan(np.random.default_rng(seed), half_blind=False, hand=hand)
            widths = np.diff(plan.sides.mean(axis=1))[0::2]
            found.append(widths.std() / widths.mean())
        spread[hand] = np.array(found)
    assert np.percentile(spread[False], 95) < 0.012
    assert np.median(spread[True]) > 0.03


def test_true_sides_lie_on_edges_of_the_picture() -> None:
    """Colour differs across a true side more than along it, in most of the pictures."""
    better = 0
    for seed in range(5):
        p = make_joint("finger_joint", seed)
        t = p.truth.tails
        assert t is not None and (t.angle == 0) and len(t.sides) >= 4
        grey = p.pixels.astype(float).mean(axis=2)
        span = np.linalg.norm(t.sides[0, 1] - t.sides[0, 0])
        width = np.linalg.norm(np.diff(t.sides.mean(axis=1), axis=0), axis=1).min()
        across, along = [], []
        for a, b in t.sides[1:-1]:
            d = (b - a) / span
            n = np.array([-d[1], d[0]])
            for s in (0.3, 0.5, 0.7):
                m = a + s * (b - a)
                across.append(abs(_at(grey, m + 0.3 * width * n) - _at(grey, m - 0.3 * width * n)))
                off, step = m + 0.3 * width * n, 0.1 * span * d
                along.append(abs(_at(grey, off + step) - _at(grey, off - step)))
        better += np.median(across) > np.median(along)
    assert better >= 4


def _at(grey: np.ndarray, p: np.ndarray) -> float:
    h, w = grey.shape
    return float(grey[int(np.clip(round(p[1]), 0, h - 1)), int(np.clip(round(p[0]), 0, w - 1))])


def test_true_holes_are_dark_where_they_are_said_to_be() -> None:
    for name in ("shelf_holes", "missing_pull", "perforated"):
        p = make_joint(name, 2)
        grey = p.pixels.astype(float).mean(axis=2)
        inside = [_at(grey, np.array([r.x, r.y])) for r in p.truth.rounds]
        assert len(inside) >= 2
        assert np.median(inside) < 0.7 * np.median(grey)


def test_rows_have_the_pitch_they_are_said_to_have() -> None:
    p = make_joint("shelf_holes", 5)
    points = np.array([[r.x, r.y] for r in p.truth.rounds])
    away = np.linalg.norm(points[None] - points[:, None], axis=2)
    nearest = np.sort(away, axis=1)[:, 1]
    assert np.median(nearest) == pytest.approx(32.0 * p.truth.px_per_mm, rel=0.08)


def test_a_disc_covers_its_area() -> None:
    """Closed form: pi r squared."""
    sheet = Sheet(40, 30, 0.25)
    assert sheet.disc(20, 15, 6).sum() * 0.25**2 == pytest.approx(np.pi * 36, rel=0.003)
    assert sheet.polygon(np.array([[5, 5], [15, 5], [15, 10], [5, 10]])).sum() * 0.25**2 == pytest.approx(50, rel=0.02)

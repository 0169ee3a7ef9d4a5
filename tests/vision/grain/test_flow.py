"""Flow statistics against SciPy's circular statistics and closed forms of bent grain."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from tests.vision.grain.scenes import grid, profile, straight, to_u8
from vision.grain import grain_field
from vision.grain.flow import axial_deviation, curvature, flow, mean_direction, smoothed
from vision.grain.metric import angle_difference
from vision.types import GrainField


def field_of(angle: np.ndarray, step: float = 4.0) -> GrainField:
    one = np.ones(angle.shape, np.float32)
    return GrainField(angle.astype(np.float32), one, 5 * one, 8 * one, one > 0, step)


@pytest.mark.parametrize("centre", [2.0, 47.0, 178.0])
@pytest.mark.parametrize("spread", [2.0, 15.0])
def test_mean_and_deviation_as_scipy(centre: float, spread: float) -> None:
    # source: scipy.stats.circmean and circstd on doubled angles
    angle = np.mod(np.random.default_rng(3).normal(centre, spread, 500), 180)
    direction, order = mean_direction(angle)
    assert angle_difference(direction, stats.circmean(angle, high=180)) == pytest.approx(0, abs=1e-6)
    assert axial_deviation(order) == pytest.approx(stats.circstd(angle, high=180), rel=1e-6)


def test_weights_are_heeded_and_nothing_gives_nan() -> None:
    direction, order = mean_direction(np.array([10.0, 80.0]), np.array([1.0, 0.0]))
    assert direction == pytest.approx(10) and order == pytest.approx(1)
    assert math.isnan(mean_direction(np.array([10.0]), np.array([0.0]))[0])
    assert axial_deviation(1.0) == 0.0


def test_smoothing_wraps() -> None:
    angle = np.where(np.indices((20, 20)).sum(0) % 2, 179.0, 3.0)
    direction, _ = smoothed(field_of(angle), 3.0, np.ones((20, 20)))
    assert np.abs(angle_difference(direction, 1.0)).max() < 0.5


def test_curvature_of_circles() -> None:
    # closed form: along a circle of radius r the direction turns by 1 / r per pixel
    at = (np.arange(60) + 0.5) * 4 - 0.5
    x, y = at[None] + 150, -(at[:, None]) - 150
    bend = curvature(field_of(np.degrees(np.arctan2(y, x)) + 90))
    truth = np.degrees(100 / np.hypot(x, y))
    assert np.nanmax(np.abs(bend / truth - 1)) < 0.01
    assert np.isnan(bend[0]).all()


def test_straight_and_bent_boards() -> None:
    straight_flow = flow(grain_field(to_u8(straight(25, 2))))
    assert angle_difference(straight_flow.direction, 25) == pytest.approx(0, abs=0.3)
    assert straight_flow.straightness > 0.98 and straight_flow.deviation < 1 and straight_flow.bending < 1
    x, y = grid(320, 320)
    bent = flow(grain_field(to_u8(128 + profile(y + 20 * np.sin(x / 40), 3))))
    # closed form: slope 0.5 cos(x / 40), so the direction swings over +-26.6 degrees
    assert bent.deviation == pytest.approx(np.degrees(np.sqrt(np.mean(np.arctan(0.5 * np.cos(x / 40)) ** 2))), rel=0.15)
    assert bent.straightness < 0.4 and bent.bending > 10


def test_nothing_resolved_is_nan() -> None:
    assert math.isnan(flow(grain_field(np.full((100, 100), 90, np.uint8))).direction)

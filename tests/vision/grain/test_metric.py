"""Wrapping differences and the masked error."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.grain.metric import angle_difference, rms_error

angles = st.floats(-720, 720, allow_nan=False)


def test_wraps_at_180() -> None:
    assert angle_difference(179, 1) == pytest.approx(-2)
    assert angle_difference(1, 179) == pytest.approx(2)
    assert angle_difference(90, 0) == pytest.approx(-90)


@given(angles, angles)
def test_half_turns_do_not_matter_and_order_flips_the_sign(a: float, b: float) -> None:
    d = float(angle_difference(a, b))
    assert -90 <= d < 90
    for turned in (float(angle_difference(a + 180, b)), -float(angle_difference(b, a))):
        assert abs(math.remainder(turned - d, 180)) < 1e-6


def test_error_is_masked_and_in_degrees() -> None:
    assert rms_error([10.0, 179.0, 60.0], [13.0, 2.0, 0.0], [True, True, False]) == pytest.approx(3.0)
    assert math.isnan(rms_error([1.0], [1.0], [False]))
    assert rms_error(np.full((3, 4), 5.0), 1.0, np.ones((3, 4), bool)) == pytest.approx(4.0)

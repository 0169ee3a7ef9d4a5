"""Direction patterns against gratings whose layout is known in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.vision.layouts.patterns import picture, radial, view_of
from vision.grain import grain_field
from vision.layouts.directions import (
    coarse,
    fit_blocks,
    fit_box,
    fit_fold,
    fit_quarters,
    fit_wedges,
    line_through,
    uniform_share,
)


def field_of(grey: np.ndarray) -> object:
    view = view_of(picture(grey))
    return coarse(grain_field(view.pixels, mask=view.mask))


def grating(h: int, w: int, angle: np.ndarray | float) -> np.ndarray:
    """Lines along `angle` degrees (counter-clockwise on screen), 8 px apart, with a little noise."""
    y, x = np.mgrid[0:h, 0:w].astype(float)
    a = np.radians(angle)
    noise = np.random.default_rng(1).normal(0, 0.05, (h, w))
    return 0.5 + 0.3 * np.sin(2 * np.pi * (x * np.sin(a) + y * np.cos(a)) / 8) + noise


@pytest.mark.parametrize("wedges", [6, 8, 10, 12, 14, 16])
@pytest.mark.parametrize("start", [0.0, 7.0])
def test_wedges_are_counted_and_the_centre_found(wedges: int, start: float) -> None:
    centre = (248.0, 229.0)
    fit = fit_wedges(field_of(radial(480, wedges, centre, start=start)))
    assert fit.count == wedges
    assert math.dist((fit.x, fit.y), centre) < 0.02 * 480
    step = 360 / wedges
    assert abs((fit.first - start + step / 2) % step - step / 2) < 3
    assert fit.share > 0.8


def test_one_direction_is_no_pattern() -> None:
    d = field_of(grating(400, 480, 20.0))
    share, angle = uniform_share(d)
    assert share > 0.95 and abs(angle - 20) < 1
    assert fit_fold(d).gain < 0.02
    assert fit_quarters(d).share < 0.75 and abs(fit_box(d).along) < 0.8


@pytest.mark.parametrize(("slant", "outward"), [(45.0, True), (135.0, False), (38.0, True)])
def test_quarters_give_slant_and_centre(slant: float, outward: bool) -> None:
    h, w, cx, cy = 420, 480, 250, 200
    y, x = np.mgrid[0:h, 0:w]
    # the figure is that of the upper right quarter, mirrored about both lines
    u, v = np.abs(x - cx), np.abs(y - cy)
    a = math.radians(slant)
    grey = 0.5 + 0.3 * np.sin(2 * np.pi * (u * math.sin(a) - v * math.cos(a)) / 8)
    fit = fit_quarters(field_of(grey + np.random.default_rng(0).normal(0, 0.05, grey.shape)))
    assert fit.share > 0.8
    assert abs(fit.angle - slant) < 3
    assert (math.cos(math.radians(2 * (fit.angle - 45))) > 0) == outward
    assert abs(fit.x - cx) < 0.02 * w and abs(fit.y - cy) < 0.02 * w


@pytest.mark.parametrize("along", [True, False])
def test_box_and_reverse_box(along: bool) -> None:
    h, w, cx, cy = 400, 440, 220, 200
    y, x = np.mgrid[0:h, 0:w].astype(float)
    upright = np.abs(y - cy) * w > np.abs(x - cx) * h
    level, standing = grating(h, w, 0.0), grating(h, w, 90.0)
    grey = np.where(upright, level if along else standing, standing if along else level)
    fit = fit_box(field_of(grey))
    assert (fit.along > 0) == along and abs(fit.along) > 0.8
    assert abs(fit.x - cx) < 0.03 * w and abs(fit.y - cy) < 0.03 * w


@pytest.mark.parametrize(("columns", "direction"), [(2, 90.0), (4, 90.0), (2, 0.0)])
def test_columns_of_slanting_grain_are_parted(columns: int, direction: float) -> None:
    h, w = 400, 480
    y, x = np.mgrid[0:h, 0:w].astype(float)
    along, length = (x, w) if direction == 90 else (y, h)
    odd = np.floor(along / (length / columns)).astype(int) % 2 == 1
    grey = np.where(odd, grating(h, w, direction + 35), grating(h, w, direction - 35))
    fit = fit_fold(field_of(grey))
    assert abs((fit.direction - direction + 90) % 180 - 90) < 2
    assert abs(fit.lean - 35) < 4
    assert len(fit.offsets) == columns - 1
    for k, offset in enumerate(sorted(fit.offsets)):
        ends = line_through(fit.direction, offset, w, h)
        assert ends is not None
        middle = np.mean(ends, axis=0)[0 if direction == 90 else 1]
        assert abs(middle - (k + 1) * length / columns) < 0.02 * length


@pytest.mark.parametrize("block", [60, 110])
def test_draughtboard_of_blocks(block: int) -> None:
    h, w = 420, 480
    y, x = np.mgrid[0:h, 0:w]
    even = ((x + 13) // block + (y + 7) // block) % 2 == 0
    fit = fit_blocks(field_of(np.where(even, grating(h, w, 0.0), grating(h, w, 90.0))))
    assert abs(fit.size - block) < 0.1 * block
    assert fit.share > 0.6 and fit.balance > 0.35


def test_line_through_meets_the_rim() -> None:
    ends = line_through(90.0, 100.0, 200, 150)  # upright at x = 100
    assert ends is not None
    assert np.allclose(sorted(ends, key=lambda p: p[1]), [(100, 0), (100, 149)])
    assert line_through(0.0, 500.0, 200, 150) is None

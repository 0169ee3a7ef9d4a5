"""Centres and wedges from ideal maps, with the polar picture of scikit-image as a second opinion."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.vision.layouts.ideal import blank, seen_of
from vision.layouts.learned import CELL, Seen
from vision.layouts.rays import find_rays


def burst(width: int, height: int, count: int, first: float, centre: tuple[float, float]) -> Seen:
    """Maps of equal wedges about a centre."""
    lines = []
    for k in range(count):
        a = math.radians(first + 360 * k / count)
        lines.append((*centre, centre[0] + 2000 * math.cos(a), centre[1] - 2000 * math.sin(a)))
    return seen_of(blank(width, height), lines, centre)


@pytest.mark.parametrize("count", [6, 8, 10, 12, 14, 16, 18])
@pytest.mark.parametrize(("width", "height"), [(640, 560), (420, 512)])
def test_wedges_are_counted_and_placed(count: int, width: int, height: int) -> None:
    rng = np.random.default_rng(count)
    first = float(rng.uniform(0, 360 / count))
    centre = (0.5 * width + float(rng.normal(0, 8)), 0.5 * height + float(rng.normal(0, 8)))
    rays = find_rays(burst(width, height, count, first, centre))
    assert rays.count == count
    assert math.dist((rays.x, rays.y), centre) < 4
    miss = (rays.first - first + 180 / count) % (360 / count) - 180 / count
    assert abs(miss) < 1.0


def test_the_count_is_that_of_the_polar_picture() -> None:
    # skimage.transform.warp_polar and scipy.signal.find_peaks on the map of an unstretched canvas
    from scipy.signal import find_peaks
    from skimage.transform import warp_polar

    seen = burst(640, 512, 10, 7.0, (320.0, 256.0))
    cx, cy = (seen.canvas.to_canvas(np.array([[320.0, 256.0]]))[0] + 0.5) / CELL - 0.5
    polar = warp_polar(seen.axis, center=(cy, cx), radius=28, output_shape=(720, 28))[:, 10:].mean(1)
    peaks, _ = find_peaks(np.r_[polar, polar[:60]], height=0.4, distance=15)
    assert len({int(p) % 720 for p in peaks}) == 10 == find_rays(seen).count


def test_what_the_net_counted_settles_a_tie() -> None:
    seen = burst(640, 512, 12, 3.0, (320.0, 256.0))
    assert find_rays(seen).count == 12
    # every second ray is gone: the map alone says six
    half = burst(640, 512, 6, 3.0, (320.0, 256.0))
    assert find_rays(half).count == 6

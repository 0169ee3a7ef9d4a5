"""Teaching roles: limits give what they promise, shaking keeps labels with their panels."""

import numpy as np
import pytest

from training.roles import LEAST, RIGHT, ROLES, fit, limit, mirrored, shaken
from vision.parts.standing import standing
from vision.types import Panel


def rect(x0, y0, x1, y1):
    return ((float(x0), float(y0)), (float(x1), float(y0)), (float(x1), float(y1)), (float(x0), float(y1)))


def test_above_the_limit_enough_are_right():
    rng = np.random.default_rng(0)
    top = rng.uniform(0.3, 1.0, 4000)
    right = rng.random(4000) < top
    found = limit(top, right)
    assert right[top >= found].mean() == pytest.approx(RIGHT, abs=0.02)
    assert found >= LEAST
    assert limit(top, np.zeros(4000, bool)) > 1


def test_shaken_layouts_keep_order_and_labels():
    panels = [Panel(f"x{n}", "p", rect(10, 100 * n, 300, 100 * n + 80)) for n in range(8)]
    roles = [ROLES[n] for n in range(8)]
    for seed in range(20):
        out, views, told = shaken(panels, ["face"] * 8, roles, np.random.default_rng(seed))
        assert len(out) == len(views) == len(told) >= 1
        assert all(ROLES[int(p.id[1:])] == r for p, r in zip(out, told, strict=True))


def test_a_mirrored_layout_swaps_left_and_right():
    panels = [Panel("a", "p", rect(0, 0, 100, 100)), Panel("b", "p", rect(120, 0, 180, 100))]
    x = standing(panels, ["face"] * 2, (200, 100))
    y = standing(mirrored(panels, 200), ["face"] * 2, (200, 100))
    from vision.parts.standing import NAMES

    assert x[0, NAMES.index("beside_right")] == y[0, NAMES.index("beside_left")] == 1.0


def test_a_network_learns_what_can_be_learnt():
    rng = np.random.default_rng(0)
    y = rng.integers(0, 3, 600)
    x = rng.normal(0, 1, (600, 36))
    x[:, 0] += 4.0 * y
    found = fit(x[:500], y[:500]).probabilities(x[500:])
    assert (found.argmax(axis=1) == y[500:]).mean() > 0.75
    assert found[:, 3:].max() < 1e-6

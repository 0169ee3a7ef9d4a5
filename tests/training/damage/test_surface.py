"""The lit surface against Lambert's law and the plain geometry of shadows."""

from __future__ import annotations

import numpy as np
import pytest

from training.damage.surface import Lamp, Surface, cast, shine


def _flat(shape: tuple[int, int] = (60, 80), tone: float = 0.5) -> Surface:
    return Surface(
        np.full((*shape, 3), tone, np.float32),
        np.zeros(shape, np.float32),
        np.zeros(shape, np.float32),
        np.ones(shape, np.float32),
    )


def test_flat_matt_surface_keeps_its_colour() -> None:
    lit = shine(_flat(), Lamp(1.0, np.deg2rad(40)))
    assert np.allclose(lit, 127.5, atol=0.1)


@pytest.mark.parametrize("slope", [-0.3, 0.2, 0.5])
def test_slope_follows_lamberts_law(slope: float) -> None:
    # closed form: n . l / (flat n . l) with n = (-slope, 0, 1) / |.|, on linear light, so to the power 1 / 2.2
    surface = _flat()
    surface.height += np.float32(slope) * np.arange(80, dtype=np.float32)[None]
    lamp = Lamp(0.0, np.deg2rad(50), ambient=0.0)
    lit = shine(surface, lamp)[20:40, 30:50]
    norm = np.hypot(1, slope)
    expected = (np.sin(lamp.elevation) - slope * np.cos(lamp.elevation)) / norm / np.sin(lamp.elevation)
    assert np.allclose(lit, 127.5 * max(expected, 0) ** (1 / 2.2), rtol=0.02)


def test_shadow_is_as_long_as_the_wall_is_high_over_tangent() -> None:
    # closed form: a wall h high lit at elevation e throws a shadow of h / tan(e)
    height = np.zeros((40, 80), np.float32)
    height[:, 40:44] = 4.0
    lamp = Lamp(0.0, np.deg2rad(30))  # light from +x: the shadow falls towards -x
    shade = cast(height, lamp)[20]
    length = float(shade[:40].sum())
    assert abs(length - 4.0 / np.tan(np.deg2rad(30))) < 1.3
    assert shade[45:].max() == 0


def test_gloss_mirrors_the_window_where_the_slope_fits() -> None:
    surface = _flat()
    surface.gloss += 1
    y, x = np.mgrid[0:60, 0:80].astype(np.float32)
    surface.height = np.asarray(8 * np.exp(-((x - 40) ** 2 + (y - 30) ** 2) / (2 * 10**2)), np.float32)
    bright = shine(surface, Lamp(0.0, 1.2, ambient=1.0, window=(0.3, 0.0), size=0.05, strength=100, spread=0.0)).sum(axis=2)
    _, at = np.unravel_index(int(bright.argmax()), bright.shape)
    assert at > 42  # on the side of the dome whose normal leans to +x

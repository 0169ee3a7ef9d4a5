"""Damages do what their names say, and say where every point went."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from training.composites.camera import DAMAGES, SHOTS, SMALL_PX, Shot, photograph


def dotted(h: int = 400, w: int = 600) -> tuple[np.ndarray, np.ndarray]:
    """A grey surface with black dots, and their places (x, y)."""
    surface = np.full((h, w, 3), 170, np.uint8)
    places = np.array([(x, y) for x in (100, 300, 500) for y in (80, 200, 320)])
    for x, y in places:
        cv2.circle(surface, (int(x), int(y)), 9, (10, 10, 10), -1, cv2.LINE_AA)
    return surface, places


@pytest.mark.parametrize("name", ["none", "jpeg40", "scale", "perspective", "blur", "small"])
def test_the_matrix_says_where_the_dots_went(name: str) -> None:
    surface, places = dotted()
    pixels, matrix = DAMAGES[name](surface, np.random.default_rng(3), second=True)
    dark = np.clip(140.0 - pixels.mean(axis=2), 0, None)
    p = np.c_[places, np.ones(len(places))] @ matrix.T
    p = p[:, :2] / p[:, 2:]
    reach = max(8, round(16 * pixels.shape[0] / 400))
    for x, y in p:
        y0, x0 = round(y) - reach, round(x) - reach
        part = dark[y0 : y0 + 2 * reach + 1, x0 : x0 + 2 * reach + 1]
        rows, cols = np.mgrid[0 : part.shape[0], 0 : part.shape[1]]
        found = np.array([(part * cols).sum(), (part * rows).sum()]) / part.sum() + [x0, y0]
        assert np.hypot(*(found - [x, y])) < 0.6


def test_without_corner_error_rectifying_undoes_the_perspective() -> None:
    surface, _ = dotted()
    _, matrix = photograph(surface, Shot(tilt=35.0, corner_error=0.0), np.random.default_rng(1))
    assert np.abs(matrix - np.eye(3)).max() < 1e-3


def test_sizes() -> None:
    surface, _ = dotted()
    small, _ = DAMAGES["small"](surface, np.random.default_rng(0))
    assert min(small.shape[:2]) == SMALL_PX
    sides = {DAMAGES["scale"](surface, np.random.default_rng(k), second=True)[0].shape[0] for k in range(8)}
    assert sides == {round(400 * 1.05), round(400 / 1.05)}
    assert DAMAGES["scale"](surface, np.random.default_rng(0))[0].shape == surface.shape
    assert set(DAMAGES) == set(SHOTS)
    assert SHOTS["all"].quality == (40, 40) and SHOTS["all"].tilt == 35.0


def test_two_pictures_of_one_surface_share_no_noise() -> None:
    flat = np.full((300, 300, 3), 120, np.uint8)
    high = []
    for k in range(2):
        pixels, _ = DAMAGES["none"](flat, np.random.default_rng(k))
        grey = pixels.mean(axis=2)[20:-20, 20:-20]
        high.append((grey - cv2.GaussianBlur(grey, (0, 0), 2)).ravel())
    assert high[0].std() > 0.3
    assert abs(np.corrcoef(high[0], high[1])[0, 1]) < 0.03


def test_gloss_burns_out_and_light_falls_off() -> None:
    flat = np.full((400, 400, 3), 120, np.uint8)
    gloss, _ = DAMAGES["gloss"](flat, np.random.default_rng(2))
    plain, _ = DAMAGES["none"](flat, np.random.default_rng(2))
    assert gloss.max() > 205 > plain.max() + 40
    light, _ = DAMAGES["light"](flat, np.random.default_rng(2))
    assert np.ptp(cv2.GaussianBlur(light, (0, 0), 5).astype(int)) > 3 * np.ptp(cv2.GaussianBlur(plain, (0, 0), 5).astype(int))

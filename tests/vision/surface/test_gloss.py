"""Highlights of known size and place, figure kept or lost beneath them, and two photos of one panel."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.vision.surface.surface_faces import figure, finish, jpeg, tint, view_of, wood
from vision.surface import gloss


def lit(rgb, centre, sigma, height):
    """A lamp's reflection laid over the picture (adds white light)."""
    h, w = rgb.shape[:2]
    y, x = np.mgrid[:h, :w]
    spot = height * np.exp(-((x - centre[0]) ** 2 + (y - centre[1]) ** 2) / (2 * sigma**2))
    return rgb + spot[..., None]


def face(seed=0, centre=None, sigma=45, height=110, shape=(480, 640)):
    rng = np.random.default_rng(seed)
    rgb = tint(figure(rng, shape))
    return finish(rng, rgb if centre is None else lit(rgb, centre, sigma, height))


def values(pixels):
    return gloss.measure(view_of(pixels), None)


@pytest.mark.parametrize("quality", [None, 70])
def test_a_highlight_is_seen_and_sized(quality):
    def v(p):
        return values(p if quality is None else jpeg(p, quality))

    matt, small, large = v(face()), v(face(centre=(320, 240), sigma=35)), v(face(centre=(320, 240), sigma=70))
    assert matt["gloss_share"] == 0 and matt["gloss_height"] < 0.2
    assert small["gloss_height"] > 0.5
    assert large["gloss_share"] > 2 * small["gloss_share"] > 0.02


def test_a_sharp_highlight_rises_faster_than_a_soft_one():
    sharp, soft = (values(face(centre=(320, 240), sigma=s)) for s in (20, 110))
    assert sharp["gloss_edge"] > 1.5 * soft["gloss_edge"]


def test_burnt_out_share_is_counted():
    picture = face()
    picture[:120, :160] = 255
    assert values(picture)["gloss_clipped"] == pytest.approx(120 * 160 / (480 * 640), abs=0.012)


def test_window_light_is_a_plane():
    rng = np.random.default_rng(0)
    slope = np.linspace(0.7, 1.3, 640)[None, :, None]
    assert values(finish(rng, tint(figure(rng)) * slope))["gloss_plane"] > 0.8
    assert values(face(centre=(320, 240)))["gloss_plane"] < 0.3


def test_figure_lost_under_a_film_highlight():
    rng = np.random.default_rng(0)
    base = tint(figure(rng))
    kept = values(finish(rng, base * np.linspace(0.75, 1.35, 640)[None, :, None]))
    film = values(finish(rng, lit(base * 0.7, (500, 240), 90, 150)))
    assert film["gloss_figure_kept"] < kept["gloss_figure_kept"] - 0.2
    assert abs(kept["gloss_figure_kept"]) < 0.25


def test_sheen_bleaches():
    rng = np.random.default_rng(0)
    flat = np.ones((480, 640, 3)) * np.array([170.0, 120, 70])
    sheen = values(finish(rng, lit(flat, (320, 240), 150, 70)))
    shade = values(finish(rng, flat * np.linspace(0.6, 1.3, 640)[None, :, None]))
    assert sheen["gloss_bleach"] < -0.9
    assert shade["gloss_bleach"] > sheen["gloss_bleach"] + 0.5


def test_highlight_moves_and_figure_stays():
    a, b = view_of(face(1, (160, 150))), view_of(face(1, (470, 330)))
    change = gloss.compare(a, b)
    assert change.registered and change.figure_match > 0.6
    assert np.hypot(change.highlight_a[0] - 160, change.highlight_a[1] - 150) < 30
    assert np.hypot(change.highlight_b[0] - 470, change.highlight_b[1] - 330) < 30
    assert change.shift == pytest.approx(np.hypot(310, 180) / np.hypot(480, 640), abs=0.06)
    assert change.light_change > 0.1


def test_same_light_does_not_move():
    a, b = view_of(face(1, (160, 150))), view_of(jpeg(face(1, (160, 150)), 75))
    change = gloss.compare(a, b)
    assert change.registered and change.shift < 0.02 and change.light_change < 0.03


def test_registration_undoes_a_shift_and_a_stretch():
    picture = face(2, shape=(560, 720))
    m = np.array([[1.02, 0.01, 6.0], [-0.008, 0.985, -5.0]])
    moved = cv2.warpAffine(picture, m, (720, 560), borderMode=cv2.BORDER_REFLECT)
    change = gloss.compare(view_of(picture[40:-40, 40:-40].copy()), view_of(moved[40:-40, 40:-40].copy()))
    assert change.registered and change.figure_match > 0.7


def test_another_panel_is_not_registered():
    for seed in range(3, 6):
        assert not gloss.compare(view_of(wood(seed)), view_of(wood(seed + 10))).registered


def test_change_refuses_nonsense():
    with pytest.raises(ValueError, match="correlation"):
        gloss.GlossChange(True, 1.5, None, None, 0.0, 0.0, 0.0)
    with pytest.raises(ValueError, match="negative"):
        gloss.GlossChange(True, 0.5, None, None, -0.1, 0.0, 0.0)

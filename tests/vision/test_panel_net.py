"""The panel net: its pictures of a panel, its evidence that adds up, its numbers."""

import numpy as np
import pytest

from vision import looks, panel_net
from vision.inference.model import TARGETS
from vision.panels import panels_from_outlines, rectify
from vision.registry import CORES, FACES
from vision.types import Photo


def _photo(seed=0, width=500, height=400):
    pixels = np.random.default_rng(seed).integers(0, 255, (height, width, 3)).astype(np.uint8)
    return Photo(id="photo", file="made.png", sha256="", pixels=pixels)


def _view(photo, outline):
    return rectify(photo, panels_from_outlines(photo, [("a", outline)])[0])


SQUARE = ((150.0, 120.0), (250.0, 120.0), (250.0, 200.0), (150.0, 200.0))


def test_pictures_show_what_they_say():
    photo = _photo()
    photo.pixels.setflags(write=True)
    photo.pixels[120:200, 150:250] = (200, 40, 40)
    found = panel_net.crops(photo, _view(photo, SQUARE))
    assert found.shape == (len(panel_net.CROPS), looks.SIDE, looks.SIDE, 4)
    wide, context, panel, native = found
    assert wide[..., 3].mean() / 255 == pytest.approx(1 / 9, rel=0.1)  # the box grown by its size on every side
    assert context[..., 3].mean() / 255 == pytest.approx(1 / 2.25, rel=0.1)
    assert panel[..., 3].min() == 255
    middle = looks.SIDE // 2
    for picture in (wide, context, panel):
        assert np.abs(picture[middle, middle, :3].astype(int) - (200, 40, 40)).max() < 8
    marked = wide[wide[..., 3] > 0][:, :3].astype(int)
    assert np.median(np.abs(marked - (200, 40, 40)).max(axis=1)) < 8
    assert np.abs(native[:80, :80, :3].astype(int) - (200, 40, 40)).max() < 8


def test_a_panel_at_the_border_is_clipped_to_the_photo():
    photo = _photo()
    found = panel_net.crops(photo, _view(photo, ((0.0, 0.0), (99.0, 0.0), (99.0, 79.0), (0.0, 79.0))))
    assert found[0][:5, :5, 3].min() == 255
    assert found[0][..., 3].mean() / 255 == pytest.approx(1 / 4, rel=0.1)


def test_evidence_of_places_adds_up_to_what_the_net_says():
    biases = []
    for seed in (1, 2, 3):
        photo = _photo(seed)
        said, _ = panel_net.asked(panel_net.crops(photo, _view(photo, SQUARE)))
        biases.append(said.face - said.face_map.mean(axis=(2, 3)).sum(axis=0))
    assert np.abs(np.ptp(biases, axis=0)).max() < 2e-3


def test_numbers_are_log_odds_against_the_mean():
    photo = _photo(4)
    values = panel_net.measure(_view(photo, SQUARE), None)
    assert list(values) == [f.name for f in panel_net.FEATURES]
    for kind, names in (("face", FACES), ("core", CORES), ("view", panel_net.VIEWS)):
        assert sum(values[f"net_{kind}_{n}"] for n in names) == pytest.approx(0, abs=1e-5)
    assert TARGETS["view"] == panel_net.VIEWS


def test_the_net_is_asked_once_a_view(monkeypatch):
    photo = _photo(5)
    view = _view(photo, SQUARE)
    first = panel_net.answer(view)
    monkeypatch.setattr(panel_net, "session", lambda: pytest.fail("asked again"))
    assert panel_net.answer(view) is first


def test_a_flat_mark_moves_the_answer():
    """The net reads the mark: the same pictures with another panel marked are another question."""
    photo = _photo(6)
    pictures = panel_net.crops(photo, _view(photo, SQUARE))
    other = pictures.copy()
    other[..., 3] = 255 - other[..., 3]
    assert np.abs(panel_net.asked(pictures)[0].face - panel_net.asked(other)[0].face).max() > 1e-3

"""Reading a panel: what is drawn is found and named, places are on the photo, traps and plain faces stay silent."""

from __future__ import annotations

import numpy as np
import pytest

from training.hardware import grips
from training.hardware.shade import Canvas, Light
from vision.hardware.gather import Candidate
from vision.hardware.kinds import SEEN
from vision.hardware.read import Thing, judged, named, pair_among, read_hardware, stored, told
from vision.joints.chances import Net
from vision.panels import rectify
from vision.types import Panel, Photo, WorkingView


def face(size: tuple[int, int] = (300, 480)) -> np.ndarray:
    rng = np.random.default_rng(8)
    grey = 150 + 5 * rng.normal(0, 1, (size[0], 1)) + rng.normal(0, 2, size)
    return np.clip(grey[..., None] * np.array([1.0, 0.8, 0.6]), 0, 255).astype(np.uint8)


def canvas() -> Canvas:
    rgb = face().astype(np.float32) / 255
    return Canvas(rgb, np.zeros(rgb.shape[:2], np.uint8), Light(0.3, -0.6, 0.74, 0.6))


def drawn(c: Canvas) -> np.ndarray:
    return np.asarray(np.clip(c.rgb, 0, 1) * 255, np.uint8)


def view_of(pixels: np.ndarray, mm_per_px: float | None = None, corner: tuple[int, int] = (40, 60)) -> tuple[WorkingView, Photo]:
    """A panel that lies on a larger photo with its top left pixel at `corner`."""
    h, w = pixels.shape[:2]
    big = np.full((h + 140, w + 100, 3), 90, np.uint8)
    x, y = corner
    big[y : y + h, x : x + w] = pixels
    outline = ((x - 0.5, y - 0.5), (x + w - 0.5, y - 0.5), (x + w - 0.5, y + h - 0.5), (x - 0.5, y + h - 0.5))
    photo = Photo(id="p", file="p.jpg", sha256="", pixels=big, mm_per_px=mm_per_px)
    return rectify(photo, Panel(id="a", photo="p", outline=outline)), photo


def test_two_knobs_are_found_where_they_are_on_the_photo() -> None:
    c = canvas()
    for x in (120.0, 360.0):
        grips.draw_knob(c, x, 150.0, 1.1, np.random.default_rng(21))
    view, photo = view_of(drawn(c))
    items = [i for i in read_hardware(view, photo.pixels) if i.kind in ("knob", "pull")]
    assert len(items) == 2
    middles = sorted(np.mean(i.outline, axis=0)[0] for i in items)
    assert middles == pytest.approx([160, 400], abs=12)
    assert all(0.5 <= i.chance <= 1 and i.spacing_px is None for i in items)


def test_a_plain_face_has_nothing() -> None:
    assert read_hardware(view_of(face())[0]) == ()


@pytest.mark.parametrize("shape", [(4, 4), (30, 30), (12, 500), (500, 12)])
@pytest.mark.parametrize("level", [0, 90, 255])
def test_odd_pictures_are_no_trouble(shape: tuple[int, int], level: int) -> None:
    assert all(0 <= t.chance <= 1 for t in judged(np.full((*shape, 3), level, np.uint8)))


def test_what_lies_off_the_panel_is_left_out() -> None:
    c = canvas()
    grips.draw_knob(c, 120.0, 150.0, 1.1, np.random.default_rng(21))
    mask = np.ones((300, 480), bool)
    assert any(abs(t.middle[0] - 120) < 15 for t in judged(drawn(c), mask))
    mask[:, :240] = False
    assert not any(abs(t.middle[0] - 120) < 15 for t in judged(drawn(c), mask))


def holes(chance: float, spacing: float = 96.0) -> list[Thing]:
    hull = np.array([[-3, -3], [3, -3], [3, 3], [-3, 3]], float)
    return [Thing("hole", chance, hull + np.array([x, 100.0]), (x, 100.0), 6.0) for x in (150.0, 150.0 + spacing)]


def test_the_chance_of_a_missing_pull_is_that_of_both_holes_and_of_their_meaning() -> None:
    least = {**stored()[1], "hole": 0.5, "pair_share": 0.8}
    found = pair_among(holes(0.9), least, (200, 400))
    assert found is not None and found[1] == pytest.approx(0.8 * 0.81) and found[0].px == pytest.approx(96)
    assert pair_among(holes(0.4), least, (200, 400)) is None
    hull = np.array([[180, 90], [216, 90], [216, 110], [180, 110]], float)
    assert pair_among([*holes(0.9), Thing("pull", 0.6, hull, (198.0, 100.0), 40.0)], least, (200, 400)) is None


def test_stored_numbers_are_there_for_every_kind() -> None:
    net, least = stored()
    assert net.classes == ("nothing", *SEEN)
    assert set(SEEN) | {"pull_missing", "pair_share"} == set(least)
    assert all(0.5 <= least[k] <= 0.95 for k in SEEN)


def test_same_picture_same_reading() -> None:
    c = canvas()
    grips.draw_knob(c, 120.0, 150.0, 1.1, np.random.default_rng(21))
    view, _ = view_of(drawn(c))
    assert read_hardware(view) == read_hardware(view)


def test_a_grip_is_as_sure_as_either_kind_and_a_pane_is_never_told() -> None:
    inputs = ("x",)
    classes = ("nothing", *SEEN)
    bias = np.log(np.array([0.1, 0.4, 0.35, 0.03, 0.03, 0.03, 0.03, 0.03]))
    net = Net(inputs, classes, np.zeros(1), np.ones(1), np.zeros((1, 1)), np.zeros(1), np.zeros((1, len(classes))), bias, 1.0)
    hull = np.array([[0, 0], [9, 0], [9, 9], [0, 9]], float)
    thing, = named([Candidate(hull, (4.5, 4.5), 9.0, {"x": 0.0})], net)
    assert thing.kind == "knob" and thing.chance == pytest.approx(0.4) and thing.sure == pytest.approx(0.75)
    least = dict.fromkeys(SEEN, 0.7)
    pane, screw = Thing("glass", 0.99, hull, (4.5, 4.5), 9.0), Thing("screw", 0.69, hull, (4.5, 4.5), 9.0)
    assert told([thing, pane, screw], least) == [thing]

"""Reading a panel: places in working-view pixels, joints beside the outline, millimetres, chances, odd pictures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.vision.joints.joint_drawings import discs, fingers
from vision.joints.chances import stored
from vision.joints.finds import ROUND_NAMES, Gap, JointReading, Pair
from vision.joints.items import polygon_of
from vision.joints.read import LEAST, read_joints, read_pixels, surround
from vision.panels import rectify
from vision.types import Panel, Photo, WorkingView


def view_of(pixels: np.ndarray, outline: tuple[tuple[float, float], ...],
            mm_per_px: float | None = None) -> tuple[WorkingView, Photo]:
    photo = Photo(id="p", file="p.jpg", sha256="", pixels=pixels, mm_per_px=mm_per_px)
    return rectify(photo, Panel(id="a", photo="p", outline=outline)), photo


def whole(pixels: np.ndarray) -> tuple[tuple[float, float], ...]:
    h, w = pixels.shape[:2]
    return ((-0.5, -0.5), (w - 0.5, -0.5), (w - 0.5, h - 0.5), (-0.5, h - 0.5))


@pytest.fixture(scope="module")
def joint_reading() -> JointReading:
    pixels, _ = fingers(9.5, pitch=44, count=5)
    view, photo = view_of(pixels, whole(pixels), 0.5)
    return read_joints(view, photo.pixels)


def test_a_clear_joint_is_read_and_named(joint_reading: JointReading) -> None:
    assert len(joint_reading.tails) == 1
    t = joint_reading.tails[0]
    assert t.name == "dovetail" and t.end == "right" and t.chance >= LEAST["tails"]
    assert t.pitch_mm == pytest.approx(22.0, abs=0.5)
    assert t.fingers == 4 and t.made in ("machine", "cannot_tell")


def test_a_joint_beside_the_outline_is_found_on_the_photo() -> None:
    pixels, sides = fingers(9.5, pitch=44, count=5, width=300)
    view, photo = view_of(pixels, ((-0.5, -0.5), (268.5, -0.5), (268.5, 219.5), (-0.5, 219.5)))
    assert not [t for t in read_joints(view).tails if t.name == "dovetail"]
    found = [t for t in read_joints(view, photo.pixels).tails if t.end == "right"]
    assert found and found[0].name == "dovetail"
    xs = [x for x, _ in found[0].outline]
    assert max(xs) > view.pixels.shape[1] + 10  # it lies beyond the view, in the view's own pixels
    ys = sorted(np.mean([p[1] for p in s.line]) for s in found[0].sides)
    assert np.abs(np.array(ys) - np.sort(sides)).max() < 1.5


def test_items_carry_key_sentence_chance_and_place_on_the_photo() -> None:
    pixels, _ = fingers(9.5, pitch=44, count=5)
    big = np.full((400, 420, 3), 128, np.uint8)
    big[100 : 100 + pixels.shape[0], 60 : 60 + pixels.shape[1]] = pixels
    right, bottom = 59.5 + pixels.shape[1], 99.5 + pixels.shape[0]
    view, photo = view_of(big, ((59.5, 99.5), (right, 99.5), (right, bottom), (59.5, bottom)))
    reading = read_joints(view, photo.pixels)
    assert len(reading.items) == len(reading.finds) > 0
    item = next(i for i in reading.items if i.kind == "dovetail")
    assert "Dovetails" in item.sentence and item.chance >= LEAST["tails"]
    assert "only for the drawer side they are cut in" in item.limits
    xs, ys = np.array(item.outline).T
    assert right - 36 < xs.min() < right - 20 and right - 8 < xs.max() < right + 8  # 30 px deep at the right end, on the photo
    assert ys.min() < 108 and ys.max() > bottom - 8


def test_pairs_and_gaps_get_polygons_round_them() -> None:
    pair = polygon_of(Pair(((10.0, 20.0), (110.0, 20.0)), 100.0, 0.0, 0.0, 0.7))
    assert len(pair) >= 4 and pair[:, 0].min() < 10 and pair[:, 0].max() > 110
    gap = polygon_of(Gap(((5.0, 5.0), (5.0, 80.0)), 0.0, 6.0, 0.3, 0.7))
    assert np.ptp(gap[:, 0]) == pytest.approx(6.0, abs=0.1)


def test_margin_goes_no_further_than_the_photo() -> None:
    pixels, _ = fingers(8.0)
    view, photo = view_of(pixels, whole(pixels))
    about = surround(view, photo.pixels)
    assert abs(about.pixels.shape[0] - pixels.shape[0]) <= 2 and abs(about.pixels.shape[1] - pixels.shape[1]) <= 2


def test_rows_of_holes_have_a_ratio_without_scale_and_mm_with_one() -> None:
    places = [(30.0 + 32 * k, y, 2.5) for k in range(9) for y in (37.0, 203.0)]
    pixels = discs(places, level=25)
    reading = read_pixels(pixels, 1.0)
    long = [r for r in reading.rows if r.name == "row"]
    assert len(long) == 2
    for r in long:
        assert r.mm == pytest.approx(32, abs=0.3) and 4.5 < r.ratio < 9
        assert len(r.holes) == 9
    assert read_pixels(pixels).rows[0].mm is None


def test_a_plain_face_has_nothing() -> None:
    assert read_pixels(discs([])).finds == ()


@pytest.mark.parametrize("shape", [(4, 4), (30, 30), (12, 500), (500, 12)])
@pytest.mark.parametrize("kind", ["flat", "noise"])
def test_odd_pictures_are_no_trouble(shape: tuple[int, int], kind: str) -> None:
    rng = np.random.default_rng(0)
    pixels = np.full((*shape, 3), 90, np.uint8) if kind == "flat" else rng.integers(0, 256, (*shape, 3), dtype=np.uint8)
    assert isinstance(read_pixels(pixels), JointReading)


def test_stored_nets_are_there_for_every_kind() -> None:
    nets = stored()
    assert set(nets) == {"tails", "gate", "hand", "round", "row", "pair", "strokes", "gap", "relief"}
    assert nets["round"].classes == ("nothing", *ROUND_NAMES)
    for net in nets.values():
        p = net.chances([dict.fromkeys(net.inputs, float("nan"))])
        assert p.shape == (1, len(net.classes)) and p.sum() == pytest.approx(1)


def test_same_picture_same_reading(joint_reading: JointReading) -> None:
    pixels, _ = fingers(9.5, pitch=44, count=5)
    view, photo = view_of(pixels, whole(pixels), 0.5)
    assert read_joints(view, photo.pixels) == replace(joint_reading)

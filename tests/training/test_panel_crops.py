"""Packs of crops that the panel net is taught on: what goes in comes out, labels as teaching has them, folds by author."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from training.panel_crops import KEPT, UNKNOWN_FOLD, Pack, author_fold_numbers, encoded, labels_of, pack
from training.real_photos import Labelled
from training.tables import REAL, Table, short_hash
from vision.inference.model import TARGETS

ROW = Labelled("a1", Path("photo.png"), ((40.0, 30.0), (200.0, 30.0), (200.0, 150.0), (40.0, 150.0)), "someone", "table", "face",
               "veneer", "plywood", 0.8, True, ("none",), False)


@pytest.fixture(scope="module")
def packed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("photos")
    y, x = np.mgrid[0:240, 0:320]
    pixels = np.dstack([x * 0.7, y, 255 - x * 0.7]).astype(np.uint8)
    cv2.imwrite(str(folder / "photo.png"), pixels)
    rows = [replace(ROW, path=folder / "photo.png"), replace(ROW, path=folder / "photo.png", id="a2", author="other", face=None)]
    return pack(rows, {"someone": 3}, workers=1)


def test_a_pack_comes_back_as_it_was_saved(packed, tmp_path):
    packed.save(tmp_path / "pack.npz")
    back = Pack.load(tmp_path / "pack.npz")
    assert back.ids.tolist() == ["a1", "a2"] and back.groups.tolist() == ["someone", "other"]
    assert back.fold.tolist() == [3, UNKNOWN_FOLD]
    assert back.weight.tolist() == pytest.approx([0.4, 0.4])  # one specimen shared by two rows
    assert np.array_equal(back.pixels([1]), packed.pixels([1]))
    assert {t: v.tolist() for t, v in back.labels.items()} == {t: v.tolist() for t, v in packed.labels.items()}


def test_crops_are_near_what_the_net_will_see(packed):
    found = packed.pixels([0])
    assert found.shape == (1, 4, KEPT, KEPT, 4)
    panel = found[0, 2]
    assert panel[..., 3].min() == 255
    middle = panel[KEPT // 2, KEPT // 2, :3].astype(int)  # photo pixel (120, 90); files hold blue first
    assert np.abs(middle - (255 - 120 * 0.7, 90, 120 * 0.7)).max() < 12


def test_marks_survive_exactly():
    picture = np.random.default_rng(2).integers(0, 255, (KEPT, KEPT, 4)).astype(np.uint8)
    picture[..., 3] = np.where(picture[..., 3] > 100, 255, 0)
    data, mark = encoded(picture)
    whole = Pack(np.array(["a"]), np.array(["g"]), [[data]], [[mark]], {}, np.ones(1, np.float32), np.zeros(1, np.int64))
    assert np.array_equal(whole.pixels([0])[0, 0, ..., 3], picture[..., 3])


@pytest.mark.parametrize("changes, core_visible", [
    ({}, 1), ({"view": "edge", "face": None}, 0), ({"view": "edge", "face": None, "core_shown": False}, 1),
    ({"face": "bare_board"}, 0), ({"view": "edge", "core": None}, -1),
])
def test_labels_tell_whether_the_core_shows(changes, core_visible):
    row = replace(ROW, **changes)
    found = labels_of(row)
    assert found["core_visible"] == core_visible
    for target in ("face", "core", "view"):
        value = getattr(row, target)
        assert found[target] == (TARGETS[target].index(value) if value else -1)


def test_folds_are_those_of_the_held_out_figures():
    real = Table.load(REAL)
    rows = [replace(ROW, author="nobody known")]
    assert author_fold_numbers(rows) == {}
    assert short_hash("nobody known") not in set(real.author.tolist())

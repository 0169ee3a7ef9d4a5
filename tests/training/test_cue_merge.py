"""Caches of old code with one group of numbers added: right columns in the right order, nothing guessed."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.vision.cues_seen.boards_made import boards
from training import cue_merge, measuring
from training.real_photos import Labelled
from vision import cues_seen, measure

NAMES = [f.name for f in measure.schema()]
OURS = [f.name for f in cues_seen.FEATURES]
OLD = [n for n in NAMES if n not in OURS]


def test_columns_go_where_the_schema_wants_them():
    values = np.arange(2 * len(OLD), dtype=np.float32).reshape(2, -1)
    new = [{n: 1000.0 + k for k, n in enumerate(OURS)}, {n: 2000.0 + k for k, n in enumerate(OURS)}]
    table = cue_merge.merged(OLD, values, new)
    assert table.shape == (2, len(NAMES)) and table.dtype == np.float32
    for row in range(2):
        said = dict(zip(NAMES, table[row], strict=True))
        assert [said[n] for n in OLD] == values[row].tolist()
        assert [said[n] for n in OURS] == [new[row][n] for n in OURS]


def test_no_panels_give_an_empty_table():
    assert cue_merge.merged(OLD, np.zeros((0, len(OLD)), np.float32), []).shape == (0, len(NAMES))


def test_only_the_new_group_may_be_lacking():
    assert cue_merge.new_names(OLD) == OURS
    with pytest.raises(ValueError, match="lacking"):
        cue_merge.new_names(OLD[:-1])
    with pytest.raises(ValueError, match="lacking"):
        cue_merge.new_names(NAMES)
    with pytest.raises(ValueError, match="no longer made"):
        cue_merge.new_names([*OLD, "gone_number"])


@pytest.fixture()
def photo(tmp_path):
    """(rows of one photo with one panel, folder of its old cache with made-up numbers)."""
    path = tmp_path / "boards.png"
    cv2.imwrite(str(path), np.clip(boards(3, gap=0.35), 0, 255).astype(np.uint8)[..., ::-1])
    outline = ((10.0, 10.0), (470.0, 10.0), (470.0, 350.0), (10.0, 350.0))
    row = Labelled("a1", path, outline, "author", "thing", "face", "solid_wood", "lumber", 1.0, True, ("none",), False)
    (tmp_path / "old").mkdir()
    (tmp_path / "new").mkdir()
    digest = measuring._digest(path, (row,))
    measuring._store(tmp_path / "old" / f"{digest}.oldcode.npz", ids=np.array(["a1"], dtype="U64"),
                     values=np.full((1, len(OLD)), 7.0, np.float32))
    return (row,), tmp_path


def job_of(photo, old_code):
    rows, folder = photo
    return cue_merge.jobs_of(rows, folder / "old", folder / "new", old_code, OLD)[0]


def test_a_photo_is_merged_once_and_its_old_numbers_stay(photo):
    rows, folder = photo
    job = job_of(photo, "oldcode")
    assert [cue_merge.merge_photo(job) for _ in range(2)] == ["made", "there"]
    with np.load(folder / "new" / f"{measuring._digest(job.path, rows)}.{measuring.code_hash()}.npz") as stored:
        said = dict(zip(NAMES, stored["values"][0], strict=True))
        assert list(stored["ids"]) == ["a1"]
    assert {said[n] for n in OLD} == {7.0}
    assert said["eye_gap"] == pytest.approx(0.35, abs=0.07)


def test_a_photo_that_was_never_measured_is_absent(photo):
    assert cue_merge.merge_photo(job_of(photo, "othercode")) == "absent"


def test_files_that_hold_the_group_already_are_taken_over_whole(photo):
    rows, folder = photo
    digest = measuring._digest(rows[0].path, rows)
    values = np.arange(len(NAMES), dtype=np.float32)[None]
    measuring._store(folder / "old" / f"{digest}.full.npz", ids=np.array(["a1"], dtype="U64"), values=values)
    assert cue_merge.merge_photo(job_of(photo, "full")) == "made"
    with np.load(folder / "new" / f"{digest}.{measuring.code_hash()}.npz") as stored:
        assert np.array_equal(stored["values"], values)

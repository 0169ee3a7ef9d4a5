"""Measuring rendered test panels: cues told by truth alone, order of photos, files that come back as they went in."""

from __future__ import annotations

import json

import cv2
import numpy as np
import pytest

from training import rendered_test_rows as files
from training.real_photos import Labelled
from training.rendered_test import measured_photo, order, rows_of
from training.rendered_test_truth import CUES, Facts, facts_of, recurs, visible_cues

HOMOGRAPHY = [[1, 0, 0], [0, 1, 0], [0, 0, 1]]


def panel(number: int, **more):
    row = {"id": number, "part": f"top{number}", "role": "top", "side": "face", "view": "face", "face": "solid_wood",
           "core": "lumber", "edging": "raw", "core_shown": False, "layout": "plank", "coat": "oil", "area_px": 9000,
           "width_px": 80.0, "mm_per_px": 1.0, "size_mm": [600.0, 300.0], "window_mm": [0.0, 600.0, 0.0, 300.0],
           "outline": [[20, 20], [180, 20], [180, 100], [20, 100]], "grain_deg": 0.0}
    return {**row, **more}


def printed(number: int, origin, window, **more):
    return panel(number, face="printed", layout="print", print_repeat_mm=400.0, print_width_mm=900.0,
                 print_origin_mm=list(origin), window_mm=list(window), **more)


def test_a_web_shares_a_spot_only_where_both_ways_reach():
    period = (400.0, 900.0)
    long = (0.0, 600.0, 0.0, 200.0)
    assert recurs(long, long, period, 150.0, same=True)
    assert not recurs(long, long, period, 210.0, same=True)
    short = (100.0, 399.0, 0.0, 200.0)
    assert not recurs(short, short, period, 1.0, same=True)
    assert recurs(short, (510.0, 600.0, 50.0, 120.0), period, 60.0, same=False)
    assert not recurs(short, (510.0, 600.0, 210.0, 420.0), period, 20.0, same=False)
    assert recurs((0.0, 300.0, -880.0, -800.0), (0.0, 300.0, 20.0, 100.0), period, 50.0, same=False)


def test_a_print_recurs_in_pixels_not_only_in_millimetres():
    near = visible_cues([printed(1, (0, 0), (0, 600, 0, 200))], set())
    far = visible_cues([printed(1, (0, 0), (0, 600, 0, 200), mm_per_px=5.0)], set())
    assert near[1] == ("repeat",) and far[1] == ()
    pair = [printed(1, (0, 0), (0, 300, 0, 200)), printed(2, (400, 0), (100, 250, 0, 150))]
    assert visible_cues(pair, set()) == {1: ("repeat",), 2: ("repeat",)}
    other = [pair[0], {**pair[1], "print_repeat_mm": 411.0}]
    assert visible_cues(other, set()) == {1: (), 2: ()}


def test_leaves_recur_where_two_neighbours_show():
    leaves = [[-150.0, 0.0, 0, False], [0.0, 150.0, 1, True]]
    whole = panel(1, face="veneer", layout="book", leaves=leaves)
    half = {**whole, "window_mm": [0.0, 600.0, 0.0, 160.0]}
    assert visible_cues([whole], set())[1] == ("repeat",)
    assert visible_cues([half], set())[1] == ()
    assert visible_cues([{**whole, "layout": "random"}], set())[1] == ()


def test_a_bare_edge_tells_of_the_face_of_its_own_part_alone():
    edge = panel(2, part="top1", view="edge", side="front", core_shown=True)
    found = visible_cues([panel(1), edge, panel(3)], set())
    assert found == {1: ("edge",), 2: ("edge",), 3: ()}
    banded = {**edge, "core_shown": False}
    assert visible_cues([panel(1), banded], set()) == {1: (), 2: ()}


def test_wear_and_macro_and_sheen():
    mark = {"kind": "chip", "outline_mm": [[-10.0, -10.0], [10.0, -10.0], [10.0, 10.0]]}
    assert visible_cues([panel(1, damage=[mark])], set())[1] == ("wear",)
    assert visible_cues([panel(1, damage=[mark], window_mm=[0.0, 200.0, 0.0, 100.0])], set())[1] == ()
    assert visible_cues([panel(1, mm_per_px=0.15)], set())[1] == ("macro",)
    pairs = {("top1", "face")}
    assert visible_cues([panel(1, coat="varnish")], pairs)[1] == ("gloss_pair",)
    assert visible_cues([panel(1, coat="oil")], pairs)[1] == ()


def truth(number: int, forward, panels):
    return {"truth_schema": "1.0", "name": f"q_{number}", "piece": "q", "photo": number, "seed": 3, "kind": "table",
            "style": "solid", "twin_group": None, "view": "part", "width": 200, "height": 120, "panels": panels,
            "background": [{"id": 200, "class": "not_wood", "material": "wall", "floor": False, "wood_like": False,
                            "area_px": 9000}],
            "phone": {"delivery": "listing", "camera": "cool"}, "camera": {"forward": forward}}


def test_facts_of_a_photo_beside_another():
    shiny = panel(1, coat="gloss_polyester")
    one, turned = truth(0, [0.0, 1.0, 0.0], [shiny]), truth(1, [0.5, 0.866, 0.0], [shiny])
    found = facts_of(one, [turned])
    assert found[1].cues == ("gloss_pair",) and found[1].delivery == "listing" and found[1].faces == 1
    assert facts_of(one, [truth(1, [0.05, 0.9987, 0.0], [shiny])])[1].cues == ()
    assert found[200].role == "background" and found[200].layout == "wall" and found[200].mm_per_px == 0.0


def test_first_photos_come_first():
    assert order(["b_1", "a_0", "a_1", "b_0", "a_10"]) == ["a_0", "b_0", "a_1", "b_1", "a_10"]


def some_rows(count: int, projected: bool = False):
    rng = np.random.default_rng(count)
    facts = Facts("top", "top0", "face", "plank", "raw", "oil", False, "table", "solid", "", "q", "part", "camera", "plain",
                  1, 1, 200, 120, 80.0, 9000.0, 1.0, ("edge", "macro"))
    rows = [Labelled(id=f"q{k}.1", path=files.Path(f"q{k}.jpg"), outline=((0, 0), (9, 0), (9, 9)), author="q", specimen="s",
                     view="face", face="solid_wood", core="lumber", weight=1.0, headline=True, cues=(), line_scan=False)
            for k in range(count)]
    values = rng.normal(size=(count, 5)).astype(np.float32)
    values[0, 2] = np.nan
    looks = rng.normal(size=(count, 3, 7)).astype(np.float32)
    return files.built(rows, [facts] * count, values, looks, names=list("abcde"), schema="x", projected=projected)


def test_rows_come_back_over_several_files(tmp_path, monkeypatch):
    rows = some_rows(23)
    monkeypatch.setattr(files, "FILE_BYTES", 3000)
    written = files.save(rows, tmp_path / "rows.npz")
    assert len(written) > 1 and sum(p.stat().st_size for p in written) > 3000
    again = files.load(tmp_path / "rows.npz")
    assert list(again.ids) == list(rows.ids) and np.array_equal(again.values, rows.values, equal_nan=True)
    assert np.array_equal(again.looks, rows.looks) and again.schema == "x" and not again.projected
    assert again.cue("edge").all() and not again.cue("repeat").any() and again.cues.shape == (23, len(CUES))
    monkeypatch.setattr(files, "FILE_BYTES", 10**9)
    assert len(files.save(rows, tmp_path / "rows.npz")) == 1
    assert len(files.load(tmp_path / "rows.npz")) == 23, "an older continuation must not be read again"


def test_joining_counts_a_panel_once_and_refuses_other_measurements():
    assert len(files.joined([some_rows(4), some_rows(6)])) == 6
    with pytest.raises(ValueError, match="different"):
        files.joined([some_rows(4), some_rows(4, projected=True)])


def test_a_photo_is_measured_with_its_truth(tmp_path):
    rng = np.random.default_rng(5)
    grain = cv2.GaussianBlur(rng.normal(140, 60, (120, 200)).astype(np.float32), (0, 0), sigmaX=9, sigmaY=0.8)
    picture = np.clip(grain[..., None] * [0.5, 0.8, 1.1], 0, 255).astype(np.uint8)
    cv2.imwrite(str(tmp_path / "q_0.jpg"), picture)
    ids = np.full((120, 200), 200, np.uint8)
    cv2.imwrite(str(tmp_path / "q_0_id.png"), ids)
    edge = panel(2, part="top1", view="edge", side="front", core_shown=True,
                 outline=[[20, 101], [180, 101], [180, 118], [20, 118]])
    (tmp_path / "q_0.json").write_text(json.dumps(truth(0, [0.0, 1.0, 0.0], [panel(1), edge])))
    found = measured_photo(tmp_path / "q_0.json", tmp_path, False)
    assert [r.id for r in found.rows] == ["q_0.1", "q_0.2", "q_0.200"] and found.trouble == ""
    rows = rows_of([found], projected=True)
    assert list(rows.face) == ["solid_wood", "solid_wood", "not_wood"] and list(rows.core) == ["lumber", "lumber", ""]
    assert list(rows.core_visible) == [1, 0, 1] and rows.looks.shape[1:] == (3, 64)
    assert np.isfinite(rows.values).any(axis=1).all() and list(rows.cue("edge")) == [True, True, False]
    again = measured_photo(tmp_path / "q_0.json", tmp_path, False)
    assert np.array_equal(again.values, found.values, equal_nan=True)

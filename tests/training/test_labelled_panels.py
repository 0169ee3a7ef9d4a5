"""Reading collections of labelled panels: real rows, line-scan borders, renders, tables and their spread."""

import csv
import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from training.measuring import measure_all
from training.real_photos import Labelled, labelled_panels, without_border
from training.rendered import rendered_panels
from training.tables import Projection, Table, build, core_visible_label, current_schema, spread

COLUMNS = [
    "id", "file", "group", "source", "polygon", "view", "face", "core", "edge", "layout", "damage", "p",
    "trust", "evidence", "notes",
]


def row(**changes):
    base = dict(id="a", file="one.png", group="g1", source="s1", polygon="20:30 180:30 180:120 20:120", view="face",
                face="veneer", core="unknown", edge="none", layout="boards", damage="none", p="0.8", trust="by_eye",
                evidence="", notes="")
    return {**base, **changes}


@pytest.fixture
def collection(tmp_path):
    rng = np.random.default_rng(0)
    (tmp_path / "img").mkdir()
    for name in ("one.png", "two.png"):
        cv2.imwrite(str(tmp_path / "img" / name), rng.integers(40, 220, (160, 220, 3), dtype=np.uint8))
    rows = [row(), row(id="b", file="two.png", view="edge", face="printed", core="particle_board", trust="visible", p="1.0",
                       edge="particles", layout="none"),
            row(id="c", file="two.png", group="g2", face="unknown", trust="visible", p="1.0")]
    with (tmp_path / "panels.csv").open("w", newline="") as stream:
        writer = csv.DictWriter(stream, COLUMNS)
        writer.writeheader()
        writer.writerows(rows)
    return tmp_path


def test_rows_carry_trust_and_unknowns(collection):
    a, b, c = labelled_panels(collection)
    assert a.weight == pytest.approx(0.6 * 0.8) and not a.headline and a.core is None and "boards" in a.cues
    assert b.weight == 1 and b.headline and b.core == "particle_board" and "edge" in b.cues
    assert c.face is None and c.outline[0] == (20.0, 30.0)


def test_measuring_goes_on_where_it_stopped(collection, tmp_path):
    rows = labelled_panels(collection)
    first = measure_all(rows, tmp_path / "cache", workers=1)
    files = {p: p.stat().st_mtime_ns for p in (tmp_path / "cache").iterdir()}
    again = measure_all(rows, tmp_path / "cache", workers=1)
    assert {p: p.stat().st_mtime_ns for p in (tmp_path / "cache").iterdir()} == files
    assert again.ids == first.ids == ["a", "b", "c"] and np.array_equal(first.values, again.values, equal_nan=True)
    projection = Projection.fit(first.looks, 2)
    names, schema = current_schema()
    table = build(rows, first, projection, names, schema)
    table.save(tmp_path / "t.npz")
    read = Table.load(tmp_path / "t.npz")
    assert read.face.tolist() == [1, 2, -1] and read.core_visible.tolist() == [1, 0, -1]
    assert np.array_equal(read.values, first.values, equal_nan=True) and read.schema == schema


def test_projection_keeps_the_largest_spread_and_repeats():
    rng = np.random.default_rng(1)
    looks = (rng.normal(size=(60, 1, 3)) @ rng.normal(size=(3, 12))).astype(np.float32)
    p, q = Projection.fit(looks, 3), Projection.fit(looks, 3)
    z = p(looks)[:, 0]
    assert np.array_equal(p.basis, q.basis)
    assert np.allclose(np.corrcoef(z.T), np.eye(3), atol=1e-3)
    assert (z**2).mean() == pytest.approx(1, abs=0.02)


def test_black_borders_of_line_scans_are_found():
    pixels = np.zeros((100, 200, 3), np.uint8)
    pixels[10:90, 30:170] = 120
    assert without_border(pixels) == (30, 10, 170, 90)
    assert without_border(np.zeros((5, 6, 3), np.uint8)) == (0, 0, 6, 5)


def test_visible_cores():
    assert core_visible_label("edge", "veneer", "plywood") == 0 and core_visible_label("edge", "veneer", None) == -1
    assert core_visible_label("face", "bare_board", None) == 0 and core_visible_label("face", "veneer", "plywood") == 1
    assert core_visible_label(None, "veneer", None) == -1


def test_renders_are_read_with_a_background_patch(tmp_path):
    cv2.imwrite(str(tmp_path / "p1_0.jpg"), np.full((200, 300, 3), 90, np.uint8))
    ids = np.full((200, 300), 200, np.uint8)
    ids[:, :150] = 1
    cv2.imwrite(str(tmp_path / "p1_0_id.png"), ids)
    panel = {"id": 1, "outline": [[0, 0], [149, 0], [149, 199], [0, 199]], "view": "end", "face": "veneer", "core": "plywood",
             "core_shown": True, "layout": "book", "grain_deg": None}
    truth = {"truth_schema": "1.0", "piece": "p1", "seed": 3, "twin_group": None, "panels": [panel],
             "background": [{"id": 200, "class": "not_wood", "area_px": 30000}]}
    (tmp_path / "p1_0.json").write_text(json.dumps(truth))
    (tmp_path / "other.json").write_text("{}")
    board, wall = rendered_panels(tmp_path)
    assert (board.face, board.core, board.view, board.author) == ("veneer", "plywood", "end", "p1") and "end" in board.cues
    assert wall.face == "not_wood" and wall.core is None
    xs = [x for x, _ in wall.outline]
    assert min(xs) >= 150 and max(xs) <= 299 and max(xs) - min(xs) > 90


def test_a_folder_without_renders_is_refused(tmp_path):
    with pytest.raises(FileNotFoundError):
        rendered_panels(tmp_path)


def test_spread_keeps_rare_pairs():
    blank = dict(path=Path("x"), outline=((0, 0), (1, 0), (1, 1)), author="a", specimen="s", face="veneer", core=None, weight=1.0,
                 headline=True, cues=("none",), line_scan=False)
    rows = [Labelled(id=str(i), view="end" if i < 5 else "face", **blank) for i in range(300)]
    kept = spread(rows, 40, 0)
    ids = [int(r.id) for r in kept]
    assert len(ids) == 40 and set(range(5)) <= set(ids) and ids == sorted(set(ids))
    assert spread(rows, 40, 0) == kept and len(spread(rows, 1000, 0)) == 300

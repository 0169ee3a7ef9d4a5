"""Outlines put right: moved, drawn, split, merged, named, taken away; and a new assessment with them."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon

from service.store.types import StoredPhoto
from service.web.corrections import MOST, corrected
from service.web.worker import Worker
from tests.service.chest import CHEST, ChestEngine, chest_photo
from vision.errors import UsageError

PHOTO = StoredPhoto("i", "p", 3, "0", 1200, 900, 1, datetime(2026, 3, 1, tzinfo=UTC))
TWO = [{"id": "a", "points": [[0, 0], [100, 0], [100, 50], [0, 50]]},
       {"id": "b", "points": [[0, 60], [100, 60], [100, 90], [0, 90]]}]  # fmt: skip


def area(row) -> float:
    return float(Polygon(row["points"]).area)


def test_move_draw_name_remove():
    moved = corrected(TWO, {"do": "outline", "panel": "a", "points": [[1, 1], [99, 1], [99, 49]]}, PHOTO)
    assert [r["id"] for r in moved] == ["a", "b"] and moved[0]["points"] == [[1, 1], [99, 1], [99, 49]] and moved[1] == TWO[1]
    drawn = corrected(TWO, {"do": "outline", "points": [[200, 200], [300, 200], [300, 300]], "role": "top"}, PHOTO)
    assert [r["id"] for r in drawn] == ["a", "b", "top"]
    again = corrected(drawn, {"do": "name", "panel": "b", "role": "top"}, PHOTO)
    assert [r["id"] for r in again] == ["a", "top-2", "top"] and again[1]["points"] == TWO[1]["points"]
    assert [r["id"] for r in corrected(TWO, {"do": "remove", "panel": "a"}, PHOTO)] == ["b"]
    fresh = corrected(TWO, {"do": "outline", "points": [[200, 200], [300, 200], [300, 300]]}, PHOTO)
    assert fresh[-1]["id"] == "p3.d1"


@given(st.floats(1, 99), st.floats(1, 99))
def test_a_split_keeps_the_surface(top, bottom):
    rows = corrected(TWO, {"do": "split", "panel": "a", "line": [[top, 0], [bottom, 50]]}, PHOTO)
    assert len(rows) == 3 and rows[0]["id"] == "a" and area(rows[0]) >= area(rows[2])
    assert area(rows[0]) + area(rows[2]) == pytest.approx(area(TWO[0]), abs=2.0)


def test_a_merge_spans_the_gap():
    rows = corrected(TWO, {"do": "merge", "panels": ["a", "b"]}, PHOTO)
    assert [r["id"] for r in rows] == ["a"] and area(rows[0]) == pytest.approx(9000)
    touching = [TWO[0], {"id": "c", "points": [[0, 50], [60, 50], [60, 90], [0, 90]]}]
    assert area(corrected(touching, {"do": "merge", "panels": ["a", "c"]}, PHOTO)[0]) == pytest.approx(5000 + 2400)


@pytest.mark.parametrize("change", [
    {"do": "outline", "points": [[0, 0], [1, 1]]}, {"do": "outline", "points": [[0, 0], [9, 9], [9, 0], [0, 9]]},
    {"do": "outline", "points": [[0, 0], [5000, 0], [0, 50]]},
    {"do": "outline", "panel": "z", "points": [[0, 0], [9, 0], [0, 9]]},
    {"do": "outline", "points": [[0, 0], [9, 0], [0, 9]], "role": "wing"},
    {"do": "split", "panel": "a", "line": [[500, 0], [500, 9]]},
    {"do": "split", "panel": "a", "line": [[5, 5], [5, 5]]}, {"do": "split", "panel": "a"}, {"do": "merge", "panels": ["a", "a"]},
    {"do": "merge"}, {"do": "remove", "panel": None}, {"do": "name", "panel": "a", "role": None}, {"do": "dance"},
])  # fmt: skip
def test_what_makes_no_sense_is_refused(change):
    with pytest.raises(UsageError):
        corrected(TWO, change, PHOTO)


def test_neither_none_nor_too_many_are_left():
    with pytest.raises(UsageError):
        corrected(TWO[:1], {"do": "remove", "panel": "a"}, PHOTO)
    many = [{"id": f"n{k}", "points": TWO[0]["points"]} for k in range(MOST)]
    with pytest.raises(UsageError):
        corrected(many, {"do": "outline", "points": [[0, 0], [9, 0], [0, 9]]}, PHOTO)


def test_a_correction_is_assessed_with_and_can_be_taken_back(client, piece, store, tmp_path):
    engine = ChestEngine()
    photo = client.post(piece + "/photos", files={"photo": chest_photo(tmp_path / "a.jpg").read_bytes()}).json()
    client.post(piece + "/assessments", json={})
    Worker(store, engine).one()
    line = [[500, 200], [500, 500]]
    made = client.post(piece + "/corrections", json={"photo": photo["id"], "do": "split", "panel": "front1", "line": line})
    assert made.status_code == 201 and made.json()["job"]["state"] == "queued"
    Worker(store, engine).one()
    ids = [name for name, _ in engine.calls[-1]["outlines"]["p1"]]
    assert ids == [*CHEST, "p1.d1"] and engine.calls[0]["outlines"] == {}
    merged = {"photo": photo["id"], "do": "merge", "panels": ["front1", "p1.d1"], "assess": False, "client_key": "k"}
    second = client.post(piece + "/corrections", json=merged).json()
    assert client.post(piece + "/corrections", json=merged).json() == second, "sent again, it changes nothing"
    assert second["job"] is None and [r["id"] for r in second["correction"]["outlines"]] == list(CHEST)
    rows = client.get(piece + "/corrections").json()
    assert [c["did"] for c in rows["corrections"]] == ["split", "merge"] and len(rows["outlines"][photo["id"]]) == len(CHEST)
    assert client.delete(f"{piece}/corrections/{second['correction']['id']}").status_code == 204
    assert len(client.get(piece + "/corrections").json()["outlines"][photo["id"]]) == len(CHEST) + 1
    again = client.post(piece + "/corrections", json={"photo": photo["id"], "do": "again"})
    assert again.status_code == 201 and client.get(piece + "/corrections").json()["outlines"] == {}
    Worker(store, engine).one()
    assert engine.calls[-1]["outlines"] == {}
    wrong = client.post(piece + "/corrections", json={"photo": photo["id"], "do": "remove", "panel": "nothing"})
    assert wrong.status_code == 422 and client.delete(f"{piece}/corrections/{'D' * 22}").status_code == 404

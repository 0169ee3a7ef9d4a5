"""Deleting for good: rows, files and traces of them are really gone, also when the program is killed half way."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import text

from service.store import NotThere, Store, StoreError
from service.store.tables import Base
from tests.service.store.store_made import photo_bytes

MARK = "Zebrawood-4711"


def fill(store: Store) -> str:
    piece = store.pieces.create(MARK, MARK).id
    photo = store.photos.add(piece, photo_bytes(1), keep_original=True)
    store.derived.put(piece, "evidence", "x", MARK.encode(), "image/png", photo=photo.id)
    store.corrections.add(piece, "known", MARK, photo=photo.id)
    store.answers.give(piece, "hand", "weight", MARK)
    store.jobs.add(piece, request=MARK)
    store.papers.add(piece, "assessment", f'{{"schema":"1.3","notes":"{MARK * 500}"}}')
    store.ledger.add(piece, "bought", MARK)
    return piece


def stored_files(store: Store) -> list[Path]:
    folders = [store.folder.root / part for part in ("photos", "originals", "derived", "incoming")]
    return [path for folder in folders for path in folder.rglob("*") if path.is_file()]


def rows(store: Store) -> dict[str, int]:
    with store.database.engine.connect() as connection:
        tables = [table for table in Base.metadata.tables if table != "settings"]
        return {table: connection.execute(text(f"SELECT count(*) FROM {table}")).scalar_one() for table in tables}


def test_nothing_is_left(store: Store):
    other = fill(store)
    piece = fill(store)
    store.pieces.delete(piece)
    assert store.photos.data(store.photos.of_piece(other)[0].id), "the same photo of another piece stays"
    store.pieces.delete(other)
    assert set(rows(store).values()) == {0} and stored_files(store) == []
    with pytest.raises(NotThere):
        store.pieces.get(piece)
    assert store.pieces.find(MARK) == ()


def test_every_table_of_a_piece_is_covered(store: Store):
    fill(store)
    empty = {table for table, count in rows(store).items() if count == 0}
    assert empty == {"doomed"}, "a new table needs a line in fill() above"


def test_no_trace_stays_in_the_database_file(opened, database_url):
    if database_url is not None:
        pytest.skip("a server keeps its files to itself")
    store = opened()
    piece = fill(store)
    found = [p for p in store.folder.root.iterdir() if p.is_file() and MARK.encode() in p.read_bytes()]
    assert found, "the test looks in the right place"
    store.pieces.delete(piece)
    assert not [p for p in store.folder.root.rglob("*") if p.is_file() and MARK.encode() in p.read_bytes()]


def test_a_photo_alone_can_go(store: Store):
    piece = fill(store)
    (photo,) = store.photos.of_piece(piece)
    kept = store.photos.add(piece, photo_bytes(2))
    store.photos.remove(photo.id)
    assert store.photos.of_piece(piece) == (kept,) and len(stored_files(store)) == 1
    assert store.corrections.of_piece(piece) == () and len(store.answers.latest(piece)) == 1


def test_killed_between_rows_and_files(opened, monkeypatch):
    """The rows go first; files that a kill left behind are removed at the next start."""
    store = opened()
    piece = fill(store)
    monkeypatch.setattr("service.store.pieces.finish_deleting", lambda ground: None)
    store.pieces.delete(piece)
    assert len(stored_files(store)) == 3 and store.pieces.count() == 0
    store.close()
    after = opened()
    assert stored_files(after) == [] and rows(after)["doomed"] == 0


def test_a_file_that_cannot_be_removed_is_told_and_tried_again(opened, monkeypatch):
    store = opened()
    piece = fill(store)
    real = Path.unlink

    def refuses(path: Path, missing_ok: bool = False) -> None:
        if "photos" in path.parts:
            raise PermissionError(13, "Permission denied")
        real(path, missing_ok=missing_ok)

    with monkeypatch.context() as broken:
        broken.setattr(Path, "unlink", refuses)
        with pytest.raises(StoreError, match="It is deleted, but") as told:
            store.pieces.delete(piece)
    assert "next start" in told.value.remedy and store.pieces.count() == 0
    store.pieces.delete(store.pieces.create().id)
    assert stored_files(store) == [], "the next deletion removed them"


def test_a_photo_added_again_while_its_file_is_doomed_stays(opened, monkeypatch):
    store = opened()
    piece = fill(store)
    with monkeypatch.context() as killed:
        killed.setattr("service.store.pieces.finish_deleting", lambda ground: None)
        store.pieces.delete(piece)
    again = store.photos.add(store.pieces.create().id, photo_bytes(1))
    store.close()
    after = opened()
    assert after.photos.data(again.id) and len(stored_files(after)) == 1

"""Locked, full, damaged, read-only: one clear message each, and what was accepted before is still there."""

from __future__ import annotations

import errno
import os
import sqlite3
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from sqlalchemy import event, text

from service.store import Refused, Store, StoreBusy, StoreDamaged, StoreError, StoreFull, StoreLimits
from service.store.errors import of_file
from tests.service.store.store_made import LIMITS, photo_bytes


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    """A closed SQLite store with a piece, a photo and an answer."""
    with Store(tmp_path / "kept", limits=LIMITS) as store:
        piece = store.pieces.create("first").id
        store.photos.add(piece, photo_bytes(1))
        store.answers.give(piece, "hand", "weight", "heavy")
    return tmp_path / "kept"


def whole(store: Store) -> bool:
    """True when everything that `kept` accepted is there."""
    piece = next(p for p in store.pieces.find() if p.title == "first").id
    photos = store.photos.of_piece(piece)
    return bool(store.photos.data(photos[0].id)) and "heavy" in [a.body for a in store.answers.latest(piece)]


def test_a_locked_database(kept: Path):
    with Store(kept, limits=LIMITS, wait_s=0.2) as store:
        other = sqlite3.connect(kept / "grainassay.db", isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreBusy, match="locked by another program") as told:
            store.pieces.create("second")
        with pytest.raises(StoreBusy):
            store.photos.add(store.pieces.find()[0].id, photo_bytes(2))
        assert told.value.remedy and whole(store), "reading goes on"
        other.execute("COMMIT")
        other.close()
        assert store.pieces.create("second") and whole(store)
        assert not list((kept / "incoming").iterdir())


def test_two_programs_that_write_at_once_wait_for_each_other(opened):
    stores = [opened(), opened()]
    piece = stores[0].pieces.create().id
    jobs = [stores[0].jobs.add(piece).id for _ in range(20)]

    def write(store: Store) -> list[str]:
        taken = []
        while (job := store.jobs.take("w")) is not None:
            taken.append(job.id)
            store.answers.give(piece, "hand", "q", job.id)
        return taken

    with ThreadPoolExecutor(2) as pool:
        taken = [id_ for ids in pool.map(write, stores) for id_ in ids]
    assert sorted(taken) == sorted(jobs) and len(stores[0].answers.history(piece)) == 20


def test_a_lock_that_ends_in_time_is_waited_for(kept: Path):
    with Store(kept, limits=LIMITS, wait_s=10) as store:
        other = sqlite3.connect(kept / "grainassay.db", isolation_level=None, check_same_thread=False)
        other.execute("BEGIN IMMEDIATE")
        ends = threading.Timer(0.2, lambda: other.execute("COMMIT"))
        ends.start()
        assert store.pieces.create("second").title == "second"
        ends.join()
        other.close()


def test_a_postgresql_lock(tmp_path: Path, postgres_url):
    with Store(tmp_path / "kept", database_url=postgres_url, limits=LIMITS, wait_s=2) as store:
        other = Store(tmp_path / "kept", database_url=postgres_url, limits=LIMITS)
        with other, other.database.write(), pytest.raises(StoreBusy, match="locked"):
            store.pieces.create()
        assert store.pieces.create()


def test_a_postgresql_server_that_hangs_up(tmp_path: Path, postgres_url):
    with Store(tmp_path / "kept", database_url=postgres_url, limits=LIMITS) as store:
        piece = store.pieces.create("first").id
        hang_up = text("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() AND pid = :pid")
        with pytest.raises(StoreBusy, match=r"reached|broke off"), store.database.write() as session:
            pid = session.execute(text("SELECT pg_backend_pid()")).scalar_one()
            with store.database.engine.connect() as connection:
                connection.execute(hang_up, {"pid": pid})
            session.execute(text("SELECT 1"))
        assert store.pieces.get(piece).title == "first", "the next request makes a new connection"


def test_a_full_disk_while_a_photo_is_written(kept: Path, monkeypatch):
    with Store(kept, limits=LIMITS) as store:
        piece = store.pieces.find()[0].id
        full = OSError(errno.ENOSPC, "No space left on device")

        def no_room(_handle: int) -> None:
            raise full

        with monkeypatch.context() as broken:
            broken.setattr(os, "fsync", no_room)
            with pytest.raises(StoreFull, match="disk is full") as told:
                store.photos.add(piece, photo_bytes(2))
        assert "Make room" in told.value.remedy and not list((kept / "incoming").iterdir())
        assert len(store.photos.of_piece(piece)) == 1 and whole(store)
        assert store.photos.add(piece, photo_bytes(2)).number == 2


def test_room_is_kept_for_answers(kept: Path):
    with Store(kept, limits=StoreLimits(free_bytes=2**62)) as store:
        piece = store.pieces.find()[0].id
        with pytest.raises(StoreFull):
            store.photos.add(piece, photo_bytes(2))
        assert store.answers.give(piece, "hand", "q", 1) and whole(store)


def test_a_database_without_room(kept: Path):
    with Store(kept, limits=LIMITS) as store:
        piece = store.pieces.find()[0].id
        store.database.close()

        def small(connection, _record) -> None:
            connection.execute("PRAGMA max_page_count = 1")  # as large as it is now, no more

        event.listen(store.database.engine, "connect", small)
        with pytest.raises(StoreFull, match="disk is full"):
            for n in range(100):
                store.papers.add(piece, "plan", '{"text": "' + str(n) * 9000 + '"}')
        assert whole(store)
    with Store(kept, limits=LIMITS) as store:
        assert whole(store) and store.papers.add(piece, "plan", "{}")


@pytest.mark.parametrize("harm", ["text", "middle"])
def test_a_damaged_database(kept: Path, harm):
    file = kept / "grainassay.db"
    good = file.read_bytes()
    bad = b"this is no database " * 500 if harm == "text" else good[:4096] + b"\x5a" * (len(good) - 4096)
    file.write_bytes(bad)
    with pytest.raises(StoreDamaged, match="database file is damaged") as told, Store(kept, limits=LIMITS) as store:
        store.pieces.find()
    assert "backup" in told.value.remedy
    assert list((kept / "photos").glob("??/*")), "no photo is taken for a leftover"
    for file_ in kept.glob("grainassay.db-*"):
        file_.unlink()
    file.write_bytes(good)
    with Store(kept, limits=LIMITS) as store:
        assert whole(store)


def test_a_damaged_document_is_named(kept: Path):
    with Store(kept, limits=LIMITS) as store:
        piece = store.pieces.find()[0].id
        paper = store.papers.add(piece, "assessment", '{"schema": "1.3"}')
        with store.database.write() as session:
            session.execute(text("UPDATE papers SET text = '{\"sch'"))
        with pytest.raises(StoreDamaged, match="Assessment: The stored text is damaged"):
            store.papers.content(store.papers.get(paper.id))
        assert whole(store)


def test_a_mistake_inside_a_write_leaves_no_trace(kept: Path):
    with Store(kept, limits=LIMITS) as store:
        with pytest.raises(ZeroDivisionError), store.database.write() as session:
            session.execute(text("DELETE FROM pieces"))
            raise ZeroDivisionError
        assert whole(store) and store.pieces.create("next")


def test_what_the_file_system_says_is_told_in_words():
    cases = {
        errno.ENOSPC: (StoreFull, "full"), errno.EDQUOT: (StoreFull, "full"), errno.EACCES: (StoreError, "cannot be written"),
        errno.EROFS: (StoreError, "cannot be written"), errno.EIO: (StoreError, "failed"),
    }  # fmt: skip
    for number, (kind, words) in cases.items():
        told = of_file(OSError(number, os.strerror(number)), "the folder")
        assert type(told) is kind and words in told.cause and told.remedy


def test_a_folder_that_is_a_file(tmp_path: Path):
    (tmp_path / "kept").write_text("x")
    with pytest.raises(StoreError) as told:
        Store(tmp_path / "kept", limits=LIMITS)
    assert told.value.remedy


def test_limits_make_sense():
    for wrong in ({"at_once": 0}, {"photos_per_piece": 0}, {"free_bytes": -1}):
        with pytest.raises(ValueError, match="positive"):
            StoreLimits(**wrong)
    assert issubclass(Refused, StoreError)

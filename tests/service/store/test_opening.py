"""Opening: tables made by migrations, leftovers swept, a folder never taken for another database's."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import text

from service.store import Store, StoreDamaged, StoreError
from service.store.database import target
from service.store.tables import Base
from service.store.upgrade import config, upgrade
from tests.service.store.store_made import LIMITS, photo_bytes


def test_migrations_make_exactly_the_tables_of_the_program(store: Store):
    with store.database.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []


def test_steps_form_one_line_and_an_empty_database_gets_them_all(store: Store):
    script = ScriptDirectory.from_config(config())
    assert len(script.get_heads()) == 1 and len(script.get_bases()) == 1
    with store.database.read() as session:
        assert session.execute(text("SELECT version_num FROM alembic_version")).scalar_one() == script.get_current_head()


def test_an_upgrade_that_fails_leaves_the_database_as_it_was(store: Store, monkeypatch):
    store.pieces.create("kept")
    with store.database.write() as session:
        session.execute(text("UPDATE alembic_version SET version_num = '0001'"))

    def breaks(settings, revision):
        connection = settings.attributes["connection"]
        connection.execute(text("DELETE FROM pieces"))
        connection.execute(text("CREATE TABLE half_done (n INTEGER)"))
        raise RuntimeError("the step has a mistake")

    monkeypatch.setattr(ScriptDirectory, "get_current_head", lambda self: "0002")
    monkeypatch.setattr(command, "upgrade", breaks)
    with pytest.raises(RuntimeError):
        upgrade(store.database)
    assert [p.title for p in store.pieces.find()] == ["kept"]
    with store.database.engine.connect() as connection:
        assert "half_done" not in store.database.engine.dialect.get_table_names(connection)


def test_a_database_of_a_newer_program_is_left_alone(opened):
    store = opened()
    store.pieces.create("kept")
    with store.database.write() as session:
        session.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    store.close()
    with pytest.raises(StoreError, match="newer version") as refused:
        opened()
    assert "Update" in refused.value.remedy


def test_leftovers_of_a_kill_are_swept_and_nothing_else(opened):
    store = opened()
    kept = store.photos.add(store.pieces.create().id, photo_bytes(1))
    store.folder.stage("photos", b"half way")
    store.folder.settle(store.folder.stage("photos", b"in its place, but without a row"))
    (store.folder.root / "photos" / "my own file.txt").write_text("a user put this here")
    beside = opened()
    assert beside.swept == 0, "not while another program works here"
    beside.close(), store.close()
    after = opened()
    assert after.first and after.swept == 2 and after.photos.data(kept.id)
    assert (after.folder.root / "photos" / "my own file.txt").exists() and len(list(after.folder.all("photos"))) == 1


def test_a_missing_folder_is_named_and_put_back_without_loss(opened, tmp_path: Path, database_url):
    store = opened()
    piece = store.pieces.create().id
    kept = store.photos.add(piece, photo_bytes(1))
    store.close()
    away = tmp_path / "away"
    lost = tmp_path / "kept" / "photos" if database_url is None else tmp_path / "kept"
    lost.rename(away)
    for _ in range(2):
        with pytest.raises(StoreDamaged, match="missing or incomplete") as told:
            opened()
        assert "1 photos" in told.value.cause and "Put the folder back" in told.value.remedy
    if lost.exists():
        shutil.rmtree(lost)
    away.rename(lost)
    assert opened().photos.data(kept.id)


def test_a_folder_lost_while_at_work(opened, tmp_path: Path):
    store = opened()
    piece = store.pieces.create().id
    kept = store.photos.add(piece, photo_bytes(1))
    (tmp_path / "kept" / "photos").rename(tmp_path / "away")
    for call in (lambda: store.photos.add(piece, photo_bytes(2)), lambda: store.photos.data(kept.id)):
        with pytest.raises(StoreDamaged, match="missing or incomplete"):
            call()
    assert store.answers.give(piece, "hand", "q", 1), "answers need no folder"
    (tmp_path / "away").rename(tmp_path / "kept" / "photos")
    assert store.photos.data(kept.id) and len(store.photos.of_piece(piece)) == 1


def test_photos_whose_database_is_gone_are_never_swept(tmp_path: Path):
    with Store(tmp_path / "kept", limits=LIMITS) as store:
        store.photos.add(store.pieces.create().id, photo_bytes(1))
    for file in (tmp_path / "kept").glob("grainassay.db*"):
        file.rename(tmp_path / file.name)
    with pytest.raises(StoreDamaged, match="database is gone"):
        Store(tmp_path / "kept", limits=LIMITS)
    assert not list((tmp_path / "kept").glob("*.db*")), "nothing is put where the backup belongs"
    for file in tmp_path.glob("grainassay.db*"):
        file.rename(tmp_path / "kept" / file.name)
    with Store(tmp_path / "kept", limits=LIMITS) as store:
        assert store.photos.data(store.photos.of_piece(store.pieces.find()[0].id)[0].id)


def test_a_folder_of_another_database_is_never_swept(opened, tmp_path: Path, postgres_url):
    with Store(tmp_path / "kept", limits=LIMITS) as store:
        kept = store.photos.add(store.pieces.create().id, photo_bytes(1))
    with pytest.raises(StoreError, match="another database"):
        Store(tmp_path / "kept", database_url=postgres_url, limits=LIMITS)
    with Store(tmp_path / "kept", limits=LIMITS) as store:
        assert store.photos.data(kept.id)
    Store(tmp_path / "second", database_url=postgres_url, limits=LIMITS).close()
    with Store(tmp_path / "third", limits=LIMITS):
        pass
    with pytest.raises(StoreError, match="belong together"):
        Store(tmp_path / "third", database_url=postgres_url, limits=LIMITS)


@pytest.mark.parametrize("url", ["", "nonsense", "mysql://x/y", "sqlite:///x.db", "postgresql+asyncpg://x/y"])
def test_only_postgresql_can_be_named_by_url(tmp_path: Path, url):
    with pytest.raises(StoreError, match="Database URL"):
        target(tmp_path, url)


def test_passwords_are_not_told(tmp_path: Path):
    pytest.importorskip("psycopg")
    with pytest.raises(StoreError) as told:
        Store(tmp_path / "kept", database_url=f"postgresql://me:hush@/none?host={tmp_path}", limits=LIMITS, wait_s=2)
    assert "cannot be reached" in told.value.cause and "hush" not in str(told.value) and "me:***" in told.value.subject


def test_closing_twice_and_leaking_nothing(tmp_path: Path):
    def handles() -> int:
        return len(list(Path("/proc/self/fd").iterdir()))

    if not Path("/proc/self/fd").exists():
        pytest.skip("no list of open files here")
    counts = []
    for turn in range(6):
        with Store(tmp_path / "kept", limits=LIMITS) as store:
            store.pieces.create(str(turn))
        store.close()
        counts.append(handles())
    assert counts[-1] <= counts[0]

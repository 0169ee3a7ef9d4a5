"""One database, SQLite or PostgreSQL, behind two doors: `read` and `write`, each one transaction.

Writes happen one at a time: SQLite by BEGIN IMMEDIATE, PostgreSQL by one lock of its own, so that limits, order and the files on
disk need no thought about two writers. Everything that fails leaves as a StoreError, with nothing half written.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, SQLAlchemyError
from sqlalchemy.orm import Session

from service.store.errors import StoreBusy, StoreError, named

#: Key of the PostgreSQL lock that writers take; any number does, as long as it is always the same.
_WRITERS = 0x6772_6169
_DRIVER = "postgresql+psycopg"


def target(folder: Path, database_url: str | None) -> URL:
    """Where the database lies: the given PostgreSQL URL, or grainassay.db in the folder. Raises StoreError for other URLs."""
    if database_url is None:
        return URL.create("sqlite", database=str(folder / "grainassay.db"))
    try:
        url = make_url(database_url)
    except ArgumentError:
        raise StoreError("Database URL", "It is not a database URL.", "Write postgresql://USER@HOST/DATABASE.") from None
    if url.drivername not in ("postgresql", "postgres", _DRIVER):
        cause = "Only PostgreSQL can be named by a URL."
        raise StoreError("Database URL", cause, "Write postgresql://USER@HOST/DATABASE, or leave it out to use SQLite.")
    return url.set(drivername=_DRIVER)


class Database:
    """An open database. `subject` names it in messages, without its password; `wait_s`: seconds a write waits for others."""

    def __init__(self, url: URL, *, wait_s: float = 15.0) -> None:
        self.is_sqlite = url.get_backend_name() == "sqlite"
        self.subject = str(url.database) if self.is_sqlite else url.render_as_string(hide_password=True)
        self._wait_s = wait_s
        self._turn = threading.Lock()  # fair among threads, where SQLite's own waiting is luck
        options: dict[str, Any] = {"pool_size": 10, "max_overflow": 30, "pool_timeout": wait_s}
        if self.is_sqlite:
            options["connect_args"] = {"timeout": wait_s, "check_same_thread": False}
        else:
            options["connect_args"] = {"connect_timeout": max(2, int(wait_s)), "options": f"-c lock_timeout={int(wait_s * 1000)}"}
            options["pool_pre_ping"] = True
        try:
            with named(self.subject):
                self.engine: Engine = create_engine(url, **options)
        except ModuleNotFoundError:
            cause = "The library for PostgreSQL is missing."
            raise StoreError(self.subject, cause, "Install psycopg, or leave the database URL out to use SQLite.") from None
        if self.is_sqlite:
            event.listen(self.engine, "connect", _prepare_sqlite)
        event.listen(self.engine, "begin", self._begin)
        self._writer = self.engine.execution_options(writing=True)

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session that sees one state of the database."""
        with named(self.subject), Session(self.engine) as session:
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """A session that alone may write; commits at the end of the block, or leaves no trace when it raises."""
        if not self._turn.acquire(timeout=2 * self._wait_s):
            raise StoreBusy(self.subject, "Too many writers wait for the database.", "Try again in a moment.")
        try:
            with named(self.subject), Session(self._writer, expire_on_commit=False) as session, session.begin():
                session.connection()  # take the lock now, before anything is read
                yield session
        finally:
            self._turn.release()

    def scrub(self) -> None:
        """Makes what was deleted unreadable in the files too, as far as a database can: SQLite overwrites deleted rows at once
        and here empties its log; PostgreSQL frees their room. Does what it can while others read."""
        if self.is_sqlite:
            with suppress(sqlite3.OperationalError, SQLAlchemyError), closing(self.engine.raw_connection()) as raw:
                raw.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
            return
        with suppress(SQLAlchemyError), self.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("VACUUM"))

    def close(self) -> None:
        """Closes all connections; may be called twice."""
        self.engine.dispose()

    def _begin(self, connection: Connection) -> None:
        writing = connection.get_execution_options().get("writing", False)
        if self.is_sqlite:
            connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")
        elif writing:
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_WRITERS})")


def _prepare_sqlite(connection: Any, _record: Any) -> None:
    """Settings of every SQLite connection; transactions are begun by `_begin` alone."""
    connection.isolation_level = None
    for setting in (
        "journal_mode=WAL",  # readers never wait for the writer
        "synchronous=FULL",  # what was acknowledged survives a power cut
        "foreign_keys=ON", "secure_delete=ON", "trusted_schema=OFF", "temp_store=MEMORY",
    ):  # fmt: skip
        connection.execute(f"PRAGMA {setting}")

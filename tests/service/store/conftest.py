"""Fixtures of the store's tests: every test that asks for `opened` runs on SQLite and on a real PostgreSQL server."""

from __future__ import annotations

import itertools
import os
import pwd
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from service.store import Store
from tests.service.store.store_made import LIMITS, HandClock, postgres_programs, postgres_server

Opener = Callable[..., Store]
_numbers = itertools.count(1)


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """Where the session's PostgreSQL server listens; skips where there is none."""
    pytest.importorskip("psycopg", reason="the PostgreSQL driver psycopg is not installed")
    if os.getuid() == 0 and "postgres" not in {entry.pw_name for entry in pwd.getpwall()}:
        pytest.skip("the PostgreSQL server does not run as root, and there is no user postgres")
    if postgres_programs() is None:
        pytest.skip("no PostgreSQL server here; Debian's package postgresql brings it")
    with postgres_server() as where:
        yield where


@pytest.fixture
def postgres_url(server: str) -> Iterator[str]:
    """URL of a new, empty PostgreSQL database."""
    import psycopg

    name = f"t{next(_numbers)}"
    with psycopg.connect(f"postgresql://tester@/postgres{server}", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
        yield f"postgresql://tester@/{name}{server}"
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request: pytest.FixtureRequest) -> str | None:
    """None for SQLite in the folder, or the URL of a new PostgreSQL database."""
    return None if request.param == "sqlite" else request.getfixturevalue("postgres_url")


@pytest.fixture
def clock() -> HandClock:
    """A clock turned by hand."""
    return HandClock()


@pytest.fixture(scope="session")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty SQLite store to copy: making the tables anew for every test would take most of their time."""
    folder = tmp_path_factory.mktemp("once") / "kept"
    Store(folder, limits=LIMITS).close()
    return folder


@pytest.fixture
def opened(tmp_path: Path, made_once: Path, database_url: str | None, clock: HandClock) -> Iterator[Opener]:
    """Opens the test's store; called again, opens it anew. All are closed at the end."""
    stores: list[Store] = []
    if database_url is None:
        shutil.copytree(made_once, tmp_path / "kept")

    def make(**options: object) -> Store:
        settings = {"database_url": database_url, "clock": clock, "limits": LIMITS, "wait_s": 5.0, **options}
        stores.append(Store(tmp_path / "kept", **settings))
        return stores[-1]

    yield make
    for one in stores:
        one.close()


@pytest.fixture
def store(opened: Opener) -> Store:
    """An open, empty store."""
    return opened()

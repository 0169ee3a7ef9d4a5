"""Fixtures of the web tests: a client of the service, over a store of its own in a temporary folder."""

from __future__ import annotations

import shutil
import warnings
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from starlette.testclient import TestClient

from service.engine import Engine
from service.store import Store, StoreLimits
from service.web.app import create_app
from service.web.settings import WebSettings
from tests.service.store.store_made import LIMITS

Opener = Callable[..., TestClient]


@pytest.fixture(scope="session")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty store to copy: making the tables anew for every test would take most of their time."""
    folder = tmp_path_factory.mktemp("once") / "kept"
    Store(folder, limits=LIMITS).close()
    return folder


@pytest.fixture
def store(tmp_path: Path, made_once: Path) -> Iterator[Store]:
    """An open, empty store."""
    shutil.copytree(made_once, tmp_path / "kept")
    with Store(tmp_path / "kept", limits=LIMITS, wait_s=5.0) as opened:
        yield opened


@pytest.fixture
def opened(store: Store) -> Iterator[Opener]:
    """Makes a running service with a client: `opened(engine, settings, limits=...)`."""
    with ExitStack() as stack:

        def make(engine: Engine | None = None, settings: WebSettings | None = None, *, limits: StoreLimits | None = None,
                 base_url: str = "http://127.0.0.1:8765", lenient: bool = False) -> TestClient:  # fmt: skip
            used = store
            if limits is not None:
                used = stack.enter_context(Store(store.folder.root, limits=limits))
            app = create_app(used, engine, settings)
            return stack.enter_context(TestClient(app, base_url=base_url, raise_server_exceptions=not lenient,
                                                  follow_redirects=False))  # fmt: skip

        yield make


@pytest.fixture
def client(opened: Opener) -> TestClient:
    """A client that is no browser: it sends no cookies and no origin."""
    return opened()


@pytest.fixture
def piece(client: TestClient) -> str:
    """Address of a new piece."""
    return "/api/v1/pieces/" + client.post("/api/v1/pieces", json={"title": "Chest"}).json()["id"]

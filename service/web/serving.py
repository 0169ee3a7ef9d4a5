"""A running service: the web server, and workers that are started again when they die."""

from __future__ import annotations

import logging
import os
import subprocess
import sys
import threading
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import typer

from service.store import Store
from service.web.settings import WebSettings, is_loopback
from service.web.worker import URL_VARIABLE
from vision.errors import GrainassayError, UsageError

log = logging.getLogger("grainassay.serve")
#: Seconds to wait before a worker that died is started again, and at most.
FIRST_WAIT_S, LONGEST_WAIT_S = 0.5, 30.0


class CannotListen(GrainassayError):
    """The address or port cannot be had."""


class Workers:
    """Worker processes that live as long as this program: each ends when its standard input does."""

    def __init__(self, folder: Path, database_url: str | None, count: int, lease_s: float) -> None:
        self._command = [sys.executable, "-m", "service.web.worker", str(folder), str(lease_s)]
        self._environment = {**os.environ, URL_VARIABLE: database_url or ""}
        self._over = threading.Event()
        self._running: dict[int, subprocess.Popen[bytes]] = {}
        self._threads = [threading.Thread(target=self._tend, args=(n,), daemon=True, name=f"tend-{n}") for n in range(count)]

    @property
    def pids(self) -> list[int]:
        """Process ids of those alive."""
        return [p.pid for p in self._running.values() if p.poll() is None]

    def start(self) -> None:
        """Starts all."""
        for thread in self._threads:
            thread.start()

    def _tend(self, n: int) -> None:
        import time

        wait = FIRST_WAIT_S
        while not self._over.is_set():
            began = time.monotonic()
            process = subprocess.Popen(self._command, stdin=subprocess.PIPE, env=self._environment)
            self._running[n] = process
            process.wait()
            if self._over.is_set():
                return
            # One that dies at once is not started again in a hurry.
            wait = FIRST_WAIT_S if time.monotonic() - began > 60 else min(LONGEST_WAIT_S, 2 * wait)
            log.warning("a worker ended (%s); the next begins in %.0f s and its job is begun anew", process.returncode, wait)
            self._over.wait(wait)

    def stop(self) -> None:
        """Tells all to put back what they do and end; ends those that do not within half a minute."""
        self._over.set()
        for process in list(self._running.values()):
            if process.stdin is not None:
                process.stdin.close()
        for process in list(self._running.values()):
            try:
                process.wait(30)
            except subprocess.TimeoutExpired:
                process.kill()
        for thread in self._threads:
            thread.join(5)


def listening(config: Any) -> Any:
    """A socket bound to the address of a uvicorn.Config. Raises CannotListen."""
    try:
        return config.bind_socket()
    except SystemExit:  # the library says why on standard error and would leave
        raise CannotListen(f"{config.host}:{config.port}", "It cannot be listened on.",
                           "Another program may use it: choose another with --port.") from None  # fmt: skip


def opening_lines(settings: WebSettings, folder: Path, database: str, key_set: bool) -> list[str]:
    """What is said at the start: where it listens, where things are kept, whether a key is demanded."""
    shown = f"[{settings.host}]" if ":" in settings.host else settings.host
    at = "localhost" if settings.host in ("0.0.0.0", "::") else shown
    lines = [f"Grainassay listens on http://{at}:{settings.port}/", f"Photos are kept in {folder}, the rest in {database}."]
    if settings.key_demanded:
        whom = "Whoever can reach this machine can ask" if not is_loopback(settings.host) else "Visitors can ask"
        lines.append(f"{whom}; the access key is demanded, and how often one may ask is limited.")
        lines.append("Nothing sent is encrypted: beyond your own network put a forwarding server with a certificate in front.")
    else:
        lines.append("Only this machine can reach it; no key is demanded" + (" (one is set)." if key_set else "."))
    return [*lines, "Stop it with Ctrl-C; nothing that was accepted is lost."]


def serve(folder: Path, database_url: str | None, settings: WebSettings, workers: int = 1) -> None:
    """Runs until it is stopped.

    Raises
    ------
    UsageError
        where a key is demanded and none is set; StoreError and CannotListen with their remedies.
    """
    import uvicorn

    from service.web import tokens
    from service.web.app import create_app

    with Store(folder, database_url=database_url) as store:
        kept = tokens.key_hash(store)
        if settings.key_demanded and kept is None:
            raise UsageError(f"--host {settings.host}", "It can be reached by others, and no access key is set.",
                             "Set one with: grainassay key --folder DIR, or leave --host out.")  # fmt: skip
        # No trust in forwarded headers: they would let a client name its own address.
        config = uvicorn.Config(
            create_app(store, None, settings), host=settings.host, port=settings.port, log_level="warning", access_log=False,
            server_header=False, proxy_headers=False, lifespan="on", timeout_graceful_shutdown=5,
            limit_concurrency=500, ws="none",
        )  # fmt: skip
        at = listening(config)
        settings = replace(settings, port=at.getsockname()[1])
        tended = Workers(store.folder.root, database_url, workers, settings.lease_s)
        for line in opening_lines(settings, store.folder.root, store.database.subject, kept is not None):
            typer.echo(line)
        sys.stdout.flush()
        logging.basicConfig(format="grainassay: %(message)s", level=logging.WARNING)
        tended.start()
        try:
            with suppress(KeyboardInterrupt):  # Ctrl-C is how it is stopped
                uvicorn.Server(config).run(sockets=[at])
        finally:
            tended.stop()

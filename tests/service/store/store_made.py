"""What the store's tests stand on: small photos from seeds, a clock that is turned by hand, a PostgreSQL server of their own."""

from __future__ import annotations

import glob
import io
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from PIL import Image

from service.store import StoreLimits

#: Tests must not depend on how full the machine's disk is.
LIMITS = StoreLimits(free_bytes=0)


def photo_bytes(seed: int, fmt: str = "JPEG", width: int = 72, height: int = 56, **options: object) -> bytes:
    """Bytes of a small smooth picture that differs by seed."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:height, 0:width]
    a, b, c, base = rng.uniform(0.02, 0.2), rng.uniform(0.02, 0.2), rng.uniform(0, 6), rng.uniform(90, 150, 3)
    wave = np.sin(a * x + b * y + c)[..., None]
    pixels = np.clip(base + 60 * wave + rng.uniform(-1, 1, 3), 0, 255).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, fmt, **options)
    return out.getvalue()


class HandClock:
    """A clock that stands still until it is turned."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def turn(self, seconds: float) -> None:
        self.now += timedelta(seconds=seconds)


def postgres_programs() -> Path | None:
    """The folder with the server's programs: on the path, or where Debian puts them."""
    found = shutil.which("pg_ctl")
    places = [Path(found).resolve().parent] if found else []
    places += [Path(p) for p in sorted(glob.glob("/usr/lib/postgresql/*/bin"), reverse=True)]
    return next((p for p in places if (p / "initdb").exists() and (p / "pg_ctl").exists()), None)


@contextmanager
def postgres_server() -> Iterator[str]:
    """A PostgreSQL server in a folder of its own, reached by a socket there and by nothing else; yields `?host=FOLDER`."""
    programs = postgres_programs()
    assert programs is not None
    folder = Path(tempfile.mkdtemp(prefix="pg"))
    who: dict[str, str] = {}
    if os.getuid() == 0:  # the server refuses to run as root
        who = {"user": "postgres"}
        shutil.chown(folder, "postgres")

    def run(*command: str) -> None:
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "stdin": subprocess.DEVNULL}
        subprocess.run(command, check=True, cwd=folder, timeout=120, **who, **quiet)

    data = str(folder / "data")
    options = f"-c listen_addresses= -c unix_socket_directories={folder} -c fsync=off -c max_connections=60"
    try:
        run(str(programs / "initdb"), "-D", data, "-U", "tester", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
        run(str(programs / "pg_ctl"), "-D", data, "-w", "-l", str(folder / "log"), "-o", options, "start")
        yield f"?host={folder}"
    finally:
        if (folder / "data" / "postmaster.pid").exists():
            run(str(programs / "pg_ctl"), "-D", data, "-w", "-m", "immediate", "stop")
        shutil.rmtree(folder, ignore_errors=True)

"""The commands: what is said at the start, where a key is demanded, a running service with its worker, and a kill of it."""

from __future__ import annotations

import io
import os
import re
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pytest
import typer
from PIL import Image
from typer.testing import CliRunner

from service.contract import Document
from service.serve_commands import key, serve
from service.store import Store
from service.web import tokens
from service.web.serving import CannotListen, Workers, opening_lines
from service.web.settings import WebSettings
from vision.errors import UsageError

ROOT = Path(__file__).resolve().parents[3]
PROGRAM = "import typer; from service.serve_commands import serve; typer.run(serve)"


@pytest.fixture
def program() -> typer.Typer:
    app = typer.Typer()
    app.command()(key)
    app.command()(serve)
    return app


def running(folder: Path) -> tuple[subprocess.Popen[str], str]:
    """A service of its own on a free port, and its address."""
    command = [sys.executable, "-c", PROGRAM, "--folder", str(folder), "--port", "0"]
    begun = subprocess.Popen(command, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, stdout=subprocess.PIPE, text=True)
    assert begun.stdout is not None
    found = re.search(r"http://127\.0\.0\.1:\d+", begun.stdout.readline())
    assert found is not None
    return begun, found[0]


def asked(address: str, seconds: float = 30.0) -> httpx.Response:
    """The answer of a service that may be starting."""
    end = time.monotonic() + seconds
    while True:
        try:
            return httpx.get(address, timeout=20)
        except httpx.TransportError:
            assert time.monotonic() < end
            time.sleep(0.05)


def test_the_key_is_set_and_removed(program, tmp_path):
    folder = str(tmp_path / "kept")
    assert CliRunner().invoke(program, ["key", "--folder", folder], input="walnut and beeswax\n").exit_code == 0
    with Store(folder) as store:
        assert tokens.key_fits(tokens.key_hash(store), "walnut and beeswax")
    short = CliRunner().invoke(program, ["key", "--folder", folder], input="short\n")
    assert isinstance(short.exception, UsageError)
    assert CliRunner().invoke(program, ["key", "--folder", folder, "--remove"]).exit_code == 0
    with Store(folder) as store:
        assert tokens.key_hash(store) is None


def test_others_are_not_let_in_without_a_key(program, tmp_path):
    for more in (["--host", "0.0.0.0"], ["--demand-key"]):
        refused = CliRunner().invoke(program, ["serve", "--folder", str(tmp_path / "kept"), *more])
        assert isinstance(refused.exception, UsageError) and "grainassay key" in refused.exception.remedy


def test_the_start_says_who_can_reach_it():
    here = "\n".join(opening_lines(WebSettings(), Path("kept"), "kept/grainassay.db", False))
    assert "http://127.0.0.1:8765/" in here and "Only this machine" in here and "no key is demanded" in here
    outside = "\n".join(opening_lines(WebSettings(host="0.0.0.0"), Path("kept"), "db", True))
    assert "the access key is demanded" in outside and "limited" in outside and "encrypted" in outside
    assert "[::1]:8765" in opening_lines(WebSettings(host="::1"), Path("kept"), "db", True)[0]


def test_a_killed_service_keeps_what_it_accepted_and_assesses_it_with_the_real_engine(tmp_path):
    folder = tmp_path / "kept"
    first, address = running(folder)
    assert asked(address + "/api/v1/pieces").json() == {"pieces": [], "count": 0}
    piece = f"{address}/api/v1/pieces/" + httpx.post(f"{address}/api/v1/pieces", json={"title": "Chest"}).json()["id"]
    sample = sorted((ROOT / "sample_images").glob("*_1.jpg"))[0]
    photo = httpx.post(piece + "/photos", files={"photo": sample.read_bytes()}, timeout=30)
    assert photo.status_code == 201
    job = httpx.post(piece + "/assessments", json={"details": False}).json()
    first.send_signal(signal.SIGKILL)
    first.wait()
    second, address = running(folder)
    try:
        piece = f"{address}/api/v1/pieces/{job['piece']}"
        assert asked(piece).json()["photo_count"] == 1
        end = time.monotonic() + 120
        while (now := asked(f"{address}/api/v1/jobs/{job['id']}").json())["state"] in ("queued", "running"):
            assert time.monotonic() < end, now
            time.sleep(0.2)
        assert now["state"] == "done", now
        doc = Document.model_validate_json(asked(piece + "/assessment").text)
        assert doc.parts and doc.photos[0].panels and doc.photos[0].id == photo.json()["key"]
        assert Image.open(io.BytesIO(asked(address + photo.json()["evidence"]).content)).width == 1200
    finally:
        second.send_signal(signal.SIGINT)
        assert second.wait(60) == 0, "Ctrl-C is how it is stopped"


def test_a_port_that_is_taken_is_told(program, tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        refused = CliRunner().invoke(program, ["serve", "--folder", str(tmp_path / "kept"), "--port", port])
    assert isinstance(refused.exception, CannotListen) and "--port" in refused.exception.remedy


def test_a_worker_that_dies_is_begun_again_and_all_end_together(tmp_path):
    workers = Workers(tmp_path, None, 2, 20.0)
    workers._command = [sys.executable, "-c", "import sys; sys.stdin.read()"]
    workers.start()

    def until(what) -> None:
        end = time.monotonic() + 30
        while not what():
            assert time.monotonic() < end
            time.sleep(0.02)

    until(lambda: len(workers.pids) == 2)
    lost, other = workers.pids
    os.kill(lost, signal.SIGKILL)
    until(lambda: len(workers.pids) == 2 and lost not in workers.pids)
    alive = workers.pids
    assert other in alive
    workers.stop()
    assert workers.pids == [] and not any(Path(f"/proc/{pid}").exists() for pid in alive)

"""A worker killed in the middle: the job is begun anew, never lost, never stuck, and given up with a cause after its last try."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from service.web.queue import ask
from tests.service.chest import chest_photo

ROOT = Path(__file__).resolve().parents[3]
LEASE_S = 1.0


def worker(folder: Path, gate: Path) -> subprocess.Popen[bytes]:
    """A worker's process that stops in the middle of its work while the file `gate` exists."""
    command = [sys.executable, "-m", "tests.service.web.stand_ins", str(folder), str(LEASE_S), str(gate)]
    return subprocess.Popen(command, stdin=subprocess.PIPE, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)})


def until(what, seconds: float = 40.0) -> None:
    end = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.03)


@pytest.fixture
def queued(store, tmp_path):
    """(store, job of a piece with one photo)."""
    piece = store.pieces.create("Chest")
    store.photos.add(piece.id, chest_photo(tmp_path / "a.jpg").read_bytes())
    return store, ask(store, piece.id)


def test_a_killed_worker_loses_nothing(queued, tmp_path):
    store, job = queued
    gate = tmp_path / "gate"
    gate.write_text("")
    first = worker(store.folder.root, gate)
    until(lambda: gate.read_text() == "begun")
    # A stage longer than the lease does not cost the job: the signs of life come from a thread of their own.
    time.sleep(1.5 * LEASE_S)
    assert store.jobs.put_back() == 0 and store.jobs.get(job.id).state == "running"
    first.send_signal(signal.SIGKILL)
    first.wait()
    assert store.jobs.get(job.id).state == "running", "nobody knows yet"
    gate.unlink()
    second = worker(store.folder.root, gate)
    until(lambda: store.jobs.get(job.id).ended)
    done = store.jobs.get(job.id)
    assert (done.state, done.attempts) == ("done", 2)
    assert store.papers.latest(job.piece, "assessment") is not None
    assert second.stdin is not None
    second.stdin.close()
    assert second.wait(30) == 0, "a worker ends when the program that began it is gone"


def test_a_job_that_kills_every_worker_fails_with_a_cause(queued, tmp_path):
    store, job = queued
    for attempt in range(3):
        gate = tmp_path / f"gate{attempt}"
        gate.write_text("")
        running = worker(store.folder.root, gate)
        until(lambda gate=gate: gate.read_text() == "begun")
        running.send_signal(signal.SIGKILL)
        running.wait()
    until(lambda: store.jobs.put_back() >= 0 and store.jobs.get(job.id).ended)
    given_up = store.jobs.get(job.id)
    assert given_up.state == "failed" and given_up.attempts == 3 and "3 times" in given_up.cause and given_up.remedy
    assert len(store.photos.of_piece(job.piece)) == 1, "the photo is still there"

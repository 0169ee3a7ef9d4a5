"""Killed at random moments: whatever was accepted is still there, no file is without a row, no job is stuck or lost."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from service.store import Store
from service.store.tables import DerivedRow, PhotoRow
from service.store.types import ENDED
from tests.service.store.store_made import LIMITS

ROOT = Path(__file__).resolve().parents[3]


class Killed:
    """A store, a program that works on it, and what the program told."""

    def __init__(self, folder: Path, url: str | None, program: subprocess.Popen[str]) -> None:
        self.folder, self.url, self._program = folder / "kept", url, program
        self.told = folder / "told"
        self.told.touch()

    def run_and_kill(self, seed: int) -> None:
        """Starts the work and kills it a moment after it accepted a number of things, or while it still opens the store."""
        assert self._program.stdin and self._program.stdout
        order = {"folder": str(self.folder), "url": self.url, "told": str(self.told), "seed": seed}
        before, rng = len(self.lines()), random.Random(seed)
        self._program.stdin.write(json.dumps(order) + "\n")
        self._program.stdin.flush()
        child = int(self._program.stdout.readline())
        wanted = before + (rng.randint(1, 16) if seed % 5 else 0)
        for _ in range(10_000):
            if len(self.lines()) >= wanted:
                break
            time.sleep(0.003)
        time.sleep(rng.uniform(0.0, 0.03))
        os.kill(child, signal.SIGKILL)
        self._program.stdin.write("\n")
        self._program.stdin.flush()
        assert self._program.stdout.readline() == "dead\n"
        failed = Path(f"{self.told}.failed")
        assert not failed.exists(), failed.read_text()

    def lines(self) -> list[dict[str, Any]]:
        """What was told, without a last line that the kill cut off."""
        return [json.loads(line) for line in self.told.read_text().splitlines(keepends=True) if line.endswith("\n")]

    def store(self) -> Store:
        return Store(self.folder, database_url=self.url, limits=LIMITS)


@pytest.fixture
def killed(tmp_path: Path, database_url: str | None) -> Iterator[Killed]:
    command = [sys.executable, "-m", "tests.service.store.kill_worker"]
    with subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as program:
        yield Killed(tmp_path, database_url, program)
        assert program.stdin
        program.stdin.close()


def check(store: Store, told: list[dict[str, Any]]) -> int:
    """Everything told is there, unless its piece was deleted since; count of things looked at."""
    gone = {line["deleted"] for line in told if "deleted" in line}
    unsure = {line["deleting"] for line in told if "deleting" in line} - gone
    here = {piece.id for piece in store.pieces.find(limit=1000)}
    assert not gone & here, "what was deleted never shows again"
    seen = 0
    answers = {piece: {a.id: a.body for a in store.answers.history(piece)} for piece in here}
    lines = {event.id for event in store.ledger.lines()}
    for line in told:
        piece = line.get("of", line.get("piece"))
        if piece is None or piece in gone or (piece in unsure and piece not in here):
            continue
        seen += 1
        assert piece in here, line
        if "photo" in line:
            assert store.photos.get(line["photo"]).sha256 == line["sha256"] and store.photos.data(line["photo"])
        elif "answer" in line:
            assert answers[piece][line["answer"]] == line["body"]
        elif "line" in line:
            assert line["line"] in lines
        elif "job" in line:
            assert store.jobs.get(line["job"])
        elif "done" in line:
            assert store.jobs.get(line["done"]).state == "done" and store.papers.get(line["paper"]).text
    return seen


def check_files(store: Store) -> None:
    """Every row has its file, every file its row."""
    columns = {"photos": PhotoRow.kept, "originals": PhotoRow.original, "derived": DerivedRow.kept}
    with store.database.read() as session:
        for kind, column in columns.items():
            assert set(store.folder.all(kind)) == set(session.scalars(select(column).where(column.is_not(None)))), kind
    assert not list((store.folder.root / "incoming").iterdir())


def test_twenty_kills(killed: Killed, database_url):
    kills, seen = 20 if database_url is None else 6, 0
    for seed in range(1, kills + 1):
        killed.run_and_kill(seed)
        with killed.store() as store:
            seen = max(seen, check(store, killed.lines()))
            check_files(store)
            if database_url is None:
                assert store.jobs.counts().get("running", 0) == 0, "no job waits for a worker that is dead"
    assert len(killed.lines()) > 4 * kills and seen > kills, "the program did get to work"
    with killed.store() as store:
        while (job := store.jobs.take("last")) is not None:
            store.jobs.finish(job.id, "last", '{"schema": "1.3"}')
        for piece in store.pieces.find(limit=1000):
            for job in store.jobs.of_piece(piece.id):
                held_elsewhere = database_url is not None and job.state == "running"  # until its lease runs out
                assert job.state in ENDED or held_elsewhere
                assert job.state != "failed" or (job.cause and job.remedy)
        check(store, killed.lines())

"""Thirty kills at random moments under load: python -m benchmarks serve_kills

Four clients add photos, answers and assessments without a pause while the service, or one of its workers, is killed again and
again. In the end every photo and answer that was accepted must be there, and every job must have ended.
"""

from __future__ import annotations

import os
import random
import signal
import tempfile
import threading
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx

from benchmarks.rows import Row, use_two_cores
from benchmarks.serve_load import Service, photos, until
from service.gate.ask import OPEN
from service.gate.standing import gate

QUESTIONS = gate().rules.questions
KILLS, CLIENTS, PIECES = 30, 4, 6


@dataclass
class Accepted:
    """What the service said that it keeps. `last`: (piece, question) -> answers that may count: the last one accepted and those
    sent after it without hearing back."""

    photos: list[tuple[str, str]] = field(default_factory=list)
    notes: list[tuple[str, str]] = field(default_factory=list)
    last: dict[tuple[str, str], list[str]] = field(default_factory=dict)
    jobs: list[str] = field(default_factory=list)
    given: int = 0


def _client(address: str, pieces: list[str], made: list[bytes], over: threading.Event, told: Accepted, seed: int) -> None:
    """Adds without a pause until the service is gone."""
    rng = random.Random(seed)
    with httpx.Client(base_url=address + "/api/v1", timeout=60) as client:
        while not over.is_set():
            piece, act = rng.choice(pieces), rng.random()
            at = f"/pieces/{piece}"
            try:
                if act < 0.45:
                    answer = client.post(at + "/photos", files={"photo": rng.choice(made)})
                    if answer.status_code == 201:
                        told.photos.append((piece, answer.json()["id"]))
                elif act < 0.7:
                    text = f"note {rng.random()}"
                    if client.post(at + "/ledger", json={"kind": "note", "text": text}).status_code == 201:
                        told.notes.append((piece, text))
                elif act < 0.97:
                    question = QUESTIONS[seed]  # each client has its own, so that it knows which answer came last
                    answer_key = rng.choice([*(a.key for a in question.answers), *OPEN])
                    told.last.setdefault((piece, question.key), []).append(answer_key)
                    given: dict[str, Any] = {"answers": [{"key": f"gate/{question.key}", "answer": answer_key}]}
                    if client.put(at + "/answers", json=given).status_code == 200:
                        told.last[piece, question.key] = [answer_key]
                        told.given += 1
                else:
                    answer = client.post(at + "/assessments", json={"details": False})
                    if answer.status_code == 202:
                        told.jobs.append(answer.json()["id"])
            except httpx.TransportError:
                return


def _lost(address: str, told: Accepted) -> tuple[int, int, int, int]:
    """(photos, lines, answers, jobs) that are not as they were accepted."""
    with httpx.Client(base_url=address + "/api/v1", timeout=120) as client:
        bad_photos = sum(client.get(f"/pieces/{p}/photos/{i}/picture").status_code != 200 for p, i in set(told.photos))
        lines = {(e["piece"], e.get("text")) for e in client.get("/ledger").json()["events"]}
        bad_notes = len(set(told.notes) - lines)
        gates = {p: client.get(f"/pieces/{p}/answers").json()["answers"]["gate"] for p in {p for p, _ in told.last}}
        bad_answers = sum(gates[p].get(q) not in texts for (p, q), texts in told.last.items())
        states: dict[str, str] = {}

        def ended() -> bool:
            states.update({j: client.get(f"/jobs/{j}").json().get("state", "gone") for j in set(told.jobs)})
            return all(s in ("done", "failed", "cancelled", "gone") for s in states.values())

        with suppress(TimeoutError):
            until(ended, 600)
        return bad_photos, bad_notes, bad_answers, sum(s in ("queued", "running", "gone") for s in states.values())


def rows() -> list[Row]:
    """What was lost."""
    use_two_cores()
    made, told, rng = photos(20, 1200, 900), Accepted(), random.Random(1)
    pieces: list[str] = []
    with tempfile.TemporaryDirectory() as name:
        for kill in range(KILLS):
            with Service(Path(name)) as service:
                while len(pieces) < PIECES:
                    pieces.append(httpx.post(service.address + "/api/v1/pieces", json={}).json()["id"])
                over = threading.Event()
                clients = [threading.Thread(target=_client, args=(service.address, pieces, made, over, told, n))
                           for n in range(CLIENTS)]  # fmt: skip
                for one in clients:
                    one.start()
                over.wait(rng.uniform(0.1, 3.0))
                if kill % 3 == 2 and service.workers:
                    os.kill(rng.choice(service.workers), signal.SIGKILL)
                    over.wait(rng.uniform(0.1, 1.5))
                service.kill()
                over.set()
                for one in clients:
                    one.join()
        with Service(Path(name)) as service:
            lost = _lost(service.address, told)
    return [
        Row(f"kills: of {len(set(told.photos))} photos accepted through {KILLS} kills, lost", lost[0], "photos", 0),
        Row(f"kills: of {len(told.notes)} lines of the ledger, lost", lost[1], "lines", 0),
        Row(f"kills: of {told.given} answers, questions that lost their last one", lost[2], "answers", 0),
        Row(f"kills: of {len(set(told.jobs))} jobs, lost or never ended", lost[3], "jobs", 0),
    ]  # fmt: skip


if __name__ == "__main__":
    print(*rows(), sep="\n")

"""A program that works on a store until it is killed, telling each thing that was accepted; run by test_kill.

Standard input has one JSON order a line ({"folder", "url", "told", "seed"}). Each order forks a child that does the work, so
that a kill costs no new interpreter; its process id is printed. An empty line waits for its death. The file `told` has a JSON
line for each thing accepted, written after it was.
"""

from __future__ import annotations

import json
import os
import random
import sys
from pathlib import Path
from typing import Any

import vision.intake.decode
from service.store import JobLost, Store
from service.store.incoming import sha256
from tests.service.store.store_made import LIMITS, photo_bytes

assert vision.intake.decode


def work(order: dict[str, Any]) -> None:
    """Adds, answers, begins jobs, finishes and deletes, in an order drawn from the seed, for ever."""
    handle = os.open(order["told"], os.O_WRONLY | os.O_APPEND | os.O_CREAT)

    def tell(**what: Any) -> None:
        os.write(handle, (json.dumps(what) + "\n").encode())

    rng = random.Random(order["seed"])
    worker = f"w{order['seed']}"
    with Store(Path(order["folder"]), database_url=order["url"], limits=LIMITS) as store:
        tell(opened=order["seed"])
        while True:
            pieces = [p.id for p in store.pieces.find()]
            act = rng.choice(["photo", "photo", "photo", "answer", "line", "job", "work", "work", "delete"])
            if not pieces or (act == "photo" and rng.random() < 0.2 and len(pieces) < 6):
                pieces = [store.pieces.create("piece").id]
                tell(piece=pieces[0])
            piece = rng.choice(pieces)
            if act == "photo":
                sent = photo_bytes(rng.randrange(400), "PNG")
                photo = store.photos.add(piece, sent, keep_original=rng.random() < 0.3)
                tell(photo=photo.id, of=piece, sha256=sha256(sent))
            elif act == "answer":
                body = rng.randrange(10**6)
                tell(answer=store.answers.give(piece, "hand", f"q{rng.randrange(5)}", body).id, of=piece, body=body)
            elif act == "line":
                tell(line=store.ledger.add(piece, "bought", {"price": 3}).id, of=piece)
            elif act == "job":
                tell(job=store.jobs.add(piece).id, of=piece)
            elif act == "work":
                work_on(store, worker, tell)
            elif len(pieces) > 3 and rng.random() < 0.5:
                tell(deleting=piece)
                store.pieces.delete(piece)
                tell(deleted=piece)


def work_on(store: Store, worker: str, tell: Any) -> None:
    """Takes a job and finishes it."""
    job = store.jobs.take(worker)
    if job is None:
        return
    try:
        for stage in range(8):
            store.jobs.beat(job.id, worker, f"stage {stage}", stage / 8)
        paper = store.jobs.finish(job.id, worker, json.dumps({"schema": "1.3", "model": {"id": "m"}, "pad": "x" * 3000}))
        tell(done=job.id, of=job.piece, paper=paper.id)
    except JobLost:
        pass


def main() -> None:
    """Reads orders until standard input ends."""
    child = 0
    for line in sys.stdin:
        if not line.strip():
            os.waitpid(child, 0)
            print("dead", flush=True)
            continue
        child = os.fork()
        if child == 0:
            try:
                work(json.loads(line))
            except BaseException as failure:
                Path(json.loads(line)["told"] + ".failed").write_text(repr(failure))
                raise
            finally:
                os._exit(1)
        print(child, flush=True)


if __name__ == "__main__":
    main()

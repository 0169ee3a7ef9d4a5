"""Does the jobs of a store: takes one, assesses its photos, keeps the document and the evidence pictures.

A worker is a process of its own (`python -m service.web.worker`), so that one that dies of memory or a kill takes nothing along:
its lease runs out and the job is begun anew. It stops when the program that started it is gone (its standard input ends).
"""

from __future__ import annotations

import json
import logging
import os
import secrets
import signal
import sys
import threading
from collections.abc import Callable
from contextlib import suppress

from service.engine import Engine
from service.store import JobLost, Store
from service.store.errors import NotThere, StoreBusy, StoreError
from service.store.types import Job
from service.web.assessing import NOTES, Assessed, assessed
from vision.errors import GrainassayError

log = logging.getLogger("grainassay.worker")
#: Where a worker's process finds the database URL: not on its command line, which everyone may read.
URL_VARIABLE = "GRAINASSAY_DATABASE_URL"
IDLE_S = 0.5


class Stopped(Exception):
    """The work is not wanted any more."""


class Beat(threading.Thread):
    """Signs of life of one job, in a thread of its own, since a stage may take longer than the lease."""

    def __init__(self, store: Store, job: str, worker: str, lease_s: float) -> None:
        super().__init__(daemon=True, name="beat")
        self._store, self._job, self._worker, self._lease_s = store, job, worker, lease_s
        self._said, self._now = ("", 0.0), ("Starting", 0.0)
        self._over = threading.Event()
        self.lost = False

    def tell(self, stage: str, share: float) -> None:
        """What is being done; raises Stopped when the job is lost or cancelled."""
        if self.lost:
            raise Stopped
        self._now = (stage[:1].upper() + stage[1:], share)

    def end(self) -> None:
        """No further signs."""
        self._over.set()
        self.join()

    def run(self) -> None:
        """Tells what is new every half second, and that the worker lives every quarter of the lease."""
        step = min(0.5, self._lease_s / 4)
        since = self._lease_s
        while True:
            now, since = self._now, since + step
            # A cancelled job is noticed at the next sign, so one goes out at least every second.
            if now != self._said or since >= min(1.0, self._lease_s / 4):
                try:
                    self._store.jobs.beat(self._job, self._worker, now[0], now[1], lease_s=self._lease_s)
                    self._said, since = now, 0.0
                except JobLost:
                    self.lost = True
                    return
                except StoreError as err:  # busy or full: the lease has room for another try
                    log.warning("no sign of life could be given: %s", err)
            if self._over.wait(step):
                return


class Worker:
    """`stop`: tells whether to stop; the job at hand is put back then. One at a time in a process."""

    def __init__(
        self, store: Store, engine: Engine, *, name: str | None = None, lease_s: float = 20.0,
        stop: Callable[[], bool] = lambda: False,
    ) -> None:
        self.store, self.engine, self.name, self.lease_s = store, engine, name or f"w{secrets.token_hex(8)}", lease_s
        self._stop = stop

    def one(self) -> Job | None:
        """Takes a job and does it; the job as it was taken, None when nothing waits."""
        job = self.store.jobs.take(self.name, lease_s=self.lease_s)
        if job is None:
            return None
        beat = Beat(self.store, job.id, self.name, self.lease_s)
        beat.start()

        def progress(stage: str, share: float) -> None:
            beat.tell(stage, share)
            if self._stop():
                raise Stopped

        try:
            found = assessed(self.store, self.engine, job, progress)
            progress("Keeping what was found", 0.97)
            self._keep(job, found)
        except Stopped:
            with suppress(StoreError):  # cancelled, or taken over: nothing is left to say
                self.store.jobs.release(job.id, self.name)
        except StoreBusy as err:  # the lease runs out, and the job is begun anew
            log.warning("what was found could not be kept: %s", err)
        except GrainassayError as err:
            self._give_up(job, err.cause, err.remedy)
        except MemoryError:
            self._give_up(job, "The memory of this machine ran out.", "Use fewer or smaller photos at a time.")
        except Exception:
            log.exception("the work failed")
            self._give_up(job, "Something in the program failed that should not have.",
                          "Try again; if it stays so, run: grainassay doctor")
        finally:
            beat.end()
        return job

    def _keep(self, job: Job, found: Assessed) -> None:
        for key, (photo, jpeg) in found.pictures.items():
            with suppress(NotThere):  # deleted meanwhile; where that is the piece, the job is lost below
                self.store.derived.put(job.piece, "evidence", key, jpeg, "image/jpeg", photo=photo)
        with suppress(NotThere):
            self.store.derived.put(job.piece, NOTES, NOTES, json.dumps(found.notes).encode(), "application/json")
        self.store.jobs.finish(job.id, self.name, found.text)

    def _give_up(self, job: Job, cause: str, remedy: str) -> None:
        # Where the store cannot be written, the lease runs out and the job is begun anew.
        with suppress(StoreError):
            self.store.jobs.fail(job.id, self.name, cause, remedy)

    def run(self, wait: Callable[[float], object]) -> None:
        """Jobs, one after the other, until it is told to stop; `wait`: sleeps so many seconds."""
        while not self._stop():
            try:
                if self.one() is None:
                    wait(IDLE_S)
            except StoreError as err:
                log.warning("no job could be taken: %s", err)
                wait(IDLE_S)


class Helper:
    """A worker in a thread of this program."""

    def __init__(self, store: Store, engine: Engine, lease_s: float) -> None:
        self._over = threading.Event()
        worker = Worker(store, engine, lease_s=lease_s, stop=self._over.is_set)
        self._thread = threading.Thread(target=worker.run, args=(self._over.wait,), daemon=True, name="worker")

    def start(self) -> None:
        """Begins."""
        self._thread.start()

    def stop(self) -> None:
        """Puts back what it was doing and ends."""
        self._over.set()
        self._thread.join(30)


def main(folder: str, lease_s: float, engine: Engine | None = None) -> None:
    """A worker's process: works until standard input ends. `engine`: None for the real one."""
    from service.engine import default_engine

    over = threading.Event()

    def watch() -> None:
        while os.read(0, 1024):
            pass
        over.set()
        over_at_last = threading.Timer(20, os._exit, (1,))  # a stage that takes too long; the lease gives the job back
        over_at_last.daemon = True
        over_at_last.start()

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is meant for the program that began it, which tells when to end
    with suppress(OSError):
        os.nice(10)  # pages come first
    threading.Thread(target=watch, daemon=True, name="watch").start()
    with Store(folder, database_url=os.environ.get(URL_VARIABLE) or None) as store:
        Worker(store, engine or default_engine(), lease_s=lease_s, stop=over.is_set).run(over.wait)


if __name__ == "__main__":
    logging.basicConfig(format="grainassay worker: %(message)s", level=logging.WARNING)
    main(sys.argv[1], float(sys.argv[2]))

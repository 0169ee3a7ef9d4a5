"""How a worker works on a job: it shows signs of life by itself while the work is silent, tells progress, and ends the job in
every case that leaves it alive. What kills it leaves the lease to run out."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from types import TracebackType

from service.store.errors import JobLost, Refused, StoreBusy, StoreError
from service.store.jobs import LEASE_S, Jobs
from service.store.types import Job
from vision.errors import GrainassayError

#: Told the stage (plain words) and the share done (0..1); raises JobLost when the work should stop.
Tell = Callable[[str, float], None]
#: Does the work of a job and gives its result, a JSON document.
Do = Callable[[Job, Tell], str]

#: Progress within a stage is written at most once in so many seconds.
_EVERY_S = 0.5
#: How often the end of a job is tried while the database is busy, with pauses that double from the first.
_TRIES, _PAUSE_S = 6, 0.2
_MISTAKE = "The program made a mistake while it worked on this."
_REPORT = "Try again; if it fails again, report it with the log of the program."
_log = logging.getLogger(__name__)


class Hold:
    """Holds a taken job: a thread renews the lease until the block ends, so that no stage can be too long for it."""

    def __init__(self, jobs: Jobs, job: Job, worker: str, *, lease_s: float = LEASE_S) -> None:
        self._jobs, self._job, self._worker, self._lease_s = jobs, job, worker, lease_s
        self._stage, self._share, self._written = "", 0.0, float("-inf")
        self._lost: JobLost | None = None
        self._over = threading.Event()
        self._one = threading.Lock()
        self._thread = threading.Thread(target=self._renew, name=f"hold-{job.id}", daemon=True)

    def __enter__(self) -> Hold:
        """Starts to renew the lease."""
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None) -> None:
        """Stops renewing; the job is not ended by this."""
        self._over.set()
        self._thread.join()

    def tell(self, stage: str, share: float) -> None:
        """Tells progress. Raises JobLost when the job was cancelled, deleted or taken over; a busy database is no reason to."""
        self.check()
        with self._one:
            new = stage != self._stage
            self._stage, self._share = stage, share
            if not new and time.monotonic() - self._written < _EVERY_S:
                return
        self._beat()
        self.check()

    def check(self) -> None:
        """Raises JobLost once the job is no longer this worker's."""
        if self._lost is not None:
            raise self._lost

    def _renew(self) -> None:
        while not self._over.wait(self._lease_s / 4) and self._lost is None:
            self._beat()

    def _beat(self) -> None:
        with self._one:
            stage, share, self._written = self._stage, self._share, time.monotonic()
        try:
            self._jobs.beat(self._job.id, self._worker, stage, share, lease_s=self._lease_s)
        except JobLost as lost:
            self._lost = lost
        except StoreError as failure:  # the lease lasts for some missed beats
            _log.warning("a sign of life was missed: %s", failure)


def work_one(
    jobs: Jobs, worker: str, do: Do, *, lease_s: float = LEASE_S, pause: Callable[[float], None] = time.sleep
) -> Job | None:
    """Takes the next job and works on it to its end; the job as taken, or None when nothing waits.

    A GrainassayError of the work fails the job with its cause and remedy; any other exception fails it too and is logged with
    its traceback. When the job is lost the work's result is dropped. Raises StoreError when the job could not be taken, or its
    end not be written; then its lease runs out and it is put back.
    """
    job = jobs.take(worker, lease_s=lease_s)
    if job is None:
        return None
    try:
        with Hold(jobs, job, worker, lease_s=lease_s) as hold:
            try:
                text = do(job, hold.tell)
                hold.check()
                end = _finishing(jobs, job, worker, text)
            except JobLost:
                raise
            except GrainassayError as failure:
                end = _failing(jobs, job, worker, f"{failure.subject}: {failure.cause}", failure.remedy)
            except MemoryError:
                end = _failing(jobs, job, worker, "There was not enough memory.", "Try fewer or smaller photos.")
            except Exception:
                _log.exception("job %s failed", job.id)
                end = _failing(jobs, job, worker, _MISTAKE, _REPORT)
            try:
                _patiently(end, pause)  # the lease is renewed meanwhile
            except Refused as refused:
                _log.error("job %s gave a result that cannot be kept: %s", job.id, refused.cause)
                _patiently(_failing(jobs, job, worker, _MISTAKE, _REPORT), pause)
    except JobLost as lost:
        _log.info("job %s: %s", job.id, lost.cause)
    return job


def _finishing(jobs: Jobs, job: Job, worker: str, text: str) -> Callable[[], object]:
    return lambda: jobs.finish(job.id, worker, text)


def _failing(jobs: Jobs, job: Job, worker: str, cause: str, remedy: str) -> Callable[[], object]:
    return lambda: jobs.fail(job.id, worker, cause[:1000], remedy[:1000])


def _patiently(end: Callable[[], object], pause: Callable[[float], None]) -> None:
    """Ends the job; a busy database costs no finished work."""
    for attempt in range(_TRIES):
        try:
            end()
            return
        except StoreBusy:
            if attempt == _TRIES - 1:
                raise
            pause(_PAUSE_S * 2**attempt)

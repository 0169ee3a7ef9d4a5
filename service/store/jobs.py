"""Jobs: work that survives a kill at any moment. A worker holds a job by a lease that it renews; when the lease runs out the job
goes back to the queue, and after too many attempts it fails with a cause. It is never stuck and never lost.

    queued -> running -> done | failed | cancelled
       ^         |
       +---------+  lease ran out, attempts left
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from service.store.errors import JobLost, not_there
from service.store.ground import Ground
from service.store.papers import Papers
from service.store.tables import JobRow
from service.store.texts import clean, from_text, is_id, key, name, new_id, to_text
from service.store.types import Job, StoredPaper

#: How often work is begun before it is given up.
ATTEMPTS = 3
#: Seconds a worker may be silent.
LEASE_S = 60.0
_TEXT = 2000


class Jobs:
    """The jobs of a store."""

    def __init__(self, ground: Ground, papers: Papers) -> None:
        self._ground = ground
        self._papers = papers

    def add(
        self, piece: str, kind: str = "assess", request: Any = None, *, attempts: int = ATTEMPTS, client_key: str | None = None
    ) -> Job:
        """Queues a job (`request`: plain JSON for the worker). Raises NotThere, Refused."""
        key(kind, "kind of job")
        text = to_text(request, self._ground.limits.json_bytes, "request")
        if attempts < 1:
            raise ValueError("a job is begun at least once")
        with self._ground.database.write() as session:
            now = self._ground.touch(session, piece)
            row = self._ground.said_before(session, JobRow, piece, client_key)
            if row is None:
                row = JobRow(
                    id=new_id(), piece=piece, kind=kind, request=text, state="queued", stage="", progress=0.0, attempts=0,
                    max_attempts=attempts, cancel_asked=False, cause="", remedy="", created=now, changed=now,
                    client_key=client_key,
                )  # fmt: skip
                session.add(row)
                session.flush()
            return _job(row)

    def get(self, job: str) -> Job:
        """Raises NotThere."""
        with self._ground.database.read() as session:
            return _job(_row(session, job))

    def of_piece(self, piece: str) -> tuple[Job, ...]:
        """The piece's jobs, newest first. Raises NotThere."""
        with self._ground.database.read() as session:
            self._ground.piece(session, piece)
            rows = session.scalars(select(JobRow).where(JobRow.piece == piece).order_by(JobRow.number.desc()))
            return tuple(_job(row) for row in rows)

    def ahead(self, job: str) -> int:
        """How many queued jobs come before this one. Raises NotThere."""
        with self._ground.database.read() as session:
            earlier = (JobRow.state == "queued", JobRow.number < _row(session, job).number)
            return int(session.scalar(select(func.count()).where(*earlier)) or 0)

    def take(self, worker: str, *, lease_s: float = LEASE_S) -> Job | None:
        """The longest-waiting job, now running and held by `worker` for `lease_s` seconds; None when nothing waits. Jobs whose
        lease ran out are put back first."""
        name(worker, "worker")
        with self._ground.database.write() as session:
            now = self._ground.clock()
            _put_back(session, now, JobRow.lease < now)
            row = session.scalars(select(JobRow).where(JobRow.state == "queued").order_by(JobRow.number).limit(1)).first()
            if row is None:
                return None
            row.state, row.stage, row.progress, row.attempts = "running", "", 0.0, row.attempts + 1
            row.worker, row.lease, row.changed = worker, now + timedelta(seconds=lease_s), now
            return _job(row)

    def beat(self, job: str, worker: str, stage: str, progress: float, *, lease_s: float = LEASE_S) -> Job:
        """A worker's sign of life: renews the lease, tells the stage (plain words) and the share done (0..1).

        Raises JobLost when the worker should stop: cancelled, deleted, or taken over. A worker that died of a kill needs no
        call: its lease runs out.
        """
        with self._ground.database.write() as session:
            row, now = self._held(session, job, worker), self._ground.clock()
            if row.cancel_asked:
                _end(row, "cancelled", now)
            else:
                row.stage, row.progress = clean(stage, _TEXT, "stage"), min(1.0, max(0.0, float(progress)))
                row.lease, row.changed = now + timedelta(seconds=lease_s), now
            left = _job(row)
        if left.state == "cancelled":
            raise _lost("It was cancelled.")
        return left

    def finish(self, job: str, worker: str, text: str, *, kind: str = "assessment") -> StoredPaper:
        """Keeps the result (a JSON document) and ends the job, both or neither. Raises JobLost as `beat` does, Refused."""
        with self._ground.database.write() as session:
            row, now = self._held(session, job, worker), self._ground.clock()
            paper = self._papers.write(session, row.piece, kind, text)
            row.assessment, row.progress = paper.id, 1.0
            _end(row, "done", now)
            self._ground.touch(session, row.piece)
        return paper

    def fail(self, job: str, worker: str, cause: str, remedy: str) -> Job:
        """Ends the job with the reason; trying again would meet the same. Raises JobLost."""
        with self._ground.database.write() as session:
            row, now = self._held(session, job, worker), self._ground.clock()
            row.cause = clean(cause, _TEXT, "cause") or "The work failed."
            row.remedy = clean(remedy, _TEXT, "remedy") or "Try again."
            _end(row, "failed", now)
            return _job(row)

    def release(self, job: str, worker: str) -> Job:
        """Puts the job back unfinished, for a worker that is told to stop; the attempt does not count. Raises JobLost."""
        with self._ground.database.write() as session:
            row, now = self._held(session, job, worker), self._ground.clock()
            row.attempts -= 1
            if row.cancel_asked:
                _end(row, "cancelled", now)
            else:
                _back(row, now)
            return _job(row)

    def cancel(self, job: str) -> Job:
        """Stops a job: at once while it waits, at the worker's next sign of life while it runs; no effect once ended."""
        with self._ground.database.write() as session:
            row, now = _row(session, job), self._ground.clock()
            if row.state == "queued":
                _end(row, "cancelled", now)
            elif row.state == "running":
                row.cancel_asked, row.changed = True, now
            return _job(row)

    def put_back(self, *, everything: bool = False) -> int:
        """Puts jobs back whose lease ran out, or fails them after their last attempt; count of jobs. `everything`: running ones
        too, at a start where no other program can be at work."""
        with self._ground.database.write() as session:
            now = self._ground.clock()
            return _put_back(session, now, None if everything else JobRow.lease < now)

    def counts(self) -> dict[str, int]:
        """How many jobs are in each state that occurs."""
        with self._ground.database.read() as session:
            return {state: int(n) for state, n in session.execute(select(JobRow.state, func.count()).group_by(JobRow.state))}

    def _held(self, session: Session, job: str, worker: str) -> JobRow:
        row = session.scalars(select(JobRow).where(JobRow.id == job)).first()
        if row is None:
            raise _lost("Its piece was deleted.")
        if row.state != "running" or row.worker != worker:
            raise _lost("It ended, or its lease ran out and the work was begun anew.")
        return row


def _put_back(session: Session, now: datetime, which: Any) -> int:
    query = select(JobRow).where(JobRow.state == "running").order_by(JobRow.number)
    if which is not None:
        query = query.where(or_(which, JobRow.lease.is_(None)))
    rows = session.scalars(query).all()
    for row in rows:
        if row.cancel_asked:
            _end(row, "cancelled", now)
        elif row.attempts >= row.max_attempts:
            times = "once" if row.attempts == 1 else f"{row.attempts} times"
            row.cause = f"The program was stopped {times} while it worked on this."
            row.remedy = "Start it again; if that fails too, try fewer or smaller photos (memory may have run out)."
            _end(row, "failed", now)
        else:
            _back(row, now)
    session.flush()
    return len(rows)


def _back(row: JobRow, now: datetime) -> None:
    row.state, row.stage, row.progress, row.worker, row.lease, row.changed = "queued", "", 0.0, None, None, now


def _end(row: JobRow, state: str, now: datetime) -> None:
    row.state, row.worker, row.lease, row.changed = state, None, None, now


def _row(session: Session, job: str) -> JobRow:
    row = session.scalars(select(JobRow).where(JobRow.id == job)).first() if is_id(job) else None
    if row is None:
        raise not_there("job")
    return row


def _lost(cause: str) -> JobLost:
    return JobLost("The job", f"{cause} This worker's result is not kept.", "Take the next job.")


def _job(row: JobRow) -> Job:
    return Job(
        row.id, row.piece, row.kind, from_text(row.request, "request"), row.state, row.stage, row.progress, row.attempts,
        row.created, row.changed, row.cancel_asked, row.cause, row.remedy, row.assessment,
    )  # fmt: skip

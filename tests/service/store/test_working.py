"""A worker ends its job in every case that leaves it alive, and keeps it while the work is silent."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from service.store import Store, StoreBusy, working
from service.store.jobs import Jobs
from service.store.working import Hold, work_one
from tests.service.store.store_made import LIMITS
from vision.errors import PhotoError

RESULT = '{"schema": "1.3", "model": {"id": "m"}}'


@pytest.fixture
def real(tmp_path: Path):
    """A store with the real clock: leases run against it here."""
    with Store(tmp_path / "kept", limits=LIMITS) as store:
        yield store


@pytest.fixture
def piece(real: Store) -> str:
    return real.pieces.create().id


def test_work_is_done_and_told(real: Store, piece):
    job = real.jobs.add(piece, request={"photos": ["a"]})
    told = []

    def do(job, tell):
        assert job.request == {"photos": ["a"]}
        tell("finding panels", 0.25)
        told.append(real.jobs.get(job.id))
        tell("finding panels", 0.26)
        told.append(real.jobs.get(job.id))
        tell("weighing", 0.5)
        told.append(real.jobs.get(job.id))
        return RESULT

    assert work_one(real.jobs, "w", do) is not None and work_one(real.jobs, "w", do) is None
    assert [(j.stage, j.progress) for j in told] == [("finding panels", 0.25), ("finding panels", 0.25), ("weighing", 0.5)]
    done = real.jobs.get(job.id)
    assert done.state == "done" and real.papers.get(str(done.assessment)).text == RESULT


def test_failures_of_the_work_are_told_with_cause_and_remedy(real: Store, piece, caplog):
    def raises(failure: Exception):
        def do(_job, _tell):
            raise failure

        return do

    cases = {
        PhotoError("Photo 2", "It is dark.", "Use more light."): ("Photo 2: It is dark.", "Use more light."),
        MemoryError(): ("There was not enough memory.", "Try fewer or smaller photos."),
        ZeroDivisionError("secret detail"): ("The program made a mistake while it worked on this.", "Try again; "),
    }
    for failure, (cause, remedy) in cases.items():
        job = real.jobs.add(piece)
        work_one(real.jobs, "w", raises(failure))
        ended = real.jobs.get(job.id)
        assert (ended.state, ended.cause) == ("failed", cause) and ended.remedy.startswith(remedy)
    assert "secret detail" in caplog.text


def test_a_result_that_is_no_document_fails_the_job(real: Store, piece):
    job = real.jobs.add(piece)
    work_one(real.jobs, "w", lambda job, tell: "nonsense")
    failed = real.jobs.get(job.id)
    assert (failed.state, failed.cause) == ("failed", "The program made a mistake while it worked on this.")
    assert real.papers.of_piece(piece, "assessment") == ()


def test_a_cancelled_job_stops_at_the_next_word(real: Store, piece):
    job, reached = real.jobs.add(piece), []

    def do(job, tell):
        tell("one", 0.1)
        real.jobs.cancel(job.id)
        tell("two", 0.2)
        reached.append("three")
        return RESULT

    work_one(real.jobs, "w", do)
    assert real.jobs.get(job.id).state == "cancelled" and not reached
    assert real.papers.of_piece(piece, "assessment") == ()


def test_a_piece_deleted_meanwhile(real: Store, piece):
    real.jobs.add(piece)

    def do(_job, _tell):
        real.pieces.delete(piece)
        return RESULT

    assert work_one(real.jobs, "w", do) is not None
    assert real.jobs.counts() == {}


def test_silent_work_keeps_its_lease(real: Store, piece):
    job = real.jobs.add(piece)
    taken = real.jobs.take("w", lease_s=0.2)
    assert taken is not None
    beaten = threading.Event()
    count = [0]
    real_beat = real.jobs.beat

    class Counted(Jobs):
        def __init__(self) -> None: ...

        def beat(self, *arguments, **more):
            count[0] += 1
            if count[0] == 5:
                beaten.set()
            return real_beat(*arguments, **more)

    with Hold(Counted(), taken, "w", lease_s=0.4) as hold:
        assert beaten.wait(30), "five beats cover more than one lease"
        hold.check()
    assert real.jobs.get(job.id).state == "running"


def test_a_busy_database_costs_no_finished_work(real: Store, piece, monkeypatch):
    job, pauses, fails = real.jobs.add(piece), [], [3]
    finish = real.jobs.finish

    def busy(*arguments, **more):
        if fails[0]:
            fails[0] -= 1
            raise StoreBusy("the database", "It is locked.", "Try again.")
        return finish(*arguments, **more)

    monkeypatch.setattr(real.jobs, "finish", busy)
    work_one(real.jobs, "w", lambda job, tell: RESULT, pause=pauses.append)
    assert real.jobs.get(job.id).state == "done" and pauses == [0.2, 0.4, 0.8]
    fails[0] = working._TRIES
    real.jobs.add(piece)
    with pytest.raises(StoreBusy):
        work_one(real.jobs, "w", lambda job, tell: RESULT, pause=pauses.append)

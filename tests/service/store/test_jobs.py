"""Jobs: one worker each, renewed by signs of life, put back when a worker dies, given up with a cause, never stuck."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule, run_state_machine_as_test

from service.store import JobLost, NotThere, Refused, Store
from service.store.types import ENDED
from tests.service.store.store_made import LIMITS, HandClock

RESULT = json.dumps({"schema": "1.3", "model": {"id": "m"}})


@pytest.fixture
def piece(store: Store) -> str:
    return store.pieces.create("piece").id


def test_a_job_runs_from_queue_to_result(store: Store, piece):
    job = store.jobs.add(piece, request={"photos": [1, 2]})
    assert (job.state, job.attempts, job.request) == ("queued", 0, {"photos": [1, 2]})
    taken = store.jobs.take("w1")
    assert taken is not None and (taken.id, taken.state, taken.attempts) == (job.id, "running", 1)
    assert store.jobs.take("w2") is None
    told = store.jobs.beat(job.id, "w1", "finding panels", 0.4)
    assert store.jobs.get(job.id) == told and (told.stage, told.progress) == ("finding panels", 0.4)
    paper = store.jobs.finish(job.id, "w1", RESULT)
    done = store.jobs.get(job.id)
    assert (done.state, done.progress, done.assessment) == ("done", 1.0, paper.id) and done.ended
    assert store.papers.latest(piece, "assessment") == paper and store.jobs.counts() == {"done": 1}


def test_the_longest_waiting_comes_first(store: Store, piece):
    jobs = [store.jobs.add(piece) for _ in range(3)]
    assert [store.jobs.ahead(j.id) for j in jobs] == [0, 1, 2]
    assert [j.id for j in (store.jobs.take("w"), store.jobs.take("w"), store.jobs.take("w")) if j] == [j.id for j in jobs]
    assert [j.id for j in store.jobs.of_piece(piece)] == [j.id for j in reversed(jobs)]


def test_two_workers_never_hold_the_same_job(store: Store, piece):
    for _ in range(12):
        store.jobs.add(piece)
    with ThreadPoolExecutor(8) as pool:
        taken = [job for job in pool.map(lambda n: store.jobs.take(f"w{n}"), range(16)) if job]
    assert len(taken) == len({job.id for job in taken}) == 12


def test_a_dead_workers_job_goes_back_and_is_given_up_in_the_end(store: Store, piece, clock):
    job = store.jobs.add(piece, attempts=2)
    for attempt in (1, 2):
        taken = store.jobs.take(f"w{attempt}", lease_s=30)
        assert taken is not None and taken.attempts == attempt
        store.jobs.beat(job.id, f"w{attempt}", "stage", 0.5, lease_s=30)
        clock.turn(29)
        assert store.jobs.put_back() == 0 and store.jobs.take("other") is None
        clock.turn(2)
    assert store.jobs.take("w3") is None
    failed = store.jobs.get(job.id)
    assert failed.state == "failed" and failed.ended and "stopped 2 times" in failed.cause and failed.remedy
    for late in ("w1", "w2"):
        with pytest.raises(JobLost):
            store.jobs.beat(job.id, late, "stage", 0.6)
        with pytest.raises(JobLost):
            store.jobs.finish(job.id, late, RESULT)
    assert store.papers.of_piece(piece, "assessment") == ()


def test_signs_of_life_keep_a_long_job(store: Store, piece, clock):
    job = store.jobs.add(piece)
    store.jobs.take("w", lease_s=30)
    for _ in range(10):
        clock.turn(20)
        store.jobs.beat(job.id, "w", "slow", 0.1, lease_s=30)
    assert store.jobs.take("other") is None and store.jobs.finish(job.id, "w", RESULT)


def test_a_slow_worker_cannot_overwrite_the_one_that_took_over(store: Store, piece, clock):
    job = store.jobs.add(piece)
    store.jobs.take("slow", lease_s=10)
    clock.turn(11)
    again = store.jobs.take("quick", lease_s=10)
    assert again is not None and again.id == job.id and again.attempts == 2
    with pytest.raises(JobLost, match="begun anew"):
        store.jobs.finish(job.id, "slow", RESULT)
    paper = store.jobs.finish(job.id, "quick", RESULT)
    assert [p.id for p in store.papers.of_piece(piece, "assessment")] == [paper.id]


def test_cancelling(store: Store, piece, clock):
    waiting, running, dying = (store.jobs.add(piece) for _ in range(3))
    assert store.jobs.cancel(waiting.id).state == "cancelled"
    store.jobs.take("w")
    asked = store.jobs.cancel(running.id)
    assert asked.state == "running" and asked.cancel_asked
    with pytest.raises(JobLost, match="cancelled"):
        store.jobs.beat(running.id, "w", "stage", 0.5)
    assert store.jobs.get(running.id).state == "cancelled"
    store.jobs.take("w", lease_s=5)
    store.jobs.cancel(dying.id)
    clock.turn(6)
    assert store.jobs.put_back() == 1 and store.jobs.get(dying.id).state == "cancelled"
    assert store.jobs.cancel(dying.id).state == "cancelled"


def test_failing_and_letting_go(store: Store, piece):
    job = store.jobs.add(piece, attempts=1)
    store.jobs.take("w")
    back = store.jobs.release(job.id, "w")
    assert (back.state, back.attempts) == ("queued", 0)
    store.jobs.take("w")
    failed = store.jobs.fail(job.id, "w", "No photo could be used.", "Take another one.")
    assert (failed.state, failed.cause, failed.remedy) == ("failed", "No photo could be used.", "Take another one.")
    with pytest.raises(JobLost):
        store.jobs.fail(job.id, "w", "x", "y")


def test_a_deleted_piece_takes_its_jobs_along(store: Store, piece):
    job = store.jobs.add(piece)
    store.jobs.take("w")
    store.pieces.delete(piece)
    for call in (lambda: store.jobs.beat(job.id, "w", "s", 0.1), lambda: store.jobs.finish(job.id, "w", RESULT)):
        with pytest.raises(JobLost, match="deleted"):
            call()
    with pytest.raises(NotThere):
        store.jobs.get(job.id)
    assert store.jobs.take("w") is None


def test_a_result_that_is_no_document_is_refused_and_the_job_goes_on(store: Store, piece):
    job = store.jobs.add(piece)
    store.jobs.take("w")
    with pytest.raises(Refused):
        store.jobs.finish(job.id, "w", "not json")
    assert store.jobs.get(job.id).state == "running" and store.papers.of_piece(piece, "assessment") == ()


def test_reopening_puts_back_what_was_running(opened, database_url, clock):
    store = opened()
    job = store.jobs.add(store.pieces.create().id)
    store.jobs.take("w")
    beside = opened()
    assert not beside.first and store.jobs.get(job.id).state == "running", "another program at work here disturbs nothing"
    store.close(), beside.close()
    after = opened()
    # a server may have other programs elsewhere that still work on it: there only the lease tells
    assert after.first and after.jobs.get(job.id).state == ("queued" if database_url is None else "running")
    clock.turn(61)
    again = after.jobs.take("w")
    assert again is not None and again.id == job.id


class JobLife(RuleBasedStateMachine):
    """Any order of events: every job is waiting, held by a worker with a lease, or ended for good; none disappears."""

    folder = ""

    @initialize()
    def begin(self) -> None:
        import tempfile

        self.clock = HandClock()
        self.where = tempfile.TemporaryDirectory(dir=type(self).folder)
        self.store = Store(self.where.name, clock=self.clock, limits=LIMITS)
        self.piece = self.store.pieces.create().id
        self.jobs: list[str] = []
        self.ended: dict[str, str] = {}
        self.held: list[tuple[str, str]] = []

    @rule(attempts=st.integers(1, 3))
    def add(self, attempts: int) -> None:
        self.jobs.append(self.store.jobs.add(self.piece, attempts=attempts).id)

    @rule(worker=st.sampled_from(["a", "b"]))
    def take(self, worker: str) -> None:
        job = self.store.jobs.take(worker, lease_s=10)
        if job is not None:
            self.held.append((job.id, worker))

    @precondition(lambda self: self.held)
    @rule(data=st.data(), what=st.sampled_from(["beat", "finish", "fail", "release"]))
    def act(self, data: st.DataObject, what: str) -> None:
        job, worker = data.draw(st.sampled_from(self.held))
        jobs = self.store.jobs
        try:
            if what == "beat":
                jobs.beat(job, worker, "stage", 0.5, lease_s=10)
            elif what == "finish":
                jobs.finish(job, worker, RESULT)
            elif what == "fail":
                jobs.fail(job, worker, "cause", "remedy")
            else:
                jobs.release(job, worker)
        except JobLost:
            pass

    @precondition(lambda self: self.jobs)
    @rule(data=st.data())
    def cancel(self, data: st.DataObject) -> None:
        self.store.jobs.cancel(data.draw(st.sampled_from(self.jobs)))

    @rule(seconds=st.sampled_from([1.0, 6.0, 11.0]))
    def wait(self, seconds: float) -> None:
        self.clock.turn(seconds)

    @rule()
    def killed_and_restarted(self) -> None:
        self.store.close()
        self.store = Store(self.where.name, clock=self.clock, limits=LIMITS)
        assert self.store.jobs.counts().get("running", 0) == 0

    @invariant()
    def nothing_is_lost(self) -> None:
        if not hasattr(self, "store"):
            return
        now = {job.id: job for job in self.store.jobs.of_piece(self.piece)}
        assert set(now) == set(self.jobs)
        for id_, state in self.ended.items():
            assert now[id_].state == state, "what ended stays as it ended"
        self.ended = {id_: job.state for id_, job in now.items() if job.state in ENDED}
        done = [job.assessment for job in now.values() if job.state == "done"]
        assert sorted(map(str, done)) == sorted(p.id for p in self.store.papers.of_piece(self.piece, "assessment"))

    def teardown(self) -> None:
        if not hasattr(self, "store"):
            return
        for _ in range(4 * len(self.jobs) + 1):  # with time and a worker that always dies, everything ends
            self.clock.turn(11)
            self.store.jobs.take("dies", lease_s=10)
        self.clock.turn(11)
        self.store.jobs.put_back()
        assert all(job.ended for job in self.store.jobs.of_piece(self.piece))
        self.store.close()
        self.where.cleanup()


def test_no_order_of_events_loses_a_job(tmp_path):
    JobLife.folder = str(tmp_path)
    checks = settings(max_examples=10, stateful_step_count=12, deadline=None, derandomize=True,
                      suppress_health_check=list(HealthCheck))  # fmt: skip
    run_state_machine_as_test(JobLife, settings=checks)

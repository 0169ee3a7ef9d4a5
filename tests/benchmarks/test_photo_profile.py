"""The clock counts a stage's own time, also over threads, and leaves the program as it was."""

import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from benchmarks import photo_profile
from benchmarks.photo_profile import STAGES, Clock, place, table, watched


def test_a_stage_within_a_stage_counts_for_itself_alone(monkeypatch):
    now = [0.0]
    monkeypatch.setattr(photo_profile.time, "perf_counter", lambda: now[0])
    clock = Clock()

    def spend(amount):
        now[0] += amount

    inner = clock.timed("inner", lambda: spend(2.0))

    def outer():
        spend(1.0)
        inner()
        inner()
        spend(0.5)

    clock.timed("outer", outer)()
    assert clock.seconds == {"outer": pytest.approx(1.5), "inner": pytest.approx(4.0)}


def test_time_is_counted_when_a_stage_fails(monkeypatch):
    now = [0.0]
    monkeypatch.setattr(photo_profile.time, "perf_counter", lambda: now[0])
    clock = Clock()

    def fail():
        now[0] += 3.0
        raise ValueError("no")

    with pytest.raises(ValueError):
        clock.timed("failing", fail)()
    assert clock.seconds["failing"] == 3.0


def test_threads_do_not_count_each_other_as_inner():
    clock = Clock()
    work = clock.timed("sleep", lambda: time.sleep(0.05))
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(lambda _: work(), range(4)))
    assert clock.seconds["sleep"] >= 4 * 0.05


def test_every_stage_names_functions_that_are_there_and_puts_them_back():
    before = {(m, n): getattr(place(m), n) for places in STAGES.values() for m, n in places}
    with watched(Clock()):
        assert all(getattr(place(m), n) is not work for (m, n), work in before.items())
    assert all(getattr(place(m), n) is work for (m, n), work in before.items())


def test_the_table_adds_up_and_sorts():
    text = table({"a": 1.0, "b": 3.0, "c": 0.001, photo_profile.REST: 9.0}, 2.0)
    assert text.index("| b | 3.00 | 75% |") < text.index("| a | 1.00 | 25% |") < text.index("| c | 0.00 | 0% |")
    assert "9.0" not in text

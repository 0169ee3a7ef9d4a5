"""The calendar of work: one pair of hands, waits kept, order kept, nothing lost."""

from datetime import date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.plan.days import schedule
from service.plan.steps import steps_of
from service.plan.types import Step
from tests.service.plan.parts import subject
from vision.errors import UsageError

MONDAY = date(2026, 3, 2)
made_up = st.builds(
    lambda k, part, minutes, coats, between, wait: Step(f"s{k}", part, "Do", "So.", coats=coats, minutes=minutes,
                                                        between_hours=between, wait_hours=wait),
    st.integers(0, 10**9), st.sampled_from(["top", "side", "door"]), st.floats(0, 400), st.integers(0, 3), st.floats(0, 30),
    st.floats(0, 60),
)
some_steps = st.lists(made_up, max_size=7, unique_by=lambda s: s.key)
weeks = st.dictionaries(st.integers(0, 6), st.floats(0.5, 8), min_size=1)


def step(key="a", part="top", **more):
    return Step(key, part, "Do", "So.", **{"minutes": 60.0, **more})


def test_worked_by_hand():
    """Two parts, two hours a day from nine: while the top dries the side is worked on."""
    days = schedule([step(coats=1, wait_hours=2.0), step("b", minutes=30.0), step("c", "side", minutes=60.0)], MONDAY, hours=2)
    nine = datetime(2026, 3, 2, 9)
    assert [(b.step.key, b.begin, b.end) for b in days.bookings] == [
        ("a", nine, nine + timedelta(hours=1)), ("c", nine + timedelta(hours=1), nine + timedelta(hours=2)),
        ("b", nine + timedelta(days=1), nine + timedelta(days=1, minutes=30))]
    assert days.hours == 2.5 and days.done == nine + timedelta(days=1, minutes=30)


def test_a_coat_is_not_begun_where_it_would_not_be_finished():
    days = schedule([step(minutes=40.0), step("b", coats=1, minutes=40.0)], MONDAY, hours=1)
    assert [b.begin.day for b in days.bookings] == [2, 3] and not any(b.split for b in days.bookings)


def test_a_coat_that_no_day_is_long_enough_for_begins_a_longest_day_and_is_named():
    """An hour on Mondays, three on Saturdays, a coat of four: begun on Saturday at nine, gone on with at once on Monday."""
    long = step("b", coats=1, minutes=240.0)
    days = schedule([long, step("c", "side", minutes=300.0)], MONDAY, hours={0: 1, 5: 3})
    own = [b for b in days.bookings if b.step is long]
    assert [(b.begin, b.end) for b in own] == [(datetime(2026, 3, 7, 9), datetime(2026, 3, 7, 12)),
                                               (datetime(2026, 3, 9, 9), datetime(2026, 3, 9, 10))]
    assert days.cut == (long,) and all(b.split for b in own)


def test_coats_that_fit_are_never_cut():
    assert schedule([step(coats=3, minutes=300.0), step("b", minutes=500.0)], MONDAY, hours=2).cut == ()


def test_hardness_counts_from_the_last_coat():
    """Trade pages on oil-based polyurethane: full cure about 30 days."""
    coats = step(coats=2, product="oil_poly", between_hours=6.0, wait_hours=72.0)
    days = schedule([coats, step("b", "side", product="soap")], MONDAY)
    assert days.hard == {"top": days.bookings[-1].end + timedelta(days=30)} and days.hard["top"] > days.usable["top"]


def test_work_that_is_no_coat_goes_on_the_next_day():
    days = schedule([step(minutes=90.0)], MONDAY, hours=1)
    assert [(b.begin.day, b.split) for b in days.bookings] == [(2, True), (3, True)]


def test_nothing_is_done_on_days_without_hours():
    days = schedule([step(minutes=300.0)], MONDAY, hours={5: 3, 6: 3})
    assert {b.begin.weekday() for b in days.bookings} == {5, 6}


def test_parts_without_a_size_are_named_and_not_booked():
    days = schedule([step(minutes=None), step("b", "side")], MONDAY)
    assert [s.key for s in days.unknown] == ["a"] and [b.step.key for b in days.bookings] == ["b"]


@pytest.mark.parametrize("hours", [{}, 0.0, 20.0, -1.0, {0: 0.1}])
def test_hours_that_are_none_are_refused(hours):
    with pytest.raises(UsageError, match="hours"):
        schedule([step()], MONDAY, hours=hours)


def ends(days, s):
    """(begin, end) of each coat of a step, in order; one entry for a step without coats."""
    out = []
    for coat in range(1, s.coats + 1) if s.coats else (0,):
        own = [b for b in days.bookings if b.step is s and b.coat == coat]
        out.append((min(b.begin for b in own), max(b.end for b in own)))
    return out


@given(some_steps, weeks)
@settings(max_examples=60, deadline=None)
def test_one_pair_of_hands_and_all_waits_kept(steps, hours):
    days = schedule(steps, MONDAY, hours=hours)
    slack = timedelta(seconds=1)
    for a, b in zip(days.bookings, days.bookings[1:], strict=False):
        assert a.end <= b.begin + slack
    for b in days.bookings:
        opens = datetime.combine(b.begin.date(), datetime.min.time()) + timedelta(hours=9)
        assert b.begin >= opens and b.end <= opens + timedelta(hours=hours[b.begin.weekday()]) + slack
    for part in {s.part for s in steps}:
        earliest = datetime.combine(MONDAY, datetime.min.time())
        for s in (s for s in steps if s.part == part):
            spans = ends(days, s)
            for k, (begin, end) in enumerate(spans):
                assert begin >= earliest - slack
                earliest = end + timedelta(hours=s.wait_hours if k == len(spans) - 1 else s.between_hours)
        assert abs(days.usable[part] - earliest) <= slack
    for s in (s for s in steps if s.coats):
        for coat in range(1, s.coats + 1):
            own = [b for b in days.bookings if b.step is s and b.coat == coat]
            assert len(own) == 1 or s.minutes / s.coats > 60 * max(hours.values())
            assert all(b.split == (len(own) > 1) for b in own)
    assert days.hours == pytest.approx(sum(s.minutes for s in steps) / 60, abs=0.01)


def test_more_hours_never_end_later_for_one_part():
    steps = steps_of(subject("solid_wood"), "restain")
    done = [schedule(steps, MONDAY, hours=h).done for h in (1.0, 2.0, 4.0, 8.0)]
    assert done == sorted(done, reverse=True)

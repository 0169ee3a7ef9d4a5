"""The calendar file read back by its library, and held against RFC 5545."""

from datetime import UTC, date, datetime

from icalendar import Calendar

from service.plan.calendar_file import to_ical
from service.plan.days import schedule
from service.plan.steps import steps_of
from service.plan.types import Step
from tests.service.plan.parts import subject

MONDAY, STAMP = date(2026, 3, 2), datetime(2026, 3, 1, 12, tzinfo=UTC)
NAMES = {"top": "Top, café; side"}
STEPS = steps_of(subject("printed", cores=("particle_board",)), "paint")


def events(data):
    return Calendar.from_ical(data).walk("VEVENT")


def uids(days, **more):
    return [str(e["UID"]) for e in events(to_ical(days, NAMES, "Chest", stamp=STAMP, **more))]


def test_required_properties_once_each():
    """RFC 5545, 3.6: PRODID and VERSION of the calendar, each once; 3.6.1: UID and DTSTAMP of an event, each once, DTSTART where
    there is no METHOD; never both DTEND and DURATION. 3.8.7.2: DTSTAMP in UTC."""
    calendar = Calendar.from_ical(to_ical(schedule(STEPS, MONDAY), NAMES, "Chest", stamp=STAMP))
    assert calendar["VERSION"] == "2.0" and isinstance(calendar["PRODID"], str) and "METHOD" not in calendar
    for event in calendar.walk("VEVENT"):
        for name in ("UID", "DTSTAMP", "DTSTART", "SUMMARY"):
            assert name in event and not isinstance(event[name], list)
        assert event["DTSTAMP"].dt == STAMP and "DURATION" not in event
        assert "DTEND" not in event or event["DTEND"].dt > event["DTSTART"].dt
    assert not calendar.walk("VALARM")


def test_every_booking_comes_back():
    days = schedule(STEPS, MONDAY)
    found = events(to_ical(days, NAMES, "Chest", stamp=STAMP))
    whole = [(b.begin.replace(microsecond=0), b.end.replace(microsecond=0)) for b in days.bookings]
    assert [(e["DTSTART"].dt, e["DTEND"].dt) for e in found[:-1]] == whole
    assert str(found[0]["SUMMARY"]) == f"Top, café; side: {days.bookings[0].step.title}"
    assert days.bookings[0].step.how in str(found[0]["DESCRIPTION"])


def test_the_last_event_says_when_it_is_ready_and_when_hard():
    days = schedule(STEPS, MONDAY)
    last = events(to_ical(days, NAMES, "Chest", stamp=STAMP))[-1]
    assert last["DTSTART"].dt == days.usable["top"].replace(microsecond=0)
    assert str(last["TRANSP"]) == "TRANSPARENT" and "DTEND" not in last
    assert f"{days.hard['top']:%B %Y}" in str(last["DESCRIPTION"]) and "label" in str(last["DESCRIPTION"])


def test_times_are_floating():
    """RFC 5545, 3.3.5, form 1: a local time has neither Z nor TZID."""
    lines = to_ical(schedule(STEPS, MONDAY), NAMES, "Chest", stamp=STAMP).split(b"\r\n")
    times = [line for line in lines if line.startswith((b"DTSTART", b"DTEND"))]
    assert times and all(b"TZID" not in line and not line.endswith(b"Z") for line in times)


def test_lines_end_and_fold_as_they_must():
    """RFC 5545, 3.1: lines end in CRLF and hold at most 75 octets without it."""
    data = to_ical(schedule(STEPS, MONDAY), NAMES, "Chest", stamp=STAMP)
    assert data.endswith(b"END:VCALENDAR\r\n") and data.count(b"\n") == data.count(b"\r\n")
    assert all(len(line) <= 75 for line in data.split(b"\r\n"))


def test_the_same_work_gives_the_same_bytes():
    first, second = (to_ical(schedule(STEPS, MONDAY), NAMES, "Chest", stamp=STAMP) for _ in range(2))
    assert first == second and len(set(uids(schedule(STEPS, MONDAY)))) == len(uids(schedule(STEPS, MONDAY)))


def test_days_planned_anew_take_the_place_of_the_old_ones_of_a_named_piece():
    now, later = schedule(STEPS, MONDAY, hours=8), schedule(STEPS, date(2026, 4, 6), hours=8)
    assert uids(now, piece="chest-1") == uids(later, piece="chest-1")
    assert not set(uids(now, piece="chest-1")) & set(uids(now, piece="chest-2"))
    assert not set(uids(now)) & set(uids(later))


def test_parts_of_one_name_do_not_overwrite_each_other():
    days = schedule([Step("a", part, "Do", "So.", minutes=0.0) for part in ("left", "right")], MONDAY)
    found = [str(e["UID"]) for e in events(to_ical(days, {"left": "Front", "right": "Front"}, "Chest", stamp=STAMP))]
    assert len(found) == 4 == len(set(found))


def test_work_in_parts_keeps_apart():
    days = schedule([Step("a", "top", "Do", "So.", minutes=150.0)], MONDAY, hours=1)
    found = uids(days, piece="chest-1")
    assert len(days.bookings) == 3 and len(set(found)) == 4


def test_an_empty_plan_is_an_empty_calendar():
    days = schedule([], MONDAY)
    assert days.done is None and not events(to_ical(days, {}, "x", stamp=STAMP))

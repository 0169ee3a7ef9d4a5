"""The calendar of work as an iCalendar file (RFC 5545), for any calendar program."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import UTC, datetime

from service.plan.days import Booking, Days
from service.plan.types import Step

PRODID = "-//Grainassay//work calendar//EN"


def _summary(booking: Booking, names: Mapping[str, str]) -> str:
    step = booking.step
    return f"{names.get(step.part, step.part)}: {step.title}" + (f", coat {booking.coat}" if step.coats > 1 else "")


def _text(step: Step) -> str:
    lines = [step.how, f"Try first: {step.test}" if step.test else "", "Stop if: " + "; ".join(step.stop) if step.stop else ""]
    return "\n".join(line for line in lines if line)


def to_ical(days: Days, names: Mapping[str, str], title: str, *, stamp: datetime | None = None) -> bytes:
    """The file's bytes. Times are floating: local wherever they are read. `names`: part -> its name; `stamp`: when it was made.

    The same work at the same time has the same UID, so that reading the file again changes nothing.
    """
    from icalendar import Calendar, Event

    stamp = stamp or datetime.now(UTC)
    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", title)
    rows = [(b.begin, b.end, _summary(b, names), _text(b.step)) for b in days.bookings]
    rows += [(when, when, f"{names.get(part, part)}: ready for light use", "Full hardness takes longer: see the label.")
             for part, when in days.usable.items()]
    for begin, end, summary, text in rows:
        event = Event()
        event.add("uid", hashlib.sha256(f"{title}|{summary}|{begin.isoformat()}".encode()).hexdigest()[:32] + "@grainassay")
        event.add("dtstamp", stamp)
        event.add("dtstart", begin)
        if end > begin:
            event.add("dtend", end)
        event.add("summary", summary)
        event.add("description", text)
        calendar.add_component(event)
    return bytes(calendar.to_ical())

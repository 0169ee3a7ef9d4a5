"""The calendar of work as an iCalendar file (RFC 5545), for any calendar program."""

from __future__ import annotations

import hashlib
from collections import Counter
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


def _uid(*words: object) -> str:
    return hashlib.sha256("|".join(str(w) for w in words).encode()).hexdigest()[:32] + "@grainassay"


def to_ical(days: Days, names: Mapping[str, str], title: str, *, stamp: datetime | None = None, piece: str = "") -> bytes:
    """The file's bytes. Times are floating: local wherever they are read. `names`: part -> its name; `stamp`: when it was made;
    `piece`: what tells this piece from all others, if anything does.

    The same work has the same UID, so that reading the file again changes nothing. With a `piece` the UID does not hold the time,
    so that days planned anew take the place of the old ones; without one it does, else two pieces would overwrite each other.
    """
    from icalendar import Calendar, Event

    stamp = stamp or datetime.now(UTC)
    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", title)
    rows, times = [], Counter[tuple[str, str, int]]()
    for b in days.bookings:
        work = (b.step.part, b.step.key, b.coat)
        times[work] += 1
        rows.append((b.begin, b.end, _summary(b, names), _text(b.step), (*work, times[work])))
    for part, when in days.usable.items():
        rows.append((when, when, f"{names.get(part, part)}: ready for light use", _hard(days, part), (part, "usable", 0, 1)))
    for begin, end, summary, text, key in rows:
        event = Event()
        event.add("uid", _uid(piece, *key) if piece else _uid(title, *key, names.get(key[0], ""), begin.isoformat()))
        event.add("dtstamp", stamp)
        event.add("dtstart", begin)
        if end > begin:
            event.add("dtend", end)
        else:
            event.add("transp", "TRANSPARENT")
        event.add("summary", summary)
        if text:
            event.add("description", text)
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _hard(days: Days, part: str) -> str:
    when = days.hard.get(part)
    if when is None:
        return "Full hardness takes longer: see the label."
    return f"Full hardness about {when.day} {when:%B %Y}; the label outranks this."

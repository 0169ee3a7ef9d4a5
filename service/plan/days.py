"""What can be done on which day: one pair of hands, several parts, one drying while another is worked on.

Steps of a part keep their order; a coat waits its hours from the end of the one before, nights included. Among what is ready
the part with the longest way still to go comes first (list scheduling by critical path). A coat is begun only where it is
finished the same day; one that no day is long enough for begins with a longest day, goes on before anything else, and is named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from service.plan.products import products
from service.plan.types import Step
from vision.errors import UsageError

#: Ten years: a plan that runs longer has no working day in it.
LONGEST_DAYS = 3653
#: Minutes that count for nothing beside rounding.
SLACK = 1e-4


@dataclass(frozen=True)
class Booking:
    """Work on one step without a break. `coat`: 1 up, 0 where the step has none; `begin`, `end`: local time; `split`: it goes on
    later, or goes on from earlier."""

    step: Step
    coat: int
    begin: datetime
    end: datetime
    split: bool = False


@dataclass(frozen=True)
class Days:
    """A calendar of work. `unknown`: steps without minutes, whose parts have no size; they are not in it. `usable`: part -> when
    the last wait is over; `hours`: of work in all; `done`: when everything is usable, None where nothing is booked."""

    bookings: tuple[Booking, ...]
    unknown: tuple[Step, ...]
    usable: Mapping[str, datetime]
    hours: float
    hard: Mapping[str, datetime] = field(default_factory=dict)

    @property
    def cut(self) -> tuple[Step, ...]:
        """Steps with a coat that goes over two days or more: better fewer pieces at a time, or a longer day."""
        return tuple(dict.fromkeys(b.step for b in self.bookings if b.coat and b.split))

    @property
    def done(self) -> datetime | None:
        """The last of `usable`."""
        return max(self.usable.values(), default=None)


@dataclass
class _Task:
    step: Step
    coat: int
    minutes: float
    wait_hours: float
    begun: bool = False


class _Hours:
    """Working hours by weekday (0 Monday) from `first_hour` on."""

    def __init__(self, hours: Mapping[int, float], first_hour: float) -> None:
        if not hours or any(not 0 <= h <= 24 - first_hour for h in hours.values()) or not 0 <= first_hour < 24:
            raise UsageError("hours", f"{dict(hours)} from {first_hour} o'clock on are no working hours.",
                             "Give the hours of a day that end before midnight.")
        if sum(hours.values()) < 0.25:
            raise UsageError("hours", "no day has a quarter of an hour to work.", "Give some hours to at least one day.")
        self.hours, self.first = {d: hours.get(d, 0.0) for d in range(7)}, first_hour
        self.longest = max(self.hours.values()) * 60

    def window(self, day: date) -> tuple[datetime, datetime]:
        begin = datetime.combine(day, time()) + timedelta(hours=self.first)
        return begin, begin + timedelta(hours=self.hours[day.weekday()])

    def next_free(self, t: datetime) -> tuple[datetime, float]:
        """(first working moment not before t, minutes left in its window)."""
        for n in range(9):
            begin, end = self.window(t.date() + timedelta(days=n))
            start = max(t, begin)
            if start < end:
                return start, (end - start).total_seconds() / 60
        raise AssertionError("a week holds a working day")


def _tasks(steps: Sequence[Step]) -> list[_Task]:
    out = []
    for step in steps:
        minutes = step.minutes or 0.0
        if step.coats == 0:
            out.append(_Task(step, 0, minutes, step.wait_hours))
        for coat in range(1, step.coats + 1):
            wait = step.wait_hours if coat == step.coats else step.between_hours
            out.append(_Task(step, coat, minutes / step.coats, wait))
    return out


def schedule(
    steps: Sequence[Step], start: date, *, hours: Mapping[int, float] | float = 3.0, first_hour: float = 9.0
) -> Days:
    """A calendar for these steps, given in order within each part. `hours`: a day, or by weekday (0 Monday).

    Raises
    ------
    UsageError
        for hours that are none, or a plan that would run for more than ten years.
    """
    clock = _Hours(hours if isinstance(hours, Mapping) else dict.fromkeys(range(7), hours), first_hour)
    unsized = {s.part for s in steps if s.minutes is None}
    chains: dict[str, list[_Task]] = {}
    for part in dict.fromkeys(s.part for s in steps if s.part not in unsized):
        chains[part] = _tasks([s for s in steps if s.part == part])
    now = datetime.combine(start, time())
    ready = dict.fromkeys(chains, now)
    bookings: list[Booking] = []
    limit = now + timedelta(days=LONGEST_DAYS)
    while any(chains.values()):
        now, left = clock.next_free(max(now, min(ready[p] for p, c in chains.items() if c)))
        if now > limit:
            raise UsageError("days", "the plan would run for more than ten years.", "Give more hours a day.")
        chosen = _choose(chains, ready, now, left, clock.longest)
        if chosen is None:
            # Nothing that is ready fits into what is left of the day: wait for the next part to dry, or for tomorrow.
            tomorrow = now + timedelta(minutes=left)
            later = [ready[p] for p, c in chains.items() if c and now < ready[p] < tomorrow]
            now = min(later, default=tomorrow)
            continue
        task = chains[chosen][0]
        worked = min(task.minutes, left)
        whole = worked >= task.minutes - SLACK
        end = now + timedelta(minutes=worked)
        bookings.append(Booking(task.step, task.coat, now, end, task.begun or not whole))
        if whole:
            chains[chosen].pop(0)
            ready[chosen] = end + timedelta(hours=task.wait_hours)
        else:
            task.minutes, task.begun = task.minutes - worked, True
        now = end
    return Days(tuple(bookings), tuple(s for s in steps if s.part in unsized), ready,
                sum((b.end - b.begin).total_seconds() for b in bookings) / 3600, _hard(bookings))


def _hard(bookings: Sequence[Booking]) -> dict[str, datetime]:
    """Part -> end of its longest cure, counted from the last of each coat."""
    out: dict[str, datetime] = {}
    for b in bookings:
        kind = products().kinds.get(b.step.product or "")
        if b.coat and kind is not None and "cure" in kind.hours:
            out[b.step.part] = max(out.get(b.step.part, b.end), b.end + timedelta(hours=kind.hours["cure"]))
    return out


def _way_to_go(chain: Sequence[_Task]) -> float:
    return sum(t.minutes / 60 + t.wait_hours for t in chain)


def _choose(chains: Mapping[str, list[_Task]], ready: Mapping[str, datetime], now: datetime, left: float,
            longest: float) -> str | None:
    """The part to work on now: ready, and fitting into what is left of the day unless it may be cut. A coat that is cut comes
    first: its edge dries."""
    ready_now = [p for p, c in chains.items() if c and ready[p] <= now]
    endless = [p for p in ready_now if (task := chains[p][0]).coat and (
        task.begun or (task.minutes > longest + SLACK and left >= longest - SLACK))]
    if endless:
        return max(endless, key=lambda p: (chains[p][0].begun, _way_to_go(chains[p])))
    fits = [p for p in ready_now if chains[p][0].minutes <= left + SLACK or chains[p][0].coat == 0]
    return max(fits, key=lambda p: _way_to_go(chains[p]), default=None)

"""What a piece earned against what was foreseen, and how good the foreseeing is over all pieces."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from service.ledger.events import Event

#: Below this many pieces nothing is said about how good the estimates are.
LEAST = 5
DRAWS, SEED = 4000, 1
WORDS = {"hours": "hours", "materials": "materials", "sale": "sale price", "days": "days until sold"}


@dataclass(frozen=True)
class Piece:
    """One piece, sums of its events; None where nothing was entered. `planned`: the last plan; `profit`: left of what is sold,
    less paid, spent, fees and returns, None while it is not sold; `an_hour`: the same for an hour worked; `foreseen`: profit that
    the plan led to, with what was really paid and the fees planned."""

    name: str
    asked: float | None
    paid: float | None
    planned: Mapping[str, float]
    hours: float | None
    materials: float | None
    sold: float | None
    fees: float
    returned: float
    days: float | None
    profit: float | None
    an_hour: float | None
    foreseen: float | None = None

    def actual(self, what: str) -> float | None:
        """Hours, materials, sale or days in truth."""
        return {"hours": self.hours, "materials": self.materials, "sale": self.sold, "days": self.days}[what]


def _sum(events: Sequence[Event], kind: str, number: str) -> float | None:
    found = [e.numbers[number] for e in events if e.kind == kind and number in e.numbers]
    return sum(found) if found else None


def _last(events: Sequence[Event], kind: str, number: str) -> float | None:
    return next((e.numbers[number] for e in reversed(events) if e.kind == kind and number in e.numbers), None)


def _days(events: Sequence[Event]) -> float | None:
    """Days from paying to the last sale."""
    from datetime import datetime

    begin = next((e.at for e in events if e.kind == "paid"), None)
    end = next((e.at for e in reversed(events) if e.kind == "sold"), None)
    if begin is None or end is None:
        return None
    a, b = (datetime.fromisoformat(t).replace(tzinfo=None) for t in (begin, end))
    return max(0.0, (b - a).total_seconds() / 86400)


def piece_of(name: str, events: Sequence[Event]) -> Piece:
    """The sums of one piece from its standing events."""
    mine = [e for e in events if e.piece == name]
    planned: dict[str, float] = {}
    for e in mine:
        if e.kind == "planned":
            planned |= e.numbers
    sold, paid = _sum(mine, "sold", "amount"), _last(mine, "paid", "amount")
    fees, returned = _sum(mine, "sold", "fees") or 0.0, _sum(mine, "returned", "amount") or 0.0
    hours, spent = _sum(mine, "worked", "hours"), _sum(mine, "spent", "amount")
    profit = None if sold is None else sold - fees - returned - (paid or 0.0) - (spent or 0.0)
    an_hour = profit / hours if profit is not None and hours else None
    asked = _last(mine, "asked", "amount")
    foreseen = None
    if "sale" in planned and "materials" in planned and paid is not None:
        foreseen = planned["sale"] - planned["materials"] - planned.get("fees", 0.0) - paid
    return Piece(name, asked, paid, planned, hours, spent, sold, fees, returned, _days(mine), profit, an_hour, foreseen)


def pieces(events: Sequence[Event]) -> tuple[Piece, ...]:
    """Every piece, in the order of its first event."""
    return tuple(piece_of(name, events) for name in dict.fromkeys(e.piece for e in events))


@dataclass(frozen=True)
class Skill:
    """How foreseen and true compare over `n` pieces: `ratio`: geometric mean of true over foreseen with the range that holds
    it nine times in ten (bootstrap over pieces); `spread`: factor within which two in three pieces lie about it."""

    what: str
    n: int
    ratio: float
    low: float
    high: float
    spread: float


def skill(found: Sequence[Piece], what: str) -> Skill | None:
    """How good the estimates of one quantity are; None below LEAST pieces with both figures above zero."""
    pairs = [(p.planned[what], a) for p in found if what in p.planned and (a := p.actual(what)) is not None
             and p.planned[what] > 0 and a > 0]
    if len(pairs) < LEAST:
        return None
    logs = np.log([a / b for b, a in pairs])
    rng = np.random.default_rng(SEED)
    means = logs[rng.integers(0, len(logs), (DRAWS, len(logs)))].mean(axis=1)
    low, high = np.exp(np.quantile(means, (0.05, 0.95)))
    return Skill(what, len(pairs), float(np.exp(logs.mean())), float(low), float(high), float(np.exp(logs.std(ddof=1))))


@dataclass(frozen=True)
class Gap:
    """True profit less the foreseen over `n` pieces, in money since profits may be below zero: mean with the range that holds it
    nine times in ten (bootstrap over pieces), and the standard deviation of single pieces."""

    n: int
    mean: float
    low: float
    high: float
    deviation: float


def profit_gap(found: Sequence[Piece]) -> Gap | None:
    """How far profits fall from what the plans led to; None below LEAST pieces with both figures."""
    gaps = np.array([p.profit - p.foreseen for p in found if p.profit is not None and p.foreseen is not None])
    if len(gaps) < LEAST:
        return None
    means = gaps[np.random.default_rng(SEED).integers(0, len(gaps), (DRAWS, len(gaps)))].mean(axis=1)
    low, high = np.quantile(means, (0.05, 0.95))
    return Gap(len(gaps), float(gaps.mean()), float(low), float(high), float(gaps.std(ddof=1)))


def document(found: Sequence[Piece]) -> dict[str, Any]:
    """JSON types."""
    rows = [{"piece": p.name, "asked": p.asked, "paid": p.paid, "planned": dict(p.planned), "hours": p.hours,
             "materials": p.materials, "sold": p.sold, "fees": p.fees, "returned": p.returned,
             "days": None if p.days is None else round(p.days, 2), "profit": p.profit,
             "profit_foreseen": p.foreseen, "profit_an_hour": None if p.an_hour is None else round(p.an_hour, 2)} for p in found]
    known = [s for what in WORDS if (s := skill(found, what)) is not None]
    gap = profit_gap(found)
    return {"schema": "grainassay.ledger/1.0", "pieces": rows, "least_pieces": LEAST,
            "skill": [{"what": s.what, "pieces": s.n, "true_over_foreseen": round(s.ratio, 4),
                       "nine_in_ten": [round(s.low, 4), round(s.high, 4)], "spread_factor": round(s.spread, 4)} for s in known],
            "profit_gap": None if gap is None else {
                "pieces": gap.n, "true_less_foreseen": round(gap.mean, 2), "nine_in_ten": [round(gap.low, 2), round(gap.high, 2)],
                "deviation": round(gap.deviation, 2)}}


def lines_of(found: Sequence[Piece]) -> list[str]:
    """What is printed."""
    def show(v: float | None) -> str:
        return "-" if v is None else f"{v:g}"

    lines = []
    for p in found:
        lines.append(p.name)
        lines.append(f"  asked {show(p.asked)}, paid {show(p.paid)}, sold {show(p.sold)}, fees {p.fees:g}, "
                     f"returned {p.returned:g}")
        for what, words in WORDS.items():
            if what in p.planned or p.actual(what) is not None:
                lines.append(f"  {words}: foreseen {show(p.planned.get(what))}, in truth {show(p.actual(what))}")
        if p.profit is not None:
            an_hour = f", {p.an_hour:.2f} an hour" if p.an_hour is not None else ""
            before = f", foreseen {p.foreseen:g}" if p.foreseen is not None else ""
            lines.append(f"  left: {p.profit:g}{an_hour}{before}")
    if not found:
        return ["The ledger is empty."]
    lines.append("")
    for what, words in WORDS.items():
        s = skill(found, what)
        if s is None:
            lines.append(f"How good your estimates of {words} are: too few pieces to say (at least {LEAST} with both figures).")
        else:
            lines.append(f"How good your estimates of {words} are: true over foreseen {s.ratio:.2f} (nine in ten: {s.low:.2f} to "
                         f"{s.high:.2f}; {s.n} pieces), two in three within a factor {s.spread:.2f} of that.")
    gap = profit_gap(found)
    if gap is None:
        lines.append(f"How far profits fall from the plans: too few pieces to say (at least {LEAST} sold, with what was paid "
                     "and a plan of sale and materials).")
    else:
        lines.append(f"How far profits fall from the plans: {gap.mean:+.2f} on average (nine in ten: {gap.low:+.2f} to "
                     f"{gap.high:+.2f}; {gap.n} pieces), single pieces about {gap.deviation:.2f} to either side.")
    return lines

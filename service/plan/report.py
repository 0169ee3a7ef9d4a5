"""A plan in words: safety first, then part by part what it allows, steps, what threatens it; then what to buy and which day."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from service.moves import ROUGH, WHERE
from service.plan.days import Booking
from service.plan.make import PartPlan, Plan
from service.plan.materials import Need
from service.plan.types import BASES, GOALS, Repair, Step
from service.safety.choose import notes
from service.safety.report import DEFER, origin
from service.safety.rules import Note
from service.units import length_words, registry
from service.wood.movement import risk
from service.words import class_words, listing

ESTIMATE = "Minutes, amounts and sanding are estimates; labels of products and what a test patch shows outrank them."


def safety_of(found: Plan) -> tuple[Note, ...]:
    """Cautions that this plan calls for."""
    cores = sorted({c for p in found.parts for c in p.subject.cores})
    roles = sorted({p.subject.role for p in found.parts})
    return notes(found.hazards, where=found.request.where, made_before_1978=found.request.made_before_1978, cores=cores,
                 roles=roles)


def material_words(part: PartPlan) -> str:
    """'wood veneer on particle board, told from photos', or what is left."""
    s = part.subject
    face = class_words(s.face) if s.face else "cannot tell: " + listing([class_words(f) for f in s.faces])
    on = f" on {class_words(s.core)}" if s.core and s.face in ("veneer", "printed", "opaque") else ""
    return f"{face}{on} ({BASES[s.basis]})"


def size_words(part: PartPlan, us: bool) -> str:
    """Size, count and area, or that they are not known."""
    s = part.subject
    if s.length_mm is None or s.width_mm is None or s.area_m2 is None:
        return "size not known: no amounts, hours or days for it"
    many = f"{s.count} of " if s.count > 1 else ""
    square = f"{(s.area_m2 * registry().meter**2).to('foot**2').magnitude:.1f} sq ft" if us else f"{s.area_m2:.2f} m2"
    return f"{many}{length_words(s.length_mm, us)} x {length_words(s.width_mm, us)}, {square}"


def minutes_words(minutes: float | None) -> str:
    """'25 min' or '1 h 40 min'."""
    if minutes is None:
        return ""
    whole = round(minutes)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d} min"


def wait_words(hours: float) -> str:
    """'2 h', '3 days'."""
    if hours <= 0:
        return ""
    return f"{hours * 60:.0f} min" if hours < 1 else f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"


def step_head(s: Step) -> str:
    """Title with grits, coats, time and waits."""
    bits = []
    if s.grits:
        bits.append("P" + ", P".join(str(g) for g in s.grits) + (f" {'by hand' if s.tool == 'hand' else 'by machine'}"))
    if s.coats > 1:
        bits.append(f"{s.coats} coats")
    bits.append(minutes_words(s.minutes))
    if s.coats > 1 and s.between_hours:
        bits.append(f"{wait_words(s.between_hours)} between coats")
    if s.wait_hours:
        bits.append(f"then wait {wait_words(s.wait_hours)}")
    rest = ", ".join(b for b in bits if b)
    return f"{s.title}" + (f" ({rest})" if rest else "")


def repair_words(x: Repair) -> str:
    """One repair in a line; what comes before all other work is said to."""
    return f"{'First' if x.first else 'Damage'}: {x.title[:1].lower()}{x.title[1:]}. {x.caution}"


def need_words(n: Need, us: bool, currency: str) -> tuple[str, str, str, str]:
    """(product, amount, what to buy, cost) of one line of the shopping list."""
    by_volume = n.product.coverage is not None
    unit, times = ("pt", (1.0 * registry().litre).to("pint").magnitude) if us else ("L", 1.0)
    amount = f"{n.low * times:.{1 if us else 2}f} to {n.high * times:.{1 if us else 2}f} {unit}" if by_volume else ""
    buy = " + ".join(f"{k} x {w}" if by_volume else f"{k} {w}" for w, k in n.cans) or "none to buy"
    return n.product.words, amount, buy, "" if n.cost is None else f"{n.cost:.2f} {currency}".rstrip()


def need_line(n: Need, us: bool, currency: str) -> str:
    """The same in columns."""
    words, amount, buy, cost = need_words(n, us, currency)
    return f"{words:<43}{amount:<20}{buy:<24}{cost}".rstrip()


def movement_lines(p: PartPlan, us: bool) -> list[str]:
    """How a solid part moves on its way home, for every wood it may be."""
    out = []
    for w, m in p.movement:
        across = m.flat_mm if m.flat_mm is not None else m.quarter_mm
        if across is not None:
            way = "widen" if across > 0 else "shrink"
            out.append(f"On its way home it may {way} by about {length_words(abs(across), us)} if it is {w.name}: "
                       f"{risk(across)}. {WHERE}")
    return out


def _part_lines(p: PartPlan, us: bool) -> list[str]:
    lines = [f"{p.subject.name}: {material_words(p)}", f"  {size_words(p, us)}"]
    if p.route is None:
        if p.goal is not None:
            lines.append(f"  {GOALS[p.goal].capitalize()} is refused: {p.refusals[p.goal].reason}")
        lines.append("  Open to it: " + "; ".join(f"{g} ({GOALS[g]})" for g in p.open_goals))
        lines += [f"  Not {g}: {r.reason}" for g, r in p.refusals.items() if g != p.goal]
        return lines
    r = p.route
    lines.append(f"  Goal: {GOALS[r.goal]}")
    lines += [f"  {repair_words(x)}" for x in r.repairs]
    lines += [f"  Must hold: {text}" for text in r.conditions]
    for n, s in enumerate(r.steps, 1):
        lines += [f"  {n}. {step_head(s)}", f"     {s.how}"]
        if s.test:
            lines.append(f"     Try first: {s.test}")
        if s.stop:
            lines.append(f"     Stop if {'; or '.join(s.stop)}.")
    if r.pitfalls:
        lines.append("  What goes wrong most often here:")
    for q in r.pitfalls:
        lines += [f"    {q.title}. {q.text}", f"      Patch: {q.patch}", f"      Against it: {q.remedy}"]
    lines += [f"  {text}" for text in movement_lines(p, us)]
    if p.movement:
        lines.append(f"  {ROUGH}")
    return lines


def calendar_lines(bookings: Sequence[Booking], names: dict[str, str]) -> list[str]:
    """Day by day."""
    lines = []
    for day, rows in groupby(bookings, key=lambda b: b.begin.date()):
        lines.append(f"  {day:%a %d %b}")
        for b in rows:
            coat = f", coat {b.coat}" if b.step.coats > 1 else ""
            lines.append(f"    {b.begin:%H:%M} to {b.end:%H:%M}  {names[b.step.part]}: {b.step.title}{coat}"
                         + (" (in parts)" if b.split else ""))
    return lines


def day_notes(found: Plan) -> list[str]:
    """What the calendar cannot show: coats that no day holds, and when each part is hard."""
    names = {p.subject.id: p.subject.name for p in found.parts}
    out = [f"No day is long enough for a coat of {s.title.lower()} on {names[s.part]}: fewer pieces at a time, or a longer day."
           for s in found.days.cut]
    return out + [f"{names[p]}: hard all through about {when:%d %b %Y}; the label outranks this." for p, when in
                  found.days.hard.items()]


def lines_of(found: Plan) -> list[str]:
    """What is printed."""
    us, names = found.request.us, {p.subject.id: p.subject.name for p in found.parts}
    lines: list[str] = []
    careful = safety_of(found)
    lines.append("Before you start")
    for n in careful:
        lines += [f"  {n.title}: {n.text}", f"    {origin(n)}"]
    lines += [f"  {DEFER}", ""]
    for p in found.parts:
        lines += [*_part_lines(p, us), ""]
    if found.needs:
        lines.append("To buy, for all parts together")
        lines += [f"  {need_line(n, us, found.currency)}" for n in found.needs]
        lines.append(f"  Of what has a price: {found.cost:.2f} {found.currency}".rstrip())
        if found.unpriced:
            lines.append("  Without a price in your list: " + ", ".join(found.unpriced))
        lines.append("")
    if found.no_size:
        lines += ["Without a size, and so in no amount, hour or day: " + ", ".join(s.name for s in found.no_size), ""]
    if found.days.bookings:
        done = found.days.done
        assert done is not None
        lines.append(f"Which day ({found.hours:.1f} hours of work; everything ready for light use on {done:%a %d %b %Y})")
        lines += [*calendar_lines(found.days.bookings, names), *(f"  {text}" for text in day_notes(found)), ""]
    return [*lines, ESTIMATE]

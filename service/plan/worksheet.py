"""The work sheet: one self-contained page to print, with a box to tick for every step. No scripts, nothing fetched."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

from service.plan.make import PartPlan, Plan, sources
from service.plan.report import (
    ESTIMATE,
    day_notes,
    material_words,
    movement_lines,
    need_words,
    repair_words,
    safety_of,
    size_words,
    step_head,
)
from service.plan.types import GOALS
from service.safety.report import DEFER, origin

if TYPE_CHECKING:
    from jinja2 import Template

    from service.plan.materials import Need


@lru_cache(maxsize=1)
def _template() -> Template:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    env = Environment(loader=PackageLoader("service", "templates"), autoescape=True, undefined=StrictUndefined,
                      trim_blocks=True, lstrip_blocks=True)
    return env.get_template("worksheet.html.j2")


def _part(p: PartPlan, us: bool) -> dict[str, Any]:
    r = p.route
    return {
        "id": p.subject.id, "name": p.subject.name, "goal": GOALS[p.goal] if p.goal else "no goal named",
        "material": material_words(p), "size": size_words(p, us),
        "refused": p.refusals[p.goal].reason if p.goal in p.refusals and p.goal is not None else "",
        "open": "" if r is not None else "; ".join(GOALS[g] for g in p.open_goals),
        "not": [] if r is not None else [f"Not {GOALS[g]}: {x.reason}" for g, x in p.refusals.items() if g != p.goal],
        "first": [repair_words(x) for x in r.repairs] if r else [],
        "must": list(r.conditions) if r else [],
        "steps": [{"head": step_head(s), "how": s.how, "test": s.test, "stop": "; or ".join(s.stop), "coats": s.coats}
                  for s in r.steps] if r else [],
        "pitfalls": [{"title": q.title, "text": q.text, "patch": q.patch, "remedy": q.remedy} for q in r.pitfalls] if r else [],
        "movement": movement_lines(p, us),
    }


def _need(n: Need, us: bool, currency: str) -> dict[str, str]:
    return dict(zip(("words", "amount", "buy", "cost"), need_words(n, us, currency), strict=True))


def html(found: Plan, title: str = "") -> str:
    """The page. `title`: name of the piece."""
    us, names = found.request.us, {p.subject.id: p.subject.name for p in found.parts}
    done = found.days.done
    worked = sum(p.route is not None and bool(p.route.steps) for p in found.parts)
    summary = f"{worked} of {len(found.parts)} parts to work on"
    if done is not None and found.days.bookings:
        summary += f", {found.hours:.1f} hours in all, everything ready for light use on {done:%d %B %Y}"
    cost = f"Of what has a price: {found.cost:.2f} {found.currency}."
    if found.unpriced:
        cost += " Without a price in your list: " + ", ".join(found.unpriced) + "."
    days = []
    for b in found.days.bookings:
        coat = f", coat {b.coat}" if b.step.coats > 1 else ""
        days.append({"day": f"{b.begin:%a %d %b}", "begin": f"{b.begin:%H:%M}", "end": f"{b.end:%H:%M}",
                     "what": f"{names[b.step.part]}: {b.step.title}{coat}" + (" (in parts)" if b.split else "")})
    return _template().render(
        title=title or "; ".join(names.values()), summary=summary + ".",
        safety=[{"title": n.title, "text": n.text, "source": origin(n)} for n in safety_of(found)],
        defer=DEFER, parts=[_part(p, us) for p in found.parts], needs=[_need(n, us, found.currency) for n in found.needs],
        day_notes=day_notes(found), cost=cost, no_size=", ".join(s.name for s in found.no_size), days=days, estimate=ESTIMATE,
        sources=[s.words for s in sources(found)],
    )

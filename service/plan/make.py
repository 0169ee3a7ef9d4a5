"""A plan for a piece: for every part what it allows, the route asked for, repairs before it, what threatens it; then materials
and days over all parts. Refused routes never get steps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from service.contract import Document
from service.hand.state import Answers
from service.plan.days import Days, schedule
from service.plan.materials import Need, needs, total
from service.plan.pitfalls import pitfalls
from service.plan.prices import Prices
from service.plan.repairs import after_strip, repairs
from service.plan.request import Request
from service.plan.routes import conditions, refusal
from service.plan.steps import lead_presumed, steps_of
from service.plan.subjects import subjects
from service.plan.types import GOALS, Refusal, Repair, Route, Step, Subject
from service.rulebook import Source
from service.wood.density import Species, species
from service.wood.movement import Movement, between
from vision.errors import UsageError

#: Before the first of these a sealing step is put.
COATS = ("gel_stain", "enamel", "stain_block_primer", "bonding_primer", "shellac_primer", "water_poly", "oil_poly")
#: Parts whose movement splits or jams something.
MOVES = ("top", "drawer_front", "door", "shelf", "side")


@dataclass(frozen=True)
class PartPlan:
    """One part. `refusals`: goal -> why not, for all that are refused; `goal`: asked for, None where none was; `route`: None
    where none was asked for or it is refused; `movement`: of a solid part, for each wood its name can mean."""

    subject: Subject
    refusals: Mapping[str, Refusal]
    goal: str | None
    route: Route | None
    movement: tuple[tuple[Species, Movement], ...] = ()

    @property
    def open_goals(self) -> tuple[str, ...]:
        """Goals that nothing refuses."""
        return tuple(g for g in GOALS if g not in self.refusals)


@dataclass(frozen=True)
class Plan:
    """`hours`: of work in all, of parts with a size; `cost`: of what has a price; `unpriced`: what must be bought and has none;
    `hazards`: of all steps; `presumed_lead`: whether a finish is worked on that may hold lead."""

    request: Request
    parts: tuple[PartPlan, ...]
    needs: tuple[Need, ...]
    days: Days
    hours: float
    cost: float
    currency: str
    unpriced: tuple[str, ...]
    hazards: tuple[str, ...]
    presumed_lead: bool

    @property
    def steps(self) -> tuple[Step, ...]:
        """All steps of all routes."""
        return tuple(s for p in self.parts if p.route is not None for s in p.route.steps)

    @property
    def no_size(self) -> tuple[Subject, ...]:
        """Parts with a route whose size is not known."""
        return tuple(p.subject for p in self.parts if p.route is not None and p.route.steps and p.subject.area_m2 is None)


def _ended(subject: Subject, found: Sequence[Repair], goal: str) -> Refusal | None:
    """Damage that ends the matter refuses every goal but leaving."""
    if goal == "leave":
        return None
    last = next((r for r in found if r.ends), None)
    return None if last is None else Refusal(goal, f"{last.title}. {last.caution}", last.sources)


def refusals(subject: Subject) -> dict[str, Refusal]:
    """Goal -> why not, for all that are refused."""
    found = repairs(subject)
    out = {}
    for goal in GOALS:
        why = _ended(subject, found, goal) or refusal(subject, goal)
        if why is not None:
            out[goal] = why
    return out


def route(subject: Subject, goal: str, topcoat: str = "water") -> Route:
    """The route of a goal that is not refused: repairs, then its steps, sealing steps put in where something would bleed.

    Raises
    ------
    UsageError
        where the goal is refused on this part.
    """
    why = refusals(subject).get(goal)
    if why is not None:
        raise UsageError(subject.name, f"{GOALS[goal]} is refused: {why.reason}", "Choose another goal.")
    plain = steps_of(subject, goal, topcoat)
    if goal == "leave":
        return Route(goal, subject.id, (), ())
    mended = repairs(subject)
    threats = pitfalls(subject, goal, [s.product for s in plain if s.product is not None])
    steps: list[Step] = list(plain)
    for p in threats:
        if p.adds is not None and all(s.product != p.adds.product for s in steps):
            at = next((k for k, s in enumerate(steps) if s.product in COATS), len(steps))
            steps.insert(at, p.adds)
    strip = next((k for k, s in enumerate(steps) if s.key == "wash_off"), None)
    later = [s for r in mended if strip is not None and r.damage.kind in after_strip() for s in r.steps]
    before = [s for r in mended for s in r.steps if s not in later]
    if strip is not None:
        steps[strip + 1 : strip + 1] = later
    needed = tuple(text for text, _ in conditions(subject, goal))
    return Route(goal, subject.id, (*before, *steps), needed, threats, mended)


def movement(subject: Subject, request: Request) -> tuple[tuple[Species, Movement], ...]:
    """How a solid part moves between the two climates, for every wood its name can mean; nothing where something is missing."""
    if subject.face != "solid_wood" or subject.role not in MOVES or request.stored is None or request.home is None:
        return ()
    if subject.wood is None or subject.width_mm is None:
        return ()
    try:
        known = [w for w in species(subject.wood) if w.radial is not None or w.tangential is not None]
    except UsageError:  # a wood that is not in the tables: nothing is foreseen for it
        return ()
    return tuple((w, between(w, subject.width_mm, request.stored, request.home)) for w in known)


def plan_part(subject: Subject, request: Request) -> PartPlan:
    """One part: what it allows, and the route asked for."""
    goal = request.of(subject.id).goal or request.goal
    why = refusals(subject)
    found = route(subject, goal, request.topcoat) if goal is not None and goal not in why else None
    return PartPlan(subject, why, goal, found, movement(subject, request))


def make(
    doc: Document | None, answers: Answers, request: Request, prices: Prices | None = None, *, today: date | None = None
) -> Plan:
    """The plan of a piece. `today`: first day where the request names none.

    Raises
    ------
    UsageError
        for parts that are not there, or a request that makes no sense.
    """
    return plan(subjects(doc, answers, request), request, prices, today=today)


def plan(parts: Sequence[Subject], request: Request, prices: Prices | None = None, *, today: date | None = None) -> Plan:
    """The same from parts as they are planned for."""
    planned = tuple(plan_part(s, request) for s in parts)
    by_id = {s.id: s for s in parts}
    steps = [s for p in planned if p.route is not None for s in p.route.steps]
    found = needs(steps, by_id, us=request.us, prices=prices)
    cost, unpriced = total(found)
    days = schedule(steps, request.start or today or date.today(), hours=request.hours, first_hour=request.first_hour)
    hazards = dict.fromkeys(h for s in steps for h in s.hazards)
    hazards |= dict.fromkeys(h for n in found for h in n.product.hazards)
    for p in planned:
        hazards |= dict.fromkeys(h for r in (p.route.repairs if p.route else ()) for s in r.steps for h in s.hazards)
        if any(d.kind == "mould" for d in p.subject.damage):
            hazards["mould"] = None
        if any(d.kind == "insect_holes" for d in p.subject.damage):
            hazards["insects"] = None
    # Whatever is done, the piece is carried, stands in a room and is perhaps sold.
    hazards |= dict.fromkeys(("lifting", "tipping", "resale"))
    lead = any(lead_presumed(p.subject) for p in planned if p.route is not None and p.route.steps)
    hours = sum(s.minutes for s in steps if s.minutes is not None) / 60
    return Plan(request, planned, found, days, hours, cost, prices.currency if prices else "", unpriced, tuple(hazards), lead)


def sources(found: Plan) -> tuple[Source, ...]:
    """All that the plan rests on, each once."""
    out: list[Source] = []
    for p in found.parts:
        out += [s for r in p.refusals.values() for s in r.sources]
        if p.route is not None:
            out += [s for step in p.route.steps for s in step.sources]
            out += [s for q in p.route.pitfalls for s in q.sources]
    out += [s for n in found.needs for s in n.product.sources]
    return tuple(dict.fromkeys(out))


def with_goal(found: Plan, part: str, goal: str) -> Request:
    """The request with another goal for one part: what a page does when a goal is chosen."""
    wish = replace(found.request.of(part), goal=goal)
    return replace(found.request, parts={**found.request.parts, part: wish})

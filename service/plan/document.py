"""A plan as JSON types: masses of nothing lost, so that pages, work sheets and other programs can use it."""

from __future__ import annotations

from typing import Any

from service.plan.make import PartPlan, Plan, sources
from service.plan.materials import Need
from service.plan.report import safety_of
from service.plan.types import GOALS, Refusal, Route, Step, Subject
from service.rulebook import Source
from service.safety.report import document as safety_document
from service.wood.movement import risk

SCHEMA = "grainassay.plan/1.0"


def _source(s: Source) -> dict[str, str]:
    return {"title": s.title, "status": s.status, "date": s.date}


def subject(s: Subject) -> dict[str, Any]:
    """A part as planned for; sizes in mm, area in m2."""
    return {
        "id": s.id, "name": s.name, "role": s.role, "faces": list(s.faces), "cores": list(s.cores), "basis": s.basis,
        "length_mm": s.length_mm, "width_mm": s.width_mm, "count": s.count,
        "area_m2": None if s.area_m2 is None else round(s.area_m2, 4), "wood": s.wood, "old_finish": s.old_finish,
        "face_mm": None if s.face_mm is None else list(s.face_mm), "face_kind": s.face_kind,
        "damage": [{"kind": d.kind, "level": d.level, "seen_by_hand": d.sure} for d in s.damage],
    }


def step(s: Step) -> dict[str, Any]:
    """Minutes of work in all, hours of waiting; grits are FEPA P."""
    return {
        "key": s.key, "title": s.title, "how": s.how, "product": s.product, "coats": s.coats, "tool": s.tool,
        "grits_p": list(s.grits), "minutes": None if s.minutes is None else round(s.minutes, 1),
        "between_hours": s.between_hours, "wait_hours": s.wait_hours, "test_first": s.test, "stop_if": list(s.stop),
        "hazards": list(s.hazards), "sources": [_source(x) for x in s.sources],
    }


def _refusal(r: Refusal) -> dict[str, Any]:
    return {"goal": r.goal, "reason": r.reason, "sources": [_source(s) for s in r.sources]}


def route(r: Route) -> dict[str, Any]:
    """A route with what must hold, repairs, pitfalls and steps."""
    return {
        "goal": r.goal, "conditions": list(r.conditions), "steps": [step(s) for s in r.steps],
        "repairs": [{"damage": x.damage.kind, "level": x.damage.level, "seen_by_hand": x.damage.sure, "title": x.title,
                     "caution": x.caution, "first": x.first} for x in r.repairs],
        "pitfalls": [{"key": p.key, "title": p.title, "text": p.text, "test_patch": p.patch, "remedy": p.remedy,
                      "sources": [_source(s) for s in p.sources]} for p in r.pitfalls],
    }


def _part(p: PartPlan) -> dict[str, Any]:
    return {
        **subject(p.subject), "goal": p.goal, "open_goals": list(p.open_goals),
        "refused": [_refusal(r) for r in p.refusals.values()], "route": None if p.route is None else route(p.route),
        "movement": [{"wood": w.name, "flat_mm": None if m.flat_mm is None else round(m.flat_mm, 2),
                      "quarter_mm": None if m.quarter_mm is None else round(m.quarter_mm, 2),
                      "risk": risk(m.flat_mm if m.flat_mm is not None else m.quarter_mm or 0.0)} for w, m in p.movement],
    }


def _need(n: Need) -> dict[str, Any]:
    by_volume = n.product.coverage is not None
    return {
        "product": n.product.key, "words": n.product.words, "unit": "litre" if by_volume else "m2 served",
        "low": round(n.low, 4), "high": round(n.high, 4), "buy": [{"what": w, "number": k} for w, k in n.cans],
        "left_over": round(n.left, 4), "cost": None if n.cost is None else round(n.cost, 2), "on_hand": n.on_hand,
        "parts": list(n.parts), "parts_without_size": list(n.no_area), "sources": [_source(s) for s in n.product.sources],
    }


def document(found: Plan) -> dict[str, Any]:
    """The whole plan. Times of the calendar are local, without a zone."""
    days = found.days
    return {
        "schema": SCHEMA, "goals": dict(GOALS), "where": found.request.where, "parts": [_part(p) for p in found.parts],
        "materials": [_need(n) for n in found.needs],
        "cost": {"currency": found.currency, "priced": round(found.cost, 2), "without_price": list(found.unpriced)},
        "hours": round(found.hours, 2), "parts_without_size": [s.id for s in found.no_size],
        "calendar": [{"part": b.step.part, "step": b.step.key, "coat": b.coat, "begin": b.begin.isoformat(),
                      "end": b.end.isoformat(), "split": b.split} for b in days.bookings],
        "no_day_long_enough": [{"part": s.part, "step": s.key} for s in days.cut],
        "hard": {p: t.isoformat() for p, t in days.hard.items()},
        "usable": {p: t.isoformat() for p, t in days.usable.items()},
        "presumed_lead": found.presumed_lead, "safety": safety_document(safety_of(found), where=found.request.where),
        "sources": [_source(s) for s in sources(found)],
        "caution": "Minutes, amounts and sanding are estimates; labels of products and what a test patch shows outrank them.",
    }

"""What the page of a plan shows, and what its form of prices says: pure functions."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Set
from typing import Any

from service.plan.make import PartPlan, Plan
from service.plan.products import products
from service.plan.report import calendar_lines, day_notes, material_words, need_line, safety_of, size_words, step_head
from service.plan.types import GOALS, OLD_FINISHES
from service.safety.report import DEFER, origin
from vision.errors import UsageError

TOPCOATS = (("water", "water-based"), ("oil", "oil-based"), ("rubbed", "rubbed on"))


def tick_key(part: str, kind: str, text: str) -> str:
    """Name of a thing to tick, the same as long as it says the same."""
    return f"{part}/{kind}/{hashlib.sha256(text.encode()).hexdigest()[:12]}"


def plan_view(found: Plan, asked: Mapping[str, Any], ticked: Set[str], prices: Mapping[str, Any]) -> dict[str, Any]:
    """`asked`: the request kept; `ticked`: keys of `tick_key`; `prices`: the user's list as JSON."""
    us = found.request.us
    names = {p.subject.id: p.subject.name for p in found.parts}
    parts = [_part(p, asked.get("parts", {}).get(p.subject.id, {}), ticked, us) for p in found.parts]
    work = [t for p in parts for t in (*p["conditions"], *p["steps"])]
    return {
        "parts": parts, "ticked": sum(t["ticked"] for t in work), "to_tick": len(work), "defer": DEFER,
        "safety": [{"title": n.title, "text": n.text, "source": origin(n)} for n in safety_of(found)],
        "needs": [_need(n, us, found.currency) for n in found.needs], "cost": found.cost, "currency": found.currency,
        "unpriced": list(found.unpriced), "notes": day_notes(found), "days": _days(calendar_lines(found.days.bookings, names)),
        "where": found.request.where, "before_1978": found.request.made_before_1978, "start": str(asked.get("start") or ""),
        "topcoat": found.request.topcoat, "topcoats": TOPCOATS, "hours": asked.get("hours", "") if not isinstance(
            asked.get("hours"), Mapping) else "", "first_hour": asked.get("first_hour", ""),
        "prices": [_price(n.product.key, n.product.words, n.product.coverage is None, prices) for n in found.needs],
        "price_currency": prices.get("currency", ""), "finishes": list(OLD_FINISHES.items()),
    }  # fmt: skip


def _part(p: PartPlan, asked: Mapping[str, Any], ticked: Set[str], us: bool) -> dict[str, Any]:
    key, route = p.subject.id, p.route

    def box(kind: str, text: str, **more: Any) -> dict[str, Any]:
        name = tick_key(key, kind, text)
        return {"tick": name, "ticked": name in ticked, "text": text, **more}

    goals = [{"key": g, "words": words, "refused": p.refusals[g].reason if g in p.refusals else "", "chosen": g == p.goal}
             for g, words in GOALS.items()]
    return {
        "id": key, "name": p.subject.name, "material": material_words(p), "size": size_words(p, us), "goal": p.goal or "",
        "goal_words": GOALS[p.goal] if p.goal else "", "goals": [g for g in goals if not g["refused"]],
        "refused": [g for g in goals if g["refused"]], "asked": asked, "old_finish": p.subject.old_finish,
        "repairs": [f"{r.title}. {r.caution}" for r in route.repairs] if route else [],
        "conditions": [box("if", c[0] if isinstance(c, tuple) else str(c)) for c in route.conditions] if route else [],
        "steps": [box("step", f"{s.key}: {s.title}", head=step_head(s), how=s.how, test=s.test, stop="; or ".join(s.stop),
                      product=products().kinds[s.product].words if s.product else "") for s in route.steps] if route else [],
        "pitfalls": [{"title": q.title, "text": q.text, "patch": q.patch, "remedy": q.remedy} for q in route.pitfalls]
        if route else [],
    }  # fmt: skip


def _need(n: Any, us: bool, currency: str) -> dict[str, str]:
    """A line of what to buy: what it is, how much the work takes, what to buy for that."""
    words, line = n.product.words, need_line(n, us, currency)
    rest = [t for t in re.split(r"\s{2,}", line[len(words):].strip()) if t]
    taken = rest.pop(0) if rest and rest[0].endswith((" L", " pt")) and " to " in rest[0] else ""
    return {"words": words, "taken": f"takes {taken}" if taken else "", "buy": ", ".join(rest), "key": n.product.key}


def _days(lines: list[str]) -> list[dict[str, Any]]:
    """Days with their work; lines of work are further in."""
    out: list[dict[str, Any]] = []
    for line in lines:
        if line.startswith("    ") and out:
            out[-1]["work"].append(line.strip())
        else:
            out.append({"day": line.strip(), "work": []})
    return out


def _price(key: str, words: str, by_piece: bool, prices: Mapping[str, Any]) -> dict[str, Any]:
    """A field of the form of prices."""
    row = prices.get("prices", {}).get(key)
    if isinstance(row, Mapping):
        text = ", ".join(f"{can} = {money:g}" for can, money in row.items())
    else:
        text = "" if row is None else f"{row:g}"
    return {"key": key, "words": words, "by_piece": by_piece, "value": text, "on_hand": prices.get("on_hand", {}).get(key, "")}


def prices_from(given: Mapping[str, str], before: Mapping[str, Any]) -> dict[str, Any]:
    """The price list with what a form says: `price|KEY` as '0.75 L = 17, 2.5 L = 42' or, of what is sold by the piece, '3.5';
    `hand|KEY` what is there already. What the form does not name stays; an empty field takes it back.

    Raises
    ------
    UsageError
        for what is no price; sizes are read, and refused, where the list is read.
    """
    rows, hand = dict(before.get("prices", {})), dict(before.get("on_hand", {}))
    kinds = products().kinds
    for name, value in given.items():
        what, _, key = name.partition("|")
        if what not in ("price", "hand") or key not in kinds:
            continue
        (rows if what == "price" else hand).pop(key, None)
        if not value:
            continue
        by_piece = kinds[key].coverage is None
        if what == "price":
            rows[key] = _money(value, kinds[key].words) if by_piece else _cans(value, kinds[key].words)
        else:
            hand[key] = _money(value, kinds[key].words) if by_piece else value
    return {"currency": given.get("currency", before.get("currency", ""))[:12], "prices": rows, "on_hand": hand}


def _cans(text: str, what: str) -> dict[str, float]:
    out = {}
    for can in text.replace(";", ",").split(","):
        size, equals, price = (t.strip() for t in can.partition("="))
        if not equals or not size:
            raise UsageError(what, f"{can.strip()!r} is no can with its price.", "Write it as in: 0.75 L = 17, 2.5 L = 42")
        out[size] = _money(price, what)
    return out


def _money(text: str, what: str) -> float:
    try:
        return float(text)
    except ValueError as err:
        raise UsageError(what, f"{text!r} is no number.", "Write it with a full stop, as in: 3.5") from err

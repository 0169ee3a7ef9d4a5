"""A standing at the gate in words and as JSON types."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from service.deal.inputs import Three
from service.gate.ask import CANNOT_SAY, OPEN
from service.gate.rules import VERDICTS, Question, Rules
from service.gate.standing import Reason, Standing
from service.plan.types import HAZARDS
from service.rulebook import Source, rulebook

SCHEMA = "grainassay.gate/1.0"
ESTIMATE = ("Hours, materials and shares of the price are estimates of this program's makers, not counts; change them in "
            "service/rules/gate.toml. Do not count work twice that your own hours already hold.")
ONLY_LOOKED = "A look finds what shows: it does not prove that the rest is sound."
SAFE = "Local codes and licensed practice come first."


def shown(standing: Standing) -> list[Reason]:
    """Reasons worth printing: all, or where one should walk away the deal-breakers only."""
    return [r for r in standing.reasons if standing.money_talk or r.found.verdict == standing.verdict]


def _sources(standing: Standing, rules: Rules) -> list[Source]:
    found = [s for r in shown(standing) for s in r.found.sources]
    if standing.money_talk:
        found += [q.source for q in standing.looked] + ([rules.numbers] if found else [])
    return list(dict.fromkeys(found))


def _json_three(three: Three) -> dict[str, float]:
    return dict(zip(("least", "likeliest", "most"), (round(v, 3) for v in three), strict=True))


def question_json(question: Question) -> dict[str, Any]:
    """A question as JSON types, with the answers that are always possible."""
    answers = [{"key": a.key, "letter": a.letter, "words": a.words} for a in question.answers]
    always = [{"key": k, "letter": {CANNOT_SAY: "?"}.get(k, "-"), "words": w} for k, w in OPEN.items()]
    return {"key": question.key, "text": question.text, "how": question.how, "place": question.place, "seconds": question.seconds,
            "answers": [*answers, *always]}


def _reason_json(r: Reason) -> dict[str, Any]:
    adds = None if r.found.verdict == "walk_away" else {
        "hours": _json_three(r.found.hours), "materials": _json_three(r.found.materials), "share": _json_three(r.found.share)}
    return {"question": r.question.key, "text": r.question.text, "answer": r.answer.key, "words": r.answer.words,
            "verdict": r.found.verdict, "reason": r.found.reason, "do": r.found.do, "adds": adds, "work": r.found.work,
            "products": list(r.found.products), "hazards": list(r.found.hazards),
            "sources": [{"title": s.title, "status": s.status} for s in r.found.sources]}


def document(standing: Standing, rules: Rules, following: Question | None = None) -> dict[str, Any]:
    """JSON types. Added hours and materials are null where the verdict is to walk away; `share` is of the usual sale price."""
    talk = standing.money_talk
    return {
        "schema": SCHEMA, "verdict": standing.verdict, "words": VERDICTS[standing.verdict], "could_still_be": standing.could_be,
        "money_talk": talk, "reasons": [_reason_json(r) for r in standing.reasons],
        "hours": _json_three(standing.hours) if talk else None, "materials": _json_three(standing.materials) if talk else None,
        "share": _json_three(standing.share) if talk else None, "currency": standing.currency,
        "looked": [q.key for q in standing.looked],
        "not_looked": [{"question": u.question.key, "text": u.question.text, "why": u.why} for u in standing.unknown],
        "next": question_json(following) if following is not None else None,
        "hazards": {h: HAZARDS[h] for h in standing.hazards},
        "sources": [{"title": s.title, "status": s.status} for s in _sources(standing, rules)],
        "cautions": [ONLY_LOOKED, SAFE] + ([ESTIMATE] if talk and standing.reasons else []),
    }


def _span(three: Three, unit: str) -> str:
    low, likeliest, high = three
    return f"{low:g} to {high:g}{unit}, likeliest {likeliest:g}" if low < high else f"{low:g}{unit}"


@lru_cache(maxsize=1)
def _products() -> dict[str, str]:
    return {row["key"]: row["words"] for row in rulebook("products").tables["products"]}


def _short(verdict: str) -> str:
    return VERDICTS[verdict].partition(":")[0]


def _reason_lines(r: Reason) -> list[str]:
    lines = [f"  {r.question.text} {r.answer.words[:1].upper()}{r.answer.words[1:]}.",
             f"    {_short(r.found.verdict).capitalize()}. {r.found.reason}", f"    {r.found.do}"]
    if r.found.products:
        lines.append("    Takes: " + ", ".join(_products()[p] for p in r.found.products) + ".")
    return lines


def latest(standing: Standing, question: str) -> list[str]:
    """What an answer just given leads to, in words: at once, since it may be about what to keep one's hands off."""
    lines = [line for r in standing.reasons if r.question.key == question for line in _reason_lines(r)[1:]]
    return [*lines, f"    So far: {_short(standing.verdict)}."] if lines else []


def added_lines(standing: Standing) -> list[str]:
    """What the standing adds to a deal, in words; none where nothing is added."""
    if not standing.money_talk or not standing.reasons:
        return []
    low, likeliest, high = (round(100 * v) for v in standing.share)
    lines = [f"  adds hours       {_span(standing.hours, ' h')}",
             f"  adds materials   {_span(standing.materials, ' ' + standing.currency)} (with fees)"]
    if low < 100:
        lines.append(f"  sells for        {low} to {high} % of the usual price, likeliest {likeliest} %")
    return lines


def open_lines(standing: Standing) -> list[str]:
    """What no answer cleared, in words; none where one should walk away or everything was looked at."""
    if not standing.money_talk or not standing.unknown:
        return []
    lines = [f"  {said}: " + ", ".join(left) for why, said in OPEN.items()
             if (left := [u.question.name for u in standing.unknown if u.why == why])]
    lines.append(f"  These are open, not clear. The worst they can still bring: {_short(standing.could_be)}.")
    return lines


def lines_of(standing: Standing, rules: Rules, *, sources: bool = True) -> list[str]:
    """What is printed; where one should walk away, the deal-breakers only."""
    if not standing.looked:
        return ["At the gate: no question is answered, so nothing is known.", SAFE]
    lines = [f"At the gate: {VERDICTS[standing.verdict]}."]
    for reason in shown(standing):
        lines += _reason_lines(reason)
    lines += added_lines(standing)
    lines += open_lines(standing)
    lines += [ONLY_LOOKED, SAFE] if standing.money_talk else [SAFE]
    if standing.money_talk and standing.reasons:
        lines.append(ESTIMATE)
    if sources:
        lines += ["", "Rests on:", *(f"  {s.words}" for s in _sources(standing, rules))]
    return lines

"""A judged deal in words and as JSON types."""

from __future__ import annotations

from typing import Any

from service.deal.inputs import Deal
from service.deal.money import CAUTIOUS, Judged, Span, best

ESTIMATE = "All of this follows from the numbers in your file; none of them is known, and the program guesses none."


def _span(s: Span) -> dict[str, float]:
    return {"mean": round(s.mean, 2), "low": round(s.low, 2), "high": round(s.high, 2)}


def document(deal: Deal, found: Judged) -> dict[str, Any]:
    """Money in the user's currency, chances 0..1; ranges hold nine in ten."""
    return {"schema": "grainassay.deal/1.0", "currency": deal.currency, "asked": deal.asked, "profit": _span(found.profit),
            "after_labour": _span(found.after_labour), "per_hour": _span(found.per_hour), "chance_of_loss": round(found.loss, 4),
            "break_even_offer": round(found.offer, 2), "cautious_offer": round(found.cautious, 2), "cautious_loss": CAUTIOUS,
            "after_labour_by_outcome": {k: round(v, 2) for k, v in found.by_outcome.items()},
            "checks": [{"name": w.check, "worth": round(w.value, 2), "turns_decision": round(w.change, 4)} for w in found.worth],
            "simulation_error": round(found.error, 2), "caution": ESTIMATE}


def lines_of(deal: Deal, found: Judged) -> list[str]:
    """What is printed."""
    unit = f" {deal.currency}" if deal.currency else ""

    def span(s: Span) -> str:
        return f"{s.mean:.0f}{unit} on average, nine in ten between {s.low:.0f} and {s.high:.0f}"

    buys = found.after_labour.mean > 0
    lines = [f"At {deal.asked:g}{unit}: " + ("worth it on average." if buys else "leave it, on average."),
             f"  left after costs   {span(found.profit)}",
             f"  an hour of yours   {span(found.per_hour)}",
             f"  after your hours   {span(found.after_labour)}  (hours at {deal.rate:g}{unit})",
             f"  chance of a loss after your hours: {found.loss:.0%}", ""]
    lines += [f"  if it is {name}: {value:+.0f}{unit}" for name, value in found.by_outcome.items()]
    lines.append("")
    if found.offer > 0:
        lines.append(f"Nothing is gained on average above {found.offer:.0f}{unit}.")
        keep = f"the chance of a loss at {CAUTIOUS:.0%} or less"
        lines.append(f"To keep {keep}, offer at most {found.cautious:.0f}{unit}." if found.cautious
                     else f"No price keeps {keep}: look closer or leave it.")
    else:
        lines.append("Not even as a gift, on average.")
    first = best(found.worth)
    if first is not None:
        lines.append(f"Before paying: {first.check}. Worth {first.value:.0f}{unit} on average; it turns the decision in "
                     f"{first.change:.0%} of such deals.")
    elif found.worth:
        lines.append("None of the checks you list is worth its minutes for this decision.")
    return [*lines, ESTIMATE]

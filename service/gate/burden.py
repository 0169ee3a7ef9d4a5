"""What a standing at the gate adds to a deal; where one should walk away there is no deal to add to."""

from __future__ import annotations

import math
from dataclasses import replace

from service.deal.inputs import Deal, Outcome, Three
from service.gate.standing import Standing
from vision.errors import GrainassayError, UsageError


class NoMoneyTalk(GrainassayError):
    """The gate says walk away: nothing is reckoned."""

    exit_code = 2


def burden(standing: Standing, exchange: float = 1.0) -> tuple[Three, Three]:
    """(hours, materials) added, each least, likeliest, most; `exchange`: units of the user's money for one of the rules'.

    Raises
    ------
    NoMoneyTalk
        where the verdict is to walk away.
    UsageError
        if the exchange is not above zero.
    """
    if not standing.money_talk:
        first = standing.reasons[0]
        raise NoMoneyTalk("gate", f"{first.answer.words} ({first.question.key}): {first.found.reason}",
                          f"{first.found.do} Nothing is reckoned for it.")
    if not (math.isfinite(exchange) and exchange > 0):
        raise UsageError("exchange", f"{exchange} is no rate of exchange.", "Give a number above zero.")
    low, likeliest, high = standing.materials
    return standing.hours, (low * exchange, likeliest * exchange, high * exchange)


def _plus(a: Three, b: Three) -> Three:
    return a[0] + b[0], a[1] + b[1], a[2] + b[2]


def with_burden(outcome: Outcome, standing: Standing, exchange: float = 1.0) -> Outcome:
    """An outcome of a deal with hours and materials added and the sale price lowered."""
    hours, materials = burden(standing, exchange)
    low, likeliest, high = (sale * share for sale, share in zip(outcome.sale, standing.share, strict=True))
    return replace(outcome, hours=_plus(outcome.hours, hours), materials=_plus(outcome.materials, materials),
                   sale=(low, likeliest, high))


def merged(deal: Deal, standing: Standing, exchange: float | None = None) -> Deal:
    """A deal with what the gate found counted in under every outcome. Hours and materials of the deal must not hold it already.

    Raises
    ------
    NoMoneyTalk
        where the verdict is to walk away.
    UsageError
        where materials are added, the deal is in other money than the rules, and no `exchange` is given.
    """
    if exchange is None:
        if standing.money_talk and standing.materials[2] > 0 and deal.currency not in ("", standing.currency):
            raise UsageError("currency", f"materials at the gate are in {standing.currency}, the deal is in {deal.currency}.",
                             f"Say how many {deal.currency} one {standing.currency} is.")
        exchange = 1.0
    return replace(deal, outcomes=tuple(with_burden(o, standing, exchange) for o in deal.outcomes))

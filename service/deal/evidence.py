"""Chances of a deal from a part's verdict and hand checks, and which check still to make is worth most money before paying."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np

from service.deal.inputs import Deal
from service.deal.money import Worth, means_of, worth_of_answers
from service.hand.belief import FACE_OF, WEIGHED, Fused
from service.hand.checks import SUBSTRATES, Check, Rules
from service.hand.worth import OVERHEAD
from vision.errors import UsageError

#: Shares of faces that no outcome stands for beyond which the chances would mislead.
UNCOVERED = 0.25


def with_belief(deal: Deal, fused: Fused) -> tuple[Deal, float]:
    """(the deal with the chances of this part, share of what no outcome stands for and is left out).

    Raises
    ------
    UsageError
        where no outcome names faces, or too much of the part's chances falls under none.
    """
    shares = {o.name: sum(fused.faces[f].middle for f in o.faces) for o in deal.outcomes}
    covered = sum(shares.values())
    if not any(o.faces for o in deal.outcomes) or covered < 1 - UNCOVERED:
        missing = [f for f, r in fused.faces.items() if r.middle > 0.05 and not any(f in o.faces for o in deal.outcomes)]
        raise UsageError("outcomes", "stand for too little of what the part may be: " + ", ".join(missing) + " is under none.",
                         "Add faces = [...] to the outcomes; docs/deal.toml shows how.")
    return replace(deal, outcomes=tuple(replace(o, chance=shares[o.name] / covered) for o in deal.outcomes)), 1 - covered


def _rows(deal: Deal, fused: Fused, check: Check, share: float) -> Mapping[str, list[float]]:
    """Outcome -> chance of each answer, over the substrates of its faces as they stand; what repeats earlier answers is drawn
    towards what everyone would answer."""
    p = np.array([fused.substrates[s] for s in SUBSTRATES])
    every = p @ check.table
    out = {}
    for o in deal.outcomes:
        mine = p * np.array([FACE_OF[s] in o.faces for s in SUBSTRATES])
        row = mine @ check.table / mine.sum() if mine.sum() > 0 else every
        out[o.name] = (share * row + (1 - share) * every).tolist()
    return out


def hand_checks_worth(
    deal: Deal, fused: Fused, role: str, rules: Rules, answered: Collection[str] = ()
) -> tuple[Worth, ...]:
    """Every hand check still open on the part, most money first: expected gain of deciding after it, less its time."""
    means = means_of(deal)
    told = {rules.checks[w.check].group if w.check != WEIGHED else "mass" for w in fused.weights}
    done = set(answered) | {w.check for w in fused.weights}
    found = []
    for check in rules.checks.values():
        if check.key in done or role not in check.roles:
            continue
        share = rules.within_group if check.group in told else 1.0
        rows = _rows(deal, fused, check, share)
        found.append(worth_of_answers(check.text, (check.seconds + OVERHEAD) / 60, rows, deal, means))
    return tuple(sorted(found, key=lambda w: -w.value))

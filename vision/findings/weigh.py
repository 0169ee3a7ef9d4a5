"""Weight of evidence of each group of measurements, in decibans (I. J. Good: ten times log10 of the likelihood ratio).

The classifier adds up one log-likelihood term per group and class, so the weight of a group for class a as against
class b is exactly the difference of its two terms.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

DECIBANS_PER_NAT = 10.0 / math.log(10.0)


@dataclass(frozen=True)
class Weight:
    """Evidence of one group on one question: `decibans` >= 0 for `supports` as against `against`."""

    supports: str
    against: str
    decibans: float


def question(distribution: Mapping[str, float]) -> tuple[str, str]:
    """The two likeliest classes, likeliest first: what the evidence has to settle."""
    ranked = sorted(distribution, key=lambda k: (-distribution[k], k))
    return ranked[0], ranked[1]


def weigh(terms: Mapping[str, float], pair: tuple[str, str]) -> Weight:
    """Weight of one group's log-likelihood terms (nats, by class) on a question between two classes."""
    a, b = pair
    nats = terms[a] - terms[b]
    if nats < 0:
        a, b, nats = b, a, -nats
    return Weight(a, b, nats * DECIBANS_PER_NAT)

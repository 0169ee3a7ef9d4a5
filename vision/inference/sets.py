"""Prediction sets: the classes not ruled out at a level, by thresholds learnt on authors held out (conformal sets).

Thresholds are one a class (label-conditional): the share of panels of a class whose set misses it does not depend on
how common the class is, so a rare class is not sacrificed to keep the average. They apply to the probabilities under
the reference prior, whatever prior is shown.
"""

from __future__ import annotations

from collections.abc import Mapping


def chosen(probabilities: Mapping[str, float], thresholds: Mapping[str, float], tie: float = 1e-9) -> tuple[str, ...]:
    """Classes whose probability reaches their threshold, likeliest first; never empty: the likeliest is always in."""
    ranked = sorted(probabilities, key=lambda k: (-probabilities[k], k))
    kept = tuple(k for i, k in enumerate(ranked) if i == 0 or probabilities[k] + tie >= thresholds[k])
    return kept


def substrates_within(
    probabilities: Mapping[str, float], thresholds: Mapping[str, float], allowed: Mapping[str, bool]
) -> tuple[str, ...]:
    """Substrate set that names no face or core which its own sets rule out; the likeliest allowed one is always in."""
    within = {k: v for k, v in probabilities.items() if allowed[k]}
    return chosen(within or probabilities, thresholds)

"""Evidence adds up: each group of measurements has a small expert, and its log-likelihood terms are summed with weights.

log posterior(class) = log prior(class) + sum over kinds of terms(kind, class) + constant. Nothing else enters, so the
weight of one kind for class a as against class b is exactly terms[a] - terms[b].
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def terms(log_probs: Array, weights: Array) -> Array:
    """(..., experts, classes) evidence in nats of experts taught on equally many of each class.

    `log_probs` (..., experts, classes), `weights` (experts,) not negative. Each expert's terms are centred: they sum to
    zero over the classes, so that evidence that says nothing is zero everywhere.
    """
    centred = log_probs - log_probs.mean(axis=-1, keepdims=True)
    return np.asarray(centred * weights[:, None])


def by_kind(expert_terms: Array, experts: Sequence[str], kind_of: dict[str, str], kinds: Sequence[str]) -> Array:
    """(kinds, classes) sum of (experts, classes) terms over the experts of each kind; zeros where a kind has none."""
    out = np.zeros((len(kinds), expert_terms.shape[-1]))
    for row, name in zip(expert_terms, experts, strict=True):
        out[kinds.index(kind_of[name])] += row
    return out


def trust(distance: Array | float, limit: float) -> Array:
    """Share of the evidence that is kept: 1 up to `limit`, then falling off as limit / distance.

    Surfaces far from everything taught on say less about the classes than the experts believe.
    """
    d = np.asarray(distance, dtype=np.float64)
    return np.asarray(np.minimum(1.0, limit / np.maximum(d, 1e-12)))


def unlikeness(distance: float, quantiles: Sequence[float]) -> float:
    """Share 0..1 of surfaces by authors never taught on that lie nearer to the taught ones than this.

    `quantiles`: evenly spaced quantiles 0..1 of their distances, growing.
    """
    return float(np.interp(distance, quantiles, np.linspace(0, 1, len(quantiles))))

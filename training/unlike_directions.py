"""The leading directions in which taught panels differ, all crops together, and how far along them a panel lies.

What few panels could teach - the many small directions - is left out, and crops that agree in a way no taught panel's do
count, which no single number shows (compared in `training.refusal_scores`).
"""

from __future__ import annotations

import numpy as np

from training.experts import Array


def leading(z: Array, kept: int) -> tuple[Array, Array, Array]:
    """Centre (k,), spread (k,) and (k, kept) matrix that takes standardised numbers to their leading principal directions,
    each scaled to unit variance, from numbers (n, k) of n panels. The sign of a direction does not matter: it is squared."""
    centre, spread = z.mean(axis=0), z.std(axis=0)
    _, s, v = np.linalg.svd((z - centre) / spread, full_matrices=False)
    return centre, spread, v[:kept].T / (s[:kept] / np.sqrt(len(z)))


def distance(z: Array, centre: Array, spread: Array, directions: Array) -> Array:
    """(n,) root mean square of (n, k) numbers along the directions: 1 is ordinary."""
    return np.asarray(np.sqrt((((z - centre) / spread @ directions) ** 2).mean(axis=1)))

"""What an answer is worth: mutual information in bits, and the chance that it settles the question."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Rows = Mapping[str, Mapping[str, float]]


def entropy(p: Sequence[float]) -> float:
    """Shannon entropy, bits."""
    return -sum(x * math.log2(x) for x in p if x > 0)


def gain(belief: Mapping[str, float], rows: Rows) -> float:
    """Mutual information in bits between the hidden class and the outcome.

    `belief`: class -> probability; `rows`: class -> outcome -> P(outcome | class).
    """
    return bits(*arrays(belief, rows))


def bits(p: Array, table: Array) -> float:
    """The same of (classes,) belief and (classes, outcomes) P(outcome | class)."""
    inner = sum(float(w) * entropy(row.tolist()) for w, row in zip(p, table, strict=True) if w > 0)
    return max(0.0, entropy((p @ table).tolist()) - inner)


def arrays(belief: Mapping[str, float], rows: Rows) -> tuple[Array, Array]:
    """((classes,), (classes, outcomes)) of mappings, in the order of the belief."""
    outcomes = list(dict.fromkeys(o for key in belief for o in rows[key]))
    table = np.array([[rows[key].get(o, 0.0) for o in outcomes] for key in belief])
    return np.array(list(belief.values()), dtype=np.float64), table


def settles(p: Array, table: Array, member: Array, level: float) -> float:
    """Chance that after the outcome one group of classes reaches `level`.

    `member` (classes, groups) 0/1: which group (a face) each class counts for. By Bayes' rule for every outcome; where the
    belief has reached the level already, the chance is that it still does.
    """
    joint = p[:, None] * table
    outcome = joint.sum(axis=0)
    seen = outcome > 0
    after = (joint[:, seen] / outcome[seen]).T @ member
    return float(outcome[seen] @ (after.max(axis=1) >= level))

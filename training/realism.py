"""How well one number tells a render from a photo: where it does so well, the renders are not like photos in it.

The test compares like with like: real and rendered panels of the same face class, each specimen counting once, so that a
different mix of classes cannot look like a difference of making. 0.5 = cannot tell, 1 = always tells.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.calibration import specimen_weight
from training.experts import Array, balanced, fit_expert, log_softmax
from training.figures import auc
from training.stacking import author_folds
from training.tables import Table
from vision.inference.joint import FACES

#: A feature at or above this betrays renders; see `betraying`.
LIMIT = 0.9


@dataclass(frozen=True)
class Realism:
    """`features`: name -> area under the ROC curve of render against photo, folded to 0.5..1; `missing`: name -> difference
    of the share of panels in which it could not be measured; `groups`: group -> area of a classifier on all its features,
    judged on authors and pieces it was not taught on."""

    features: dict[str, float]
    missing: dict[str, float]
    groups: dict[str, float]


def _paired_weights(real: Table, rendered: Table) -> tuple[Array, Array]:
    """Weights with which both tables have the same mix of faces."""
    w_real = balanced(real.face, specimen_weight(np.ones(len(real)), real.specimen, real.face >= 0), len(FACES))
    w_made = balanced(rendered.face, specimen_weight(np.ones(len(rendered)), rendered.specimen, rendered.face >= 0), len(FACES))
    shared = [c for c in range(len(FACES)) if w_real[real.face == c].sum() > 0 and w_made[rendered.face == c].sum() > 0]
    return np.where(np.isin(real.face, shared), w_real, 0), np.where(np.isin(rendered.face, shared), w_made, 0)


def within_classes(score: Array, made: NDArray[np.bool_], face: NDArray[np.int8], weight: Array) -> float:
    """Mean over face classes of the area within the class; nan without any."""
    found = []
    for c in range(len(FACES)):
        rows = (face == c) & (weight > 0) & np.isfinite(score)
        if rows.any() and made[rows].any() and not made[rows].all():
            found.append(auc(score[rows], made[rows], weight[rows]))
    return float(np.mean(found)) if found else float("nan")


def realism(real: Table, rendered: Table, groups: dict[str, list[int]], seed: int = 0) -> Realism:
    """Compare two tables of the same schema; `groups`: name -> columns of `values`."""
    w = np.concatenate(_paired_weights(real, rendered))
    made = np.arange(len(w)) >= len(real)
    face = np.concatenate([real.face, rendered.face])
    values = np.concatenate([real.values, rendered.values]).astype(np.float64)
    features, missing = {}, {}
    for i, name in enumerate(real.names):
        a = within_classes(values[:, i], made, face, w)
        features[str(name)] = max(a, 1 - a) if np.isfinite(a) else 0.5
        share = [float(np.average(~np.isfinite(values[m, i]), weights=w[m])) for m in (made, ~made)]
        missing[str(name)] = share[0] - share[1]
    author = np.concatenate([np.char.add("r", real.author), np.char.add("m", rendered.author)])
    told = {}
    for group, at in groups.items():
        score = np.full(len(w), np.nan)
        for test in author_folds(author, made.astype(np.int8), 4, seed):
            kept = np.where(test, 0.0, w)
            label = made.astype(np.int8)
            expert = fit_expert(values[:, at].astype(np.float32), label, balanced(label, kept, 2), 2, penalty=0.05, prepare=True)
            lp = log_softmax(expert.log_probs(values[test][:, at].astype(np.float32)))
            score[test] = lp[:, 1] - lp[:, 0]
        told[group] = within_classes(score, made, face, w)
    return Realism(features, missing, told)


def betraying(found: Realism) -> list[str]:
    """Features that tell renders from photos too well, by value or by being measurable in one and not in the other."""
    return sorted(n for n, a in found.features.items() if a >= LIMIT or abs(found.missing[n]) >= LIMIT - 0.5)

"""How much each expert counts: weights not below zero, learnt on what experts say about authors they never saw.

The evidence of an expert is weight * (its centred log probabilities); evidence is added to the log prior. The weights are
scaled as a whole by a temperature afterwards (`calibration`), which keeps the sum exact.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from training.experts import Array, log_softmax


def author_folds(author: NDArray[np.str_], strata: NDArray[np.int8], folds: int, seed: int) -> Iterator[NDArray[np.bool_]]:
    """Test masks of folds that no author is split by, with the strata spread as evenly as their authors allow."""
    from sklearn.model_selection import StratifiedGroupKFold

    splitter = StratifiedGroupKFold(folds, shuffle=True, random_state=seed)
    for _, test in splitter.split(np.zeros(len(author)), strata.astype(int) + 1, author):
        mask = np.zeros(len(author), dtype=bool)
        mask[test] = True
        yield mask


def centred(log_probs: Array) -> Array:
    """(n, experts, classes) evidence before weighting; as `vision.inference.evidence.terms` with weights of one."""
    return np.asarray(log_probs - log_probs.mean(axis=-1, keepdims=True))


def fit_weights(
    log_probs: Array, labels: NDArray[np.int8], weight: Array, offset: Array, *, strength: float, start: float,
    scale: Array | None = None,
) -> Array:
    """Weights (experts,) >= 0 that minimise the weighted mean log loss of offset + sum of weight * evidence.

    `log_probs` (n, experts, classes); `offset` (n, classes) log prior (or what else is known of each row); `weight` (n,)
    sums to anything; a ridge of `strength` pulls every weight towards `start`; `scale` (n,) multiplies a row's evidence.
    """
    used = (labels >= 0) & (weight > 0)
    e = centred(log_probs[used])
    if scale is not None:
        e = e * scale[used][:, None, None]
    y, w, base = labels[used], weight[used] / weight[used].sum(), offset[used]
    rows = np.arange(len(y))
    true = e[rows, :, y]

    def loss(v: Array) -> tuple[float, Array]:
        lp = log_softmax(base + np.einsum("nec,e->nc", e, v))
        expected = np.einsum("nec,nc->ne", e, np.exp(lp))
        value = -float(w @ lp[rows, y]) + 0.5 * strength * float(((v - start) ** 2).sum())
        return value, w @ (expected - true) + strength * (v - start)

    k = e.shape[1]
    found = minimize(loss, np.full(k, start), jac=True, method="L-BFGS-B", bounds=[(0, None)] * k,
                     options={"maxiter": 1000, "gtol": 1e-8, "ftol": 1e-15})
    return np.asarray(found.x)

"""Face and core judged together: P(face, core) proportional to p(face) T(core | face) r(core)^shown.

T says how often a face lies on a core (a table from labelled data, see the model card); r is what the core's own
evidence says, counted only as far as the core shows (`shown`). A pair that cannot exist has T = 0.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision import registry

Array = NDArray[np.float64]
FACES = tuple(registry.FACES)
CORES = tuple(registry.CORES)
SUBSTRATES = tuple(registry.SUBSTRATES)
#: (6, 4) True where a face can lie on a core.
POSSIBLE: NDArray[np.bool_] = np.array([[(f, c) in registry.SUBSTRATE_OF for c in CORES] for f in FACES])
#: log of zero that stays finite, so that differences never become nan.
NEVER = -1e3
#: Gauss-Legendre nodes of the path integral in `shares`.
NODES = 24


def log_sum(a: Array, axis: int | tuple[int, ...]) -> Array:
    """log of the sum of exponentials along axes."""
    top = a.max(axis=axis, keepdims=True)
    return np.asarray(np.squeeze(top, axis) + np.log(np.exp(a - top).sum(axis=axis)))


def shown(visible: Array | float) -> Array:
    """Power to which the core's evidence is raised: the square of the probability that the core is visible.

    The square keeps a face that might be an edge from lending its figure to the core (better on authors held out).
    """
    return np.asarray(visible, dtype=np.float64) ** 2


def normalise(log_weights: Array) -> Array:
    """(..., k) log weights as probabilities along the last axis."""
    p = np.exp(log_weights - log_weights.max(axis=-1, keepdims=True))
    return np.asarray(p / p.sum(axis=-1, keepdims=True))


def log_table(table: Array) -> Array:
    """(6, 4) log T(core | face); impossible pairs get NEVER.

    Raises
    ------
    ValueError
        if a row is not a distribution over the cores that its face can lie on.
    """
    t = np.asarray(table, dtype=np.float64)
    if t.shape != POSSIBLE.shape or not np.allclose(t.sum(axis=1), 1, atol=1e-6) or (t[~POSSIBLE] != 0).any():
        raise ValueError("the table of cores under faces is not one distribution a face over possible cores")
    return np.where(t > 0, np.log(np.maximum(t, 1e-300)), NEVER)


def joint_log(log_prior_face: Array, table: Array, face_terms: Array, core_terms: Array) -> Array:
    """(..., 6, 4) log weights, not normalised.

    `log_prior_face` (6,), `table` from `log_table`, `face_terms` (..., 6) and `core_terms` (..., 4) evidence in nats, the
    core's already multiplied by how far it shows.
    """
    return np.asarray((log_prior_face + face_terms)[..., :, None] + table + core_terms[..., None, :])


def margins(log_weights: Array) -> tuple[Array, Array]:
    """Face (..., 6) and core (..., 4) distributions of joint log weights (..., 6, 4)."""
    return normalise(log_sum(log_weights, -1)), normalise(log_sum(log_weights, -2))


def substrates(log_weights: Array) -> Array:
    """(..., 16) distribution over registry.SUBSTRATES of joint log weights (..., 6, 4)."""
    flat = normalise(log_weights.reshape(*log_weights.shape[:-2], -1)).reshape(log_weights.shape)
    out = np.zeros((*log_weights.shape[:-2], len(SUBSTRATES)))
    for (face, core), name in registry.SUBSTRATE_OF.items():
        out[..., SUBSTRATES.index(name)] += flat[..., FACES.index(face), CORES.index(core)]
    return np.asarray(out / out.sum(axis=-1, keepdims=True))


def shares(log_prior_face: Array, table: Array, face_terms: Array, core_terms: Array) -> tuple[Array, Array]:
    """What each kind of evidence adds to the log weight of each face and of each core once both are judged together.

    `face_terms` (kinds, 6) and `core_terms` (kinds, 4) hold the evidence by kind. All evidence is raised together from
    nothing to its full size; each kind is credited with its part of the change on the way (Aumann and Shapley's
    division of a joint effect), so the shares add up exactly.

    Returns (kinds, 6) and (kinds, 4) nats with log weight = log weight under the prior alone + sum over kinds.
    """
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    steps, weights = (nodes + 1) / 2, weights / 2
    face_total, core_total = face_terms.sum(axis=0), core_terms.sum(axis=0)
    path = joint_log(log_prior_face, table, steps[:, None] * face_total, steps[:, None] * core_total)
    core_given_face = np.tensordot(weights, normalise(path), axes=1)
    face_given_core = np.tensordot(weights, normalise(path.transpose(0, 2, 1)), axes=1)
    face_shares = face_terms + core_terms @ core_given_face.T
    core_shares = core_terms + face_terms @ face_given_core.T
    start = joint_log(log_prior_face, table, 0 * face_total, 0 * core_total)
    end = joint_log(log_prior_face, table, face_total, core_total)
    for found, axis in ((face_shares, -1), (core_shares, -2)):
        rest = log_sum(end, axis) - log_sum(start, axis) - found.sum(axis=0)
        size = np.abs(found)
        found += rest * size / np.maximum(size.sum(axis=0), 1e-300)
    return face_shares, core_shares

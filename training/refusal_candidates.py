"""Scores that say how unlike everything taught a panel looks, learnt from the looks of taught panels alone.

Each is fitted on (n, crops, dims) projected looks and gives one number a panel, larger for stranger. All are smooth, cost
less than a millisecond and are small enough to be stored with the classifier (`size`, bytes of float32 numbers).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.experts import Array
from training.unlike_directions import distance, leading

Score = Callable[[Array], Array]
Labels = NDArray[np.int8]


@dataclass(frozen=True)
class Candidate:
    """`fit(looks, face)` learns from taught panels (face: class index or -1) and returns the score and its stored size."""

    name: str
    fit: Callable[[Array, Labels], tuple[Score, int]]


def flat(looks: Array, dims: int, crops: tuple[int, ...] = (0, 1, 2)) -> Array:
    """(n, crops * dims) leading numbers of each crop."""
    return np.asarray(looks[:, list(crops), :dims], dtype=np.float64).reshape(len(looks), -1)


def spread_from_centre(dims: int, crops: tuple[int, ...] = (0, 1, 2)) -> Candidate:
    """Root mean square of standardised numbers."""

    def fit(looks: Array, _: Labels) -> tuple[Score, int]:
        z = flat(looks, dims, crops)
        centre, sd = z.mean(axis=0), z.std(axis=0)
        return (lambda x: np.sqrt((((flat(x, dims, crops) - centre) / sd) ** 2).mean(axis=1))), 8 * len(centre)

    names = "" if len(crops) == 3 else f", crop {crops[0]} alone"
    return Candidate(f"standardised distance, {dims} numbers a crop{names}", fit)


def _whitening(z: Array) -> Array:
    """(k, k) matrix that takes centred numbers to unit covariance, shrunk as Ledoit and Wolf (2004) say."""
    from sklearn.covariance import LedoitWolf

    covariance = LedoitWolf(assume_centered=True).fit(z).covariance_
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors / np.sqrt(np.maximum(values, 1e-9)))


def mahalanobis(dims: int) -> Candidate:
    """Distance from the mean in units of the shrunk covariance of all crops together."""

    def fit(looks: Array, _: Labels) -> tuple[Score, int]:
        z = flat(looks, dims)
        centre = z.mean(axis=0)
        white = _whitening(z - centre)
        return (lambda x: np.sqrt((((flat(x, dims) - centre) @ white) ** 2).mean(axis=1))), 4 * (white.size + len(centre))

    return Candidate(f"Mahalanobis, {dims} numbers a crop", fit)


def by_class(dims: int, *, background: bool) -> Candidate:
    """Distance to the nearest class mean in the classes' common shrunk covariance; furniture classes alone, or with what is
    no furniture as one more class that a panel may be like."""

    def fit(looks: Array, face: Labels) -> tuple[Score, int]:
        from vision.inference.joint import FACES

        z = flat(looks, dims)
        classes = [c for c in range(len(FACES)) if background or FACES[c] != "not_wood"]
        means = np.stack([z[face == c].mean(axis=0) for c in classes])
        inner = np.concatenate([z[face == c] - m for c, m in zip(classes, means, strict=True)])
        white = _whitening(inner)

        def score(x: Array) -> Array:
            found = (flat(x, dims)[:, None] - means) @ white
            return np.asarray(np.sqrt((found**2).mean(axis=2)).min(axis=1))

        return score, 4 * (white.size + means.size)

    what = "nearest class of all six" if background else "nearest furniture class"
    return Candidate(f"Mahalanobis, {what}, {dims} numbers a crop", fit)


def neighbours(dims: int, k: int, *, furniture: bool) -> Candidate:
    """Mean distance to the k nearest taught panels, numbers standardised."""

    def fit(looks: Array, face: Labels) -> tuple[Score, int]:
        from vision.inference.joint import FACES

        z = flat(looks, dims)
        centre, sd = z.mean(axis=0), z.std(axis=0)
        z = (z - centre) / sd
        if furniture:
            z = z[face != FACES.index("not_wood")]

        def score(x: Array) -> Array:
            u = (flat(x, dims) - centre) / sd
            squares = (u**2).sum(axis=1)[:, None] + (z**2).sum(axis=1) - 2 * u @ z.T
            nearest = np.partition(np.maximum(squares, 0), k - 1, axis=1)[:, :k]
            return np.asarray(np.sqrt(nearest / z.shape[1]).mean(axis=1))

        return score, 2 * z.size

    return Candidate(f"{k} nearest {'furniture' if furniture else 'taught'} panels, {dims} numbers a crop", fit)


def residual(kept: int) -> Candidate:
    """What the leading directions of all crops together leave over of a panel's numbers."""

    def fit(looks: Array, _: Labels) -> tuple[Score, int]:
        z = flat(looks, looks.shape[2])
        centre, sd = z.mean(axis=0), z.std(axis=0)
        basis = np.linalg.svd((z - centre) / sd, full_matrices=False)[2][:kept].T

        def score(x: Array) -> Array:
            u = (flat(x, x.shape[2]) - centre) / sd
            return np.asarray(np.sqrt(((u - u @ basis @ basis.T) ** 2).mean(axis=1)))

        return score, 4 * (basis.size + 2 * len(centre))

    return Candidate(f"left over by {kept} directions", fit)


def directions(kept: int, dims: int = 64) -> Candidate:
    """Root mean square of the leading directions of all crops together, each in units of its spread: what most panels vary
    in is measured, what few panels could teach is left out. What `training.fit.look_distance` does."""

    def fit(looks: Array, _: Labels) -> tuple[Score, int]:
        z = flat(looks, dims)
        centre, sd, basis = leading(z, kept)
        return (lambda x: distance(flat(x, dims), centre, sd, basis)), 4 * (basis.size + 2 * len(sd))

    return Candidate(f"{kept} directions of {dims} numbers a crop", fit)


def mixture(kept: int, parts: int, dims: int = 24) -> Candidate:
    """Minus the log density of a small Gaussian mixture in the leading directions of all crops together."""

    def fit(looks: Array, _: Labels) -> tuple[Score, int]:
        from sklearn.mixture import GaussianMixture

        z = flat(looks, dims)
        centre, sd, basis = leading(z, kept)
        model = GaussianMixture(parts, covariance_type="full", reg_covar=0.1, random_state=0).fit(((z - centre) / sd) @ basis)

        def score(x: Array) -> Array:
            return np.asarray(-model.score_samples(((flat(x, dims) - centre) / sd) @ basis))

        return score, 4 * (basis.size + parts * kept * (kept + 1))

    return Candidate(f"mixture of {parts} Gaussians, {kept} directions of {dims} numbers", fit)


PLAIN, SHIPPED = spread_from_centre(24), directions(32)
CANDIDATES: tuple[Candidate, ...] = (
    PLAIN, spread_from_centre(8), mahalanobis(24), mahalanobis(64), by_class(24, background=False),
    by_class(24, background=True), neighbours(24, 5, furniture=True), residual(96), mixture(12, 4), mixture(24, 3),
    mixture(24, 3, 64), directions(16), directions(24), SHIPPED, directions(40), directions(64),
)

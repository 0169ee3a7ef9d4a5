"""Base rates of the user's own market: given by hand, or estimated from photos whose truth nobody knows.

Base rates are no evidence. What a panel shows multiplies the odds between two faces by the same factor whatever they were
before, so odds under another prior are the odds under the first times the ratio of the priors, exactly.

The estimate is the shift correction of Saerens, Latinne and Decaestecker ("Adjusting the outputs of a classifier to new a priori
probabilities", Neural Computation 14, 2002): the base rates under which the photos are likeliest, found by expectation and
maximisation. It holds where faces look as they did when the classifier was taught and only their shares differ; how far it is off
on real photos stands in `training.market_check`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from vision.errors import UsageError
from vision.inference.joint import FACES

if TYPE_CHECKING:
    from vision.inference.model import Model

Array = NDArray[np.float64]
#: Least base rate of a face: what is ruled out beforehand could never be found, whatever the photo shows.
LEAST = 0.001
#: Fewer panels or photos than these say too little about a market to be used.
LEAST_PANELS, LEAST_PHOTOS = 30, 10
#: The start counts as this many panels of its own: on photos by authors left out that came nearer to the truth than trusting the
#: photos alone (`training.market_check`; 2, 10, 30, 100 and 300 were tried, with all authors in view).
START_PANELS = 30.0
MOST_STEPS, STILL = 2000, 1e-8


@dataclass(frozen=True)
class OwnPrior:
    """Base rates as a user gives them. `given`: face -> percent, or parts where all faces are named; `name`: what documents call
    them; `text`: in a sentence, where they come from."""

    name: str
    given: Mapping[str, float]
    text: str


@dataclass(frozen=True)
class Estimate:
    """Base rates estimated from unlabelled photos: `face` and its standard `error` by face, from `panels` on `photos`."""

    face: Mapping[str, float]
    error: Mapping[str, float]
    panels: int
    photos: int


def completed(given: Mapping[str, float], reference: Mapping[str, float]) -> dict[str, float]:
    """Face -> base rate from what was given; faces not named share the rest of 100 % in proportion to the reference.

    Raises
    ------
    UsageError
        for unknown faces, numbers that are no shares, and shares that leave a face without any chance.
    """
    subject = "base rates"
    unknown = sorted(set(given) - set(FACES))
    if unknown or not given:
        cause = f"'{unknown[0]}' is not a face." if unknown else "no face is named."
        raise UsageError(subject, cause, f"Name some of these: {', '.join(FACES)}; as in solid_wood=30,veneer=40.")
    wrong = [k for k, v in given.items() if not (np.isfinite(v) and v >= 0)]
    if wrong:
        raise UsageError(subject, f"{wrong[0]} is given {given[wrong[0]]:g}, which is no share.", "Give percents, 0.1 or more.")
    total, left = float(sum(given.values())), [f for f in FACES if f not in given]
    if left and total <= 1:
        raise UsageError(subject, f"the numbers sum to {total:g} %.", "Write percents: 30 for three in ten.")
    if left and total > 100 - 100 * LEAST * len(left):
        remedy = f"Leave at least {100 * LEAST * len(left):g} % for what is not named, or name all faces: then any parts will do."
        raise UsageError(subject, f"{total:g} % is given, which leaves nothing for {', '.join(left)}.", remedy)
    whole = 100.0 if left else total
    if whole <= 0:
        raise UsageError(subject, "all shares are 0.", "Give percents, 0.1 or more.")
    spare = sum(reference[f] for f in left)
    out = {f: given[f] / whole if f in given else (100 - total) / 100 * reference[f] / spare for f in FACES}
    low = [f for f in FACES if out[f] < LEAST * (1 - 1e-9)]
    if low:
        cause = f"{low[0]} would have a chance of {100 * out[low[0]]:.2g} %: what is ruled out beforehand could never be found."
        raise UsageError(subject, cause, f"Give every face at least {100 * LEAST:g} %.")
    sum_out = sum(out.values())
    return {f: v / sum_out for f, v in out.items()}


def with_prior(model: Model, own: OwnPrior) -> Model:
    """The model with one more prior, called `own.name`; everything else, sets included, stays as it was.

    Raises
    ------
    UsageError
        if the shares make no sense or the name is one of the model's own.
    """
    known = model.tables["priors"]
    if own.name in known:
        raise UsageError(f"prior {own.name!r}", "the model has base rates of that name already.", "Give yours another name.")
    face = completed(own.given, known["reference"]["face"])
    return replace(model, tables={**model.tables, "priors": {**known, own.name: {**known["reference"], "face": face}}})


def shifted(probabilities: Array, prior: Array, to: Array) -> Array:
    """Probabilities (n, k) that were given under base rates `prior` (k,), under base rates `to` (k,)."""
    moved = probabilities * (to / prior)
    return np.asarray(moved / moved.sum(axis=1, keepdims=True))


def likeliest_rates(probabilities: Array, prior: Array, weight: Array | None = None, start_panels: float = START_PANELS) -> Array:
    """(k,) base rates under which the panels are likeliest, by expectation and maximisation from `prior`.

    `probabilities` (n, k) were given under `prior`; `weight` (n,) counts rows, one each without; `prior` itself counts as
    `start_panels` rows.
    """
    w = np.ones(len(probabilities)) if weight is None else np.asarray(weight, dtype=np.float64)
    rates = np.asarray(prior, dtype=np.float64)
    for _ in range(MOST_STEPS):
        new = (w @ shifted(probabilities, prior, rates) + start_panels * prior) / (w.sum() + start_panels)
        if np.abs(new - rates).max() < STILL:
            return np.asarray(new)
        rates = new
    return rates


def estimate(
    faces: Sequence[Mapping[str, float]], photos: Sequence[str], prior: Mapping[str, float], rounds: int = 200
) -> Estimate:
    """Base rates of faces from panels nobody has labelled, with standard errors by bootstrap over photos.

    `faces`: distribution of each panel under `prior`; `photos`: which photo each lies on. Panels of a photo tend to be alike, so
    photos are drawn whole.

    Raises
    ------
    UsageError
        for fewer than LEAST_PANELS panels or LEAST_PHOTOS photos.
    """
    names, at = np.unique(np.asarray(photos, dtype=np.str_), return_inverse=True)
    if len(faces) < LEAST_PANELS or len(names) < LEAST_PHOTOS:
        raise UsageError(
            "market", f"{len(faces)} panels on {len(names)} photos are too few to tell what a market holds.",
            f"Give photos of more pieces: at least {LEAST_PHOTOS} photos with {LEAST_PANELS} panels, better hundreds.",
        )
    p = np.array([[f[k] for k in FACES] for f in faces])
    start = np.array([prior[k] for k in FACES])
    rates = np.maximum(likeliest_rates(p, start), 2 * LEAST)  # so that what comes out can be given back
    rates = rates / rates.sum()
    rng = np.random.default_rng(0)
    drawn = []
    for _ in range(rounds):
        times = np.bincount(rng.integers(0, len(names), len(names)), minlength=len(names))[at].astype(np.float64)
        drawn.append(likeliest_rates(p, start, times))
    found, error = (dict(zip(FACES, v.tolist(), strict=True)) for v in (rates, np.std(drawn, axis=0, ddof=1)))
    return Estimate(found, error, len(faces), len(names))

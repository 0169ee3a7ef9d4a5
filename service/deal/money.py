"""Profit as a distribution, what to offer, and what a check is worth, from the user's own inputs.

Hours, materials and sale are triangular and independent within an outcome. Profit is what is left after price, travel, materials,
fees, delivery, returns and the days it is kept; after labour it has also paid the hours at the user's rate. A piece that does
not sell brings its unsold value.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.deal.inputs import Check, Deal, Three

Array = NDArray[np.float64]
DRAWS, SEED = 40_000, 1
#: The cautious offer leaves at most this chance of a loss after labour.
CAUTIOUS = 0.2


@dataclass(frozen=True)
class Span:
    """Of some quantity: mean, and the range that nine in ten lie in."""

    mean: float
    low: float
    high: float

    @staticmethod
    def of(values: Array) -> Span:
        """From draws."""
        low, high = np.quantile(values, (0.05, 0.95))
        return Span(float(values.mean()), float(low), float(high))


@dataclass(frozen=True)
class Worth:
    """What a check is worth before paying. `value`: expected gain by deciding after it, less its minutes at the user's rate;
    `change`: chance that it turns the decision."""

    check: str
    value: float
    change: float


@dataclass(frozen=True)
class Judged:
    """A deal at the price asked. `offer`: price at which nothing is gained on average after labour; `cautious`: the highest with
    at most CAUTIOUS chance of a loss after labour (0 where there is none); `by_outcome`: name -> mean profit after labour;
    `error`: 95 % half width of the mean from the number of draws alone."""

    profit: Span
    after_labour: Span
    per_hour: Span
    loss: float
    offer: float
    cautious: float
    by_outcome: dict[str, float]
    worth: tuple[Worth, ...]
    error: float


def _triangular(rng: np.random.Generator, three: Three, n: int) -> Array:
    low, mode, high = three
    return np.full(n, low) if low == high else rng.triangular(low, mode, high, n)


def _drawn(deal: Deal, draws: int, seed: int) -> dict[str, tuple[Array, Array]]:
    """Outcome -> (profit at a price of nothing, hours), `draws` of each."""
    out = {}
    for k, o in enumerate(deal.outcomes):
        rng = np.random.default_rng([seed, k])
        sells, comes_back = rng.random(draws) >= deal.unsold, rng.random(draws) < deal.returns
        sale = _triangular(rng, o.sale, draws) * (1 - deal.fees) - deal.delivery
        back = deal.unsold_value - deal.delivery * comes_back
        brings = np.where(sells & ~comes_back, sale, np.where(sells, back, deal.unsold_value))
        hours = _triangular(rng, o.hours, draws) + deal.travel_hours
        kept = _triangular(rng, deal.days, draws) * deal.holding
        out[o.name] = (brings - _triangular(rng, o.materials, draws) - deal.travel - kept, hours)
    return out


def means_of(deal: Deal, *, draws: int = DRAWS, seed: int = SEED) -> dict[str, float]:
    """Outcome -> mean left after labour at a price of nothing."""
    return {n: float((free - hours * deal.rate).mean()) for n, (free, hours) in _drawn(deal, draws, seed).items()}


def judged(deal: Deal, *, draws: int = DRAWS, seed: int = SEED) -> Judged:
    """All there is to say about a deal."""
    drawn = _drawn(deal, draws, seed)
    rng = np.random.default_rng([seed, 10_000])
    which = rng.choice(len(deal.outcomes), draws, p=np.array([o.chance for o in deal.outcomes]))
    names = [o.name for o in deal.outcomes]
    free = np.stack([drawn[n][0] for n in names])[which, np.arange(draws)]
    hours = np.stack([drawn[n][1] for n in names])[which, np.arange(draws)]
    labour = hours * deal.rate
    after = free - labour - deal.asked
    means = {n: float((drawn[n][0] - drawn[n][1] * deal.rate).mean()) for n in names}
    expected = sum(o.chance * means[o.name] for o in deal.outcomes)
    worth = tuple(sorted((worth_of(c, deal, means) for c in deal.checks), key=lambda w: -w.value))
    return Judged(Span.of(free - deal.asked), Span.of(after), Span.of((free - deal.asked) / np.maximum(hours, 0.25)),
                  float((after < 0).mean()), expected, max(0.0, float(np.quantile(free - labour, CAUTIOUS))),
                  {n: m - deal.asked for n, m in means.items()}, worth, 1.96 * float(after.std() / np.sqrt(draws)))


def worth_of(check: Check, deal: Deal, means: dict[str, float]) -> Worth:
    """Value of information of one check: buy where the mean after labour is above zero, else leave (Raiffa and Schlaifer's
    preposterior analysis, the textbook form)."""
    rows = {n: (v, 1 - v) for n, v in check.finds.items()}
    return worth_of_answers(check.name, check.minutes, rows, deal, means)


def worth_of_answers(
    name: str, minutes: float, rows: Mapping[str, Sequence[float]], deal: Deal, means: Mapping[str, float]
) -> Worth:
    """The same for a check with any number of answers. `rows`: outcome -> chance of each answer."""
    prior = {o.name: o.chance for o in deal.outcomes}
    gain = {n: m - deal.asked for n, m in means.items()}
    without = max(0.0, sum(prior[n] * gain[n] for n in prior))
    buys = sum(prior[n] * gain[n] for n in prior) > 0
    total = change = 0.0
    for answer in range(len(next(iter(rows.values())))):
        share = sum(prior[n] * rows[n][answer] for n in prior)
        mean = sum(prior[n] * rows[n][answer] * gain[n] for n in prior)
        total += max(0.0, mean)
        if share > 0 and (mean > 0) != buys:
            change += share
    return Worth(name, total - without - minutes / 60 * deal.rate, change)


def best(worth: Sequence[Worth]) -> Worth | None:
    """The check worth most; None where none is worth its minutes."""
    found = max(worth, key=lambda w: w.value, default=None)
    return found if found is not None and found.value > 0 else None

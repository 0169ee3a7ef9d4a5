"""Chance of sanding through a thin face, by simulation: open field, arrises and corners, and old patches apart.

A round at a grit removes its middle estimate times a factor of the person (the same all day), a factor of each round, and in
places where faces wear first a further factor. All factors are log-normal. The draws are the same for every question asked with
the same seed, so that a thicker face never raises a chance and a further round never lowers one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from service.sanding.rules import TOOLS, Face, Goal, Rules
from vision.errors import UsageError

DRAWS, SEED = 20_000, 1
PLACES = ("field", "arris", "patch")
#: A way counts as reaching its goal when it does so in this share of the draws.
REACHED = 0.8
#: Above this chance anywhere on the face a way is refused.
TOO_RISKY = 0.05
ROUNDS = (1, 2, 3)
#: Most grits in one way.
LONGEST = 4


@dataclass(frozen=True)
class Step:
    """`rounds` over the face with one grit, by hand on a block or with a machine."""

    grit: int
    tool: str
    rounds: int = 1


@dataclass(frozen=True)
class Outlook:
    """Chances of a way. `through`: place -> chance that the face is gone there; `error`: 95 % half width of the largest, from the
    number of draws alone; `reached`: chance that the goal is; `removed_um`: middle removal in the field, and nine in ten."""

    steps: tuple[Step, ...]
    through: dict[str, float]
    error: float
    reached: float
    removed_um: tuple[float, float, float]

    @property
    def worst(self) -> float:
        """Largest chance of the three places: without patches, of field and arris."""
        return max(self.through.values())


class Bench:
    """The draws. `earlier`: refinishing jobs before this one; `patched`: whether old patches are known or likely."""

    def __init__(
        self, rules: Rules, face: Face, *, earlier: int = 0, patched: bool = False, draws: int = DRAWS, seed: int = SEED
    ) -> None:
        if not 0 <= earlier <= 10:
            raise UsageError("earlier jobs", f"{earlier} is no number of earlier refinishings.", "Give 0 to 10.")
        self.rules, self.patched = rules, patched
        s = rules.spread
        rng = np.random.default_rng(seed)
        self.thickness = 1000 * (face.low + (face.high - face.low) * rng.random(draws))
        self.person = np.exp(s.person * rng.standard_normal(draws))
        self.arris = s.arris_times * np.exp(s.arris * rng.standard_normal(draws))
        self.patch = s.patch_times * np.exp(s.patch * rng.standard_normal(draws))
        jobs = s.earlier_job_um * np.exp(s.earlier_job * rng.standard_normal((10, draws)))
        self.gone = jobs[:earlier].sum(axis=0)
        self._luck = {(p, n): np.exp(s.each_grit * rng.standard_normal(draws)) for p in rules.grits for n in range(max(ROUNDS))}

    def removed(self, steps: Sequence[Step]) -> NDArray[np.float64]:
        """(draws,) micrometres taken from the open field."""
        total = np.zeros(len(self.person))
        for step in steps:
            if (step.grit, step.tool) not in self.rules.removal:
                raise UsageError("sanding", f"P{step.grit} by {step.tool} is not among the grits known.",
                                 "Use one of " + ", ".join(f"P{p}" for p in self.rules.grits) + f", by {' or '.join(TOOLS)}.")
            if not 1 <= step.rounds <= max(ROUNDS):
                raise UsageError("sanding", f"{step.rounds} rounds with one grit.", f"Give 1 to {max(ROUNDS)}.")
            for n in range(step.rounds):
                total += self.rules.removal[step.grit, step.tool] * self._luck[step.grit, n]
        return np.asarray(total * self.person)

    def outlook(self, steps: Sequence[Step], goal: Goal | None = None) -> Outlook:
        """What a way does to this face."""
        removed = self.removed(steps)
        times = {"field": np.ones(len(removed)), "arris": self.arris, "patch": self.patch}
        through = {place: float(np.mean((removed + self.gone) * times[place] >= self.thickness))
                   for place in PLACES if place != "patch" or self.patched}
        worst = max(through.values())
        error = 1.96 * float(np.sqrt(max(worst * (1 - worst), 1 / len(removed)) / len(removed)))
        low, middle, high = np.quantile(removed, (0.05, 0.5, 0.95))
        reached = 1.0 if goal is None else float(np.mean(removed >= goal.field_um))
        return Outlook(tuple(steps), through, error, reached, (float(middle), float(low), float(high)))


def ways(rules: Rules, goal: Goal) -> Iterator[tuple[Step, ...]]:
    """Ways that end as the goal asks: coarse to fine, never more than one grit skipped, all by hand or all by machine."""
    grits = rules.grits
    for tool in TOOLS:
        for last in goal.last:
            end = grits.index(last)
            for begin in range(end + 1):
                for chain in _chains(begin, end):
                    if len(chain) <= LONGEST:
                        for rounds in product(ROUNDS[:2], repeat=len(chain)):
                            yield tuple(Step(grits[k], tool, n) for k, n in zip(chain, rounds, strict=True))


def _chains(begin: int, end: int) -> Iterator[tuple[int, ...]]:
    if begin == end:
        yield (end,)
        return
    for step in (1, 2):
        if begin + step <= end:
            for rest in _chains(begin + step, end):
                yield (begin, *rest)


def safest(bench: Bench, goal: Goal) -> Outlook | None:
    """The way that reaches the goal with the least chance of sanding through, fewer rounds first among equals; None where every
    way that reaches it is too risky."""
    found = [bench.outlook(w, goal) for w in ways(bench.rules, goal)]
    good = [o for o in found if o.reached >= REACHED and o.worst <= TOO_RISKY]
    return min(good, key=lambda o: (round(o.worst, 3), sum(s.rounds for s in o.steps), o.removed_um[0]), default=None)

"""What the weight of a flat part says about what it is made of, and what it cannot say.

Each core is taken as a mixture: lumber of the woods that the name given can mean (all woods where none is given), a board of the
makes in the rules. A make's density is normal about its mean, nine in ten within its spread; errors of scale and rule are added.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from statistics import NormalDist

from service.rulebook import Source, rulebook
from service.wood.density import all_species, as_it_lies, boards, species
from vision.errors import UsageError
from vision.registry import CORES

#: Nine in ten of a normal law lie within so many standard deviations.
NINE_IN_TEN = NormalDist().inv_cdf(0.95)
#: A core is told against when what was weighed is so many times likelier under another one.
TELLING = 6.0
#: A scale or a rule in doubt: least relative error of the volume, so that a guess is not taken for a measurement.
LEAST_ERROR = 0.01


@dataclass(frozen=True)
class Weighed:
    """A flat part on a scale. Sizes in mm, masses in kg; `mass_error`, `size_error`: nine times in ten the truth is within;
    `fittings`: mass of handles and hinges left on; `wood`: name of a wood or None; `moisture`: percent, None = as indoors."""

    mass: float
    length: float
    width: float
    thickness: float
    mass_error: float = 0.1
    size_error: float = 1.0
    fittings: float = 0.0
    wood: str | None = None
    moisture: float | None = None

    def __post_init__(self) -> None:
        for name in ("mass", "length", "width", "thickness"):
            if not (math.isfinite(getattr(self, name)) and getattr(self, name) > 0):
                raise UsageError(name, f"{getattr(self, name)} is not above zero.", "Weigh and measure the part.")
        if min(self.mass_error, self.size_error, self.fittings) < 0:
            raise UsageError("error", "an error or a mass of fittings is below zero.", "Give it as a positive number.")
        if self.fittings >= self.mass:
            raise UsageError("fittings", f"fittings of {self.fittings} kg leave nothing of {self.mass} kg.",
                             "Give the mass of the fittings alone.")
        if self.moisture is not None and not 0 <= self.moisture <= 30:
            raise UsageError("moisture", f"{self.moisture} % is not the moisture of dry wood.", "Give percent from 0 to 30.")

    @property
    def volume(self) -> float:
        """m3."""
        return self.length * self.width * self.thickness * 1e-9

    @property
    def density(self) -> float:
        """kg/m3 of the part without its fittings."""
        return (self.mass - self.fittings) / self.volume

    @property
    def relative_error(self) -> float:
        """Standard deviation of the density from scale and rule, as a share of it."""
        parts = [self.mass_error / (self.mass - self.fittings),
                 *(self.size_error / s for s in (self.length, self.width, self.thickness))]
        return max(LEAST_ERROR, math.sqrt(sum(p * p for p in parts)) / NINE_IN_TEN)


@dataclass(frozen=True)
class Make:
    """One make of a core. `density`: kg/m3; `deviation`: standard deviation of it; `share` within its core."""

    name: str
    density: float
    deviation: float
    share: float
    source: Source


@dataclass(frozen=True)
class Expected:
    """What a part of this size would weigh with one core. `low`, `high`: nine in ten; `likelihood`: of what was weighed, as a
    share of that under the likeliest core; `sources`: what it rests on."""

    core: str
    mass: float
    low: float
    high: float
    likelihood: float
    sources: tuple[Source, ...]


def makes(core: str, thickness: float, wood: str | None, moisture: float | None) -> Iterator[Make]:
    """The makes of a core at a thickness in mm; shares add up to 1."""
    book = rulebook("wood")
    if core == "lumber":
        solid = book.tables["solid"]
        water = solid["moisture_percent"] if moisture is None else moisture
        woods = all_species() if wood is None else species(wood)
        for w in woods:
            rho = as_it_lies(w, water)
            yield Make(w.name, rho, rho * solid["spread_percent"] / 100 / NINE_IN_TEN, 1 / len(woods), w.source)
        return
    for b in boards():
        if b.core == core:
            rho = b.at(thickness)
            yield Make(b.kind, rho, rho * b.spread / NINE_IN_TEN, b.share, b.source)


def weigh(part: Weighed) -> tuple[Expected, ...]:
    """Expected mass and likelihood for each core, in the registry's order."""
    found = []
    for core in CORES:
        mixture = tuple(makes(core, part.thickness, part.wood, part.moisture))
        laws = [(m.share, NormalDist(m.density, math.hypot(m.deviation, part.relative_error * m.density))) for m in mixture]
        mean = sum(s * law.mean for s, law in laws)
        low, high = (_quantile(laws, q) for q in (0.05, 0.95))
        likelihood = sum(s * law.pdf(part.density) for s, law in laws)
        sources = tuple(dict.fromkeys(m.source for m in mixture))
        found.append((core, mean, low, high, likelihood, sources))
    best = max(f[4] for f in found)
    volume = part.volume
    return tuple(
        Expected(core, mean * volume + part.fittings, low * volume + part.fittings, high * volume + part.fittings,
                 likelihood / best if best > 0 else 1.0, sources)
        for core, mean, low, high, likelihood, sources in found
    )


def _quantile(laws: list[tuple[float, NormalDist]], share: float) -> float:
    """Density below which a share of the mixture lies."""
    low, high = min(d.inv_cdf(1e-4) for _, d in laws), max(d.inv_cdf(1 - 1e-4) for _, d in laws)
    for _ in range(60):
        middle = (low + high) / 2
        if sum(s * d.cdf(middle) for s, d in laws) < share:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def told_against(found: tuple[Expected, ...]) -> tuple[str, ...]:
    """Cores that the weight speaks against clearly."""
    return tuple(e.core for e in found if e.likelihood * TELLING < 1)


def outside(part: Weighed, found: tuple[Expected, ...]) -> bool:
    """Whether no core fits: what was weighed lies beyond the range of all of them (wrong size, hollow, stone, wet)."""
    return all(not (e.low * 0.9 <= part.mass <= e.high * 1.1) for e in found)

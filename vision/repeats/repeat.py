"""What a found repeat is, and the names of the ways in which it can have come about."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

#: How the second showing of a figure can lie to the first: moved only, turned by half a turn, or mirrored.
MOTIONS: Final = ("shift", "half_turn", "mirror")

#: Printed or pressed again from one original; neighbouring leaves cut one after the other and laid side by side;
#: neighbouring leaves opened like a book; the turns of one peeled log; chance likeness of unrelated wood.
HYPOTHESES: Final = ("exact_copy", "slip", "book", "rotary", "coincidence")

Polygon = tuple[tuple[float, float], ...]


@dataclass(frozen=True, eq=False)
class Repeat:
    """One figure seen twice, on sheets `a` and `b` (indices into the sheets searched; equal within one sheet).

    `transform`: 3x3, sheet a (x, y, 1) to sheet b pixels. `region_a`, `region_b`: where the figure agrees, sheet pixels.
    `votes`: local features that agree on the transform. `covariance`: 2x2 px^2 of sheet a (x, y), of the correlation
    peak of the registered region; `along_sd`: its standard deviation along the grain, px. `measured`: named measurements
    (see measure.MEASURED). `log_likelihoods`: log p(measurements | hypothesis) up to one common constant, over HYPOTHESES.
    `offset`: (dx, dy) px in sheet a by which the figure is moved, for a shift within one sheet or between sheets of one
    photo, else None. `period`: px in sheet a when the figure recurs more than once at one spacing. `same_surface`: both
    sheets show one physical surface, so this is no repeat at all.
    """

    a: int
    b: int
    transform: NDArray[np.float64]
    motion: str
    region_a: Polygon
    region_b: Polygon
    votes: int
    covariance: NDArray[np.float64]
    along_sd: float
    measured: Mapping[str, float]
    log_likelihoods: Mapping[str, float]
    offset: tuple[float, float] | None = None
    period: float | None = None
    same_surface: bool = field(default=False)

    def __post_init__(self) -> None:
        if self.motion not in MOTIONS:
            raise ValueError(f"unknown motion {self.motion!r}")
        if self.transform.shape != (3, 3) or self.covariance.shape != (2, 2):
            raise ValueError("transform is 3x3 and covariance 2x2")
        if min(len(self.region_a), len(self.region_b)) < 3:
            raise ValueError("a region has at least three corners")
        if set(self.log_likelihoods) != set(HYPOTHESES):
            raise ValueError(f"log_likelihoods has keys {sorted(self.log_likelihoods)}, not {sorted(HYPOTHESES)}")

    @property
    def within(self) -> bool:
        """Whether both showings lie on one sheet."""
        return self.a == self.b

    @property
    def log_odds(self) -> float:
        """Log likelihood ratio of the best explanation other than coincidence against coincidence."""
        told = max(v for k, v in self.log_likelihoods.items() if k != "coincidence")
        return float(told - self.log_likelihoods["coincidence"])

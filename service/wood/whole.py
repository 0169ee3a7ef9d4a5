"""What the weight of a whole piece says about the boards whose make is not known, the others being known.

All boards in question are taken to be of one make. A make's density errs alike in all of them; errors of scale and rule are
added. Drawers, glass and marble belong to `rest` or stay out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

from service.units import sizes
from service.wood.weigh import LEAST_ERROR, NINE_IN_TEN, Expected, _quantile, makes
from vision.errors import UsageError
from vision.registry import CORES


@dataclass(frozen=True)
class Boards:
    """Equal flat boards: length, width, thickness in mm. `core`: known, or None where it is the question; `wood`: of lumber."""

    size: tuple[float, float, float]
    count: int = 1
    core: str | None = None
    wood: str | None = None

    @property
    def volume(self) -> float:
        """m3 of all of them."""
        return math.prod(self.size) * 1e-9 * self.count


def boards_of(text: str) -> Boards:
    """'1200x500x18mm*2, particle_board' : size, how many, core; the last two may be left out."""
    size, _, core = (p.strip() for p in text.partition(","))
    size, _, count = (p.strip() for p in size.partition("*"))
    found = sizes(size, "board")
    if len(found) != 3:
        raise UsageError("board", f"{size!r} has {len(found)} numbers.", "Give length x width x thickness: 1200x500x18mm")
    if count and (not count.isdigit() or not 1 <= int(count) <= 100):
        raise UsageError("board", f"{count!r} is no number of boards.", "Write it as in: 1200x500x18mm*2")
    if core and core not in CORES:
        raise UsageError("board", f"{core!r} is no core.", "Use one of: " + ", ".join(CORES) + ".")
    length, width, thickness = sorted(found, reverse=True)
    return Boards((length, width, thickness), int(count or 1), core or None)


@dataclass(frozen=True)
class Whole:
    """A piece on a scale. `mass`, `mass_error`, `rest`: kg; `rest`: of what is no board, `rest_error`: nine times in ten right
    within; `size_error`: mm, of each size."""

    mass: float
    boards: tuple[Boards, ...]
    mass_error: float = 0.5
    rest: float = 0.0
    rest_error: float = 0.0
    size_error: float = 1.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.mass) and self.mass > 0) or min(self.mass_error, self.rest, self.rest_error) < 0:
            raise UsageError("mass", "a mass is not above zero, or an error below it.",
                             "Weigh the piece; give errors as they are.")
        if not any(b.core is None for b in self.boards):
            raise UsageError("boards", "every one has its core named: nothing is left to ask.", "Leave the core of some out.")
        if self.rest >= self.mass:
            raise UsageError("rest", f"{self.rest} kg leave nothing of {self.mass} kg.", "Give what is no board alone.")


def _known(boards: Sequence[Boards]) -> tuple[float, float]:
    """(mass, variance) of the boards whose core is named, each an even mixture of its makes."""
    mass = variance = 0.0
    for b in boards:
        if b.core is None:
            continue
        rows = tuple(makes(b.core, b.size[2], b.wood, None))
        mean = sum(m.share * m.density for m in rows)
        spread = sum(m.share * ((m.density - mean) ** 2 + m.deviation**2) for m in rows)
        mass += mean * b.volume
        variance += spread * b.volume**2
    return mass, variance


def weigh_whole(piece: Whole, wood: str | None = None) -> tuple[Expected, ...]:
    """Expected mass of the whole and likelihood of what was weighed, for each core of the boards in question, in the registry's
    order. `wood`: of lumber in them."""
    asked = [b for b in piece.boards if b.core is None]
    base, variance = _known(piece.boards)
    base += piece.rest
    variance += (piece.mass_error / NINE_IN_TEN) ** 2 + (piece.rest_error / NINE_IN_TEN) ** 2
    rows = []
    for core in CORES:
        by_board = [tuple(makes(core, b.size[2], wood, None)) for b in asked]
        laws = []
        for k, first in enumerate(by_board[0]):
            mean = sum(ms[k].density * b.volume for ms, b in zip(by_board, asked, strict=True))
            own = sum(ms[k].deviation * b.volume for ms, b in zip(by_board, asked, strict=True))
            rule = sum(ms[k].density * b.volume * max(LEAST_ERROR, math.sqrt(sum((piece.size_error / s) ** 2 for s in b.size))
                                                     / NINE_IN_TEN) for ms, b in zip(by_board, asked, strict=True))
            laws.append((first.share, NormalDist(base + mean, math.sqrt(variance + own**2 + rule**2))))
        sources = tuple(dict.fromkeys(m.source for ms in by_board for m in ms))
        rows.append((core, sum(s * d.mean for s, d in laws), _quantile(laws, 0.05), _quantile(laws, 0.95),
                     sum(s * d.pdf(piece.mass) for s, d in laws), sources))
    best = max(r[4] for r in rows)
    return tuple(Expected(core, mean, low, high, like / best if best > 0 else 1.0, sources)
                 for core, mean, low, high, like, sources in rows)

"""Truth of one picture, in its pixels (origin top left, pixel centres whole numbers), and how it moves with the picture."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]
Matrix = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class TailTruth:
    """Tails or fingers along a joint. `sides`: (n, 2, 2) both ends of every slanted or square side, shoulder end first, in
    order along the joint; `pins`: (m, 2) middles of whole pins at half depth; `angle`: mean side angle, degrees (0 for
    fingers); `angles`: of every side; `hand`: laid out by hand; `whole_tails`: tails with both sides in view."""

    sides: Points
    pins: Points
    angle: float
    angles: tuple[float, ...]
    hand: bool
    whole_tails: int


@dataclass(frozen=True, eq=False)
class RoundTruth:
    """A round thing: `kind` of kinds.ROUND, middle, radius (px), true width in mm."""

    kind: str
    x: float
    y: float
    radius: float
    mm: float


@dataclass(frozen=True, eq=False)
class GapTruth:
    """An open joint: its line from the closed to the open end and the width there, px."""

    line: Points
    widest: float


@dataclass(frozen=True, eq=False)
class Truth:
    name: str
    seed: int
    shown: tuple[str, ...]
    px_per_mm: float
    tails: TailTruth | None = None
    rounds: tuple[RoundTruth, ...] = ()
    strokes: Points | None = None
    gap: GapTruth | None = None
    pitch_mm: float = 0.0
    other: TailTruth | None = None

    @property
    def joints(self) -> tuple[TailTruth, ...]:
        """All joints: of a corner that of each face."""
        return tuple(t for t in (self.tails, self.other) if t is not None)


def moved(truth: Truth, matrix: Matrix, middle: tuple[float, float] = (0.0, 0.0)) -> Truth:
    """The truth after the picture went through a homography (3x3, old to new pixels); scale is taken at `middle`."""

    def at(points: Points) -> Points:
        p = np.c_[points.reshape(-1, 2), np.ones(points.size // 2)] @ matrix.T
        return np.asarray((p[:, :2] / p[:, 2:]).reshape(points.shape), dtype=np.float64)

    def grown(x: float, y: float) -> float:
        depth = float(np.array([x, y, 1.0]) @ matrix[2])
        return float(np.sqrt(abs(np.linalg.det(matrix) / depth**3)))

    tails, other = (None if t is None else replace(t, sides=at(t.sides), pins=at(t.pins)) for t in (truth.tails, truth.other))
    rounds = []
    for r in truth.rounds:
        p = at(np.array([[r.x, r.y]]))[0]
        rounds.append(replace(r, x=float(p[0]), y=float(p[1]), radius=r.radius * grown(r.x, r.y)))
    gap = truth.gap
    if gap is not None:
        gap = replace(gap, line=at(gap.line), widest=gap.widest * grown(*gap.line[1]))
    strokes = None if truth.strokes is None else at(truth.strokes)
    return replace(truth, px_per_mm=truth.px_per_mm * grown(*middle), tails=tails,
                   rounds=tuple(rounds), strokes=strokes, gap=gap, other=other)

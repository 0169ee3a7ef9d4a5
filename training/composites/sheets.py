"""Single panels on which a figure recurs (a film or roller with a short period, the turns of a peeled sheet) or does not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.composites.camera import DAMAGES
from training.composites.drift import DEPTH_MM, leaf_displacement, renew_detail
from training.composites.figures import Figure
from training.composites.pairs import PANEL_PX, foreign, sample_window

KINDS = ("print", "rotary", "none")
#: Period of a short print over the panel's side in its direction (assumption: old films and rollers; any length occurs).
PERIODS = (0.22, 0.6)
#: Share by which a rotary pitch shrinks from one turn to the next: 0.3 to 3 %.
SHRINKS = (0.003, 0.03)
#: Thickness of peeled leaves, mm (plywood plies; assumption within 1 to 1.6 of common board).
PEELED_MM = (1.0, 1.6)


@dataclass(frozen=True, eq=False)
class RecurringSheet:
    """A panel and what recurs on it. `pixels`: (h, w, 3) uint8. `kind`: one of `KINDS`. `offset`: (dx, dy) pixels of
    `pixels` by which the figure at the middle of the panel recurs next, None for 'none'. `times`: how often the period
    fits. `shrink`: per turn. `group`: author of the figure."""

    pixels: NDArray[np.uint8]
    kind: str
    offset: tuple[float, float] | None
    times: float
    shrink: float
    damage: str
    group: str


def make_sheet(figures: Figure | Sequence[Figure], kind: str, rng: np.random.Generator, damage: str = "none",
               ) -> RecurringSheet:
    """One panel of the first figure; leaves borrow foreign detail from the second.

    'print': a tile of figure set again and again along the grain or across it; its border is blended over 6 % of its
    length, as the join of a roller is. 'rotary': turns across the grain, each a leaf deeper than the last, pitch
    shrinking. 'none': the figure as it is.
    """
    several = [figures] if isinstance(figures, Figure) else list(figures)
    figure, other = several[0], several[min(1, len(several) - 1)]
    if kind not in KINDS:
        raise ValueError(f"unknown kind {kind!r}; known: {KINDS}")
    aspect = float(np.exp(rng.uniform(np.log(0.8), np.log(1.9))))
    width, height = (round(PANEL_PX * aspect), PANEL_PX) if aspect >= 1 else (PANEL_PX, round(PANEL_PX / aspect))
    offset: NDArray[np.float64] | None = None
    times, shrink = 0.0, 0.0
    if kind == "none":
        surface = _plain(figure, width, height, rng)
    elif kind == "print":
        surface, offset, times = _print(figure, width, height, rng)
    else:
        surface, offset, times, shrink = _turns(figure, other, width, height, rng)
    upright = rng.random() < 0.4
    if upright:
        surface = np.ascontiguousarray(np.rot90(surface))
        offset = None if offset is None else np.array([offset[1], -offset[0]])
    pixels, matrix = DAMAGES[damage](surface, rng)
    moved = None
    if offset is not None:
        h, w = surface.shape[:2]
        middle = np.array([(w - 1) / 2, (h - 1) / 2])
        ends = np.c_[np.array([middle - offset / 2, middle + offset / 2]), np.ones(2)] @ matrix.T
        ends = ends[:, :2] / ends[:, 2:]
        moved = (float(ends[1, 0] - ends[0, 0]), float(ends[1, 1] - ends[0, 1]))
    return RecurringSheet(pixels, kind, moved, times, shrink, damage, figure.group)


def _plain(figure: Figure, width: int, height: int, rng: np.random.Generator) -> NDArray[np.uint8]:
    """A window of the figure, as large as it allows."""
    fh, fw = figure.pixels.shape[:2]
    scale = float(min(2.0, fh / height, fw / width) * rng.uniform(0.85, 1.0))
    matrix = np.array([[scale, 0, rng.uniform(0, fw - scale * width)], [0, scale, rng.uniform(0, fh - scale * height)],
                       [0, 0, 1.0]])
    return sample_window(figure, matrix, width, height, scale)


def _seamless(tile: NDArray[np.float32], period: int) -> NDArray[np.float32]:
    """(period, w[, c]) from a tile that is longer: its head is blended with what lies beyond the period, so it closes."""
    blend = len(tile) - period
    ramp = np.linspace(0, 1, blend, dtype=np.float32).reshape(-1, *[1] * (tile.ndim - 1))
    out = tile[:period].copy()
    out[:blend] = ramp * tile[:blend] + (1 - ramp) * tile[period : period + blend]
    return out


def _print(figure: Figure, width: int, height: int, rng: np.random.Generator,
           ) -> tuple[NDArray[np.uint8], NDArray[np.float64], float]:
    share = float(rng.uniform(*PERIODS))
    along = rng.random() < 0.6
    total = width if along else height
    period = round(share * total)
    longer = period + max(2, round(0.06 * period))
    tile = _plain(figure, longer if along else width, height if along else longer, rng).astype(np.float32)
    seamless = _seamless(tile.transpose(1, 0, 2) if along else tile, period)
    out = seamless[(np.arange(total) + int(rng.integers(period))) % period]
    if along:
        out = out.transpose(1, 0, 2)
    offset = np.array([float(period), 0.0]) if along else np.array([0.0, float(period)])
    return np.ascontiguousarray(np.clip(np.round(out), 0, 255).astype(np.uint8)), offset, total / period


def _turns(figure: Figure, other: Figure, width: int, height: int, rng: np.random.Generator,
           ) -> tuple[NDArray[np.uint8], NDArray[np.float64], float, float]:
    """A peeled sheet: every turn shows the log one leaf deeper, and runs into the next without a joint."""
    shrink = float(np.exp(rng.uniform(*np.log(SHRINKS))))
    pitch = round(float(rng.uniform(0.3, 0.55)) * height)
    join = round(0.15 * pitch)
    tile = _plain(figure, width, pitch + join, rng).astype(np.float32)
    closed = np.clip(_seamless(tile, pitch), 0, 255).astype(np.uint8)
    px_per_mm = float(rng.uniform(0.6, 1.5))  # a turn is 0.4 to 1.5 m of sheet: such panels are seen from afar
    leaf_mm = float(rng.uniform(*PEELED_MM))
    drift = [_seamless(d, pitch) for d in leaf_displacement(pitch + join, width, 1.0, figure.kind, px_per_mm, rng)]
    base = Figure(np.concatenate([closed] * 3), figure.group, figure.name, figure.kind)
    start = float(rng.uniform(0, pitch))
    sheet = np.zeros((height, width, 3), np.float32)
    weight = np.zeros((height, 1, 1), np.float32)
    starts, edge, turn = [], -start, 0
    while edge < height:
        length = pitch * (1 - shrink) ** turn
        top, lines = int(np.floor(edge)), round(length) + join
        y = (np.arange(lines) + top - edge) * (pitch / length)  # rows of the closed tile
        depth = (turn + y / pitch) * leaf_mm / DEPTH_MM  # grows all along the sheet
        row = np.round(y).astype(int) % pitch
        own = leaf_displacement(lines, width, 0.3 * (turn + 0.5), figure.kind, px_per_mm, rng)
        shift = tuple(depth[:, None].astype(np.float32) * drift[k][row] + own[k] for k in range(2))
        matrix = np.array([[1, 0, 0], [0, pitch / length, pitch + (top - edge) * pitch / length], [0, 0, 1.0]])
        piece = sample_window(base, matrix, width, lines, 1.0, (shift[0], shift[1]))
        piece = renew_detail(piece, foreign(other, figure, width, lines, rng), (turn + 0.5) * leaf_mm / DEPTH_MM, px_per_mm,
                             rng)
        ramp = np.minimum(1.0, np.minimum(np.arange(lines) + 1, lines - np.arange(lines)) / (join + 1)).astype(np.float32)
        low, high = max(0, top), min(height, top + lines)
        part = slice(low - top, high - top)
        sheet[low:high] += ramp[part, None, None] * piece[part]
        weight[low:high] += ramp[part, None, None]
        starts.append(edge)
        edge, turn = edge + length, turn + 1
    # the pitch at the middle of the panel: half a turn before and half a turn after it
    middle = int(np.argmin([abs(s - height / 2) for s in starts]))
    offset = np.array([0.0, pitch * (1 - shrink) ** (middle - 0.5)])
    pixels = np.clip(np.round(sheet / np.maximum(weight, 1e-6)), 0, 255).astype(np.uint8)
    return pixels, offset, height / pitch, shrink

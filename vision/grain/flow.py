"""How the grain of a panel flows: its mean direction, deviation from it, straightness and bending.

All statistics are axial (1 and 179 degrees are 2 apart) by doubling the angle; weights are coherence times validity.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grain.metric import angle_difference
from vision.types import GrainField

#: Coherence from which a cell counts as showing grain.
RESOLVED = 0.3


@dataclass(frozen=True)
class Flow:
    """Flow of one panel's grain. Directions in degrees 0..180 counter-clockwise from +x.

    `direction`: weighted axial mean; `order`: resultant length 0..1 (1 = all cells agree); `deviation`: axial circular
    standard deviation in degrees; `straightness`: 0..1, weight share of cells within 5 degrees of the mean;
    `bending`: median turn of the direction along the grain, degrees per 100 px; `drift`: 90th percentile of the angle
    between the direction smoothed over a tenth of the panel and the mean, degrees. All nan where no grain is resolved.
    """

    direction: float
    order: float
    deviation: float
    straightness: float
    bending: float
    drift: float


def resolved(field: GrainField) -> NDArray[np.bool_]:
    """(rows, cols) bool: valid cells whose grain stands out, by coherence and above the grey-level rounding."""
    return field.valid & (field.coherence >= RESOLVED) & (field.energy > 0.05)


def mean_direction(angle: NDArray, weight: NDArray | None = None) -> tuple[float, float]:
    """(mean direction in degrees 0..180, resultant length 0..1) of directions in degrees; (nan, 0) without weight."""
    double = np.radians(2 * np.asarray(angle, np.float64))
    w = np.ones_like(double) if weight is None else np.asarray(weight, np.float64)
    total = w.sum()
    if total <= 0:
        return float("nan"), 0.0
    c, s = (w * np.cos(double)).sum() / total, (w * np.sin(double)).sum() / total
    return math.degrees(0.5 * math.atan2(s, c)) % 180, min(1.0, math.hypot(c, s))


def axial_deviation(order: float) -> float:
    """Axial circular standard deviation in degrees of a resultant length: sqrt(-2 ln R) / 2, as Mardia defines it."""
    return math.degrees(0.5 * math.sqrt(-2 * math.log(max(order, 1e-9)))) if order < 1 else 0.0


def curvature(field: GrainField) -> NDArray[np.float32]:
    """(rows, cols) turn of the direction per step along the grain, degrees per 100 px, absolute; nan at the rim.

    The derivative of the double-angle vector is taken, so the wrap at 180 degrees does no harm.
    """
    theta = np.radians(field.angle)
    c, s = np.cos(2 * theta), np.sin(2 * theta)
    out = np.full(theta.shape, np.nan, np.float32)
    if min(theta.shape) < 3:
        return out
    inner = slice(1, -1)

    def turn(axis: int) -> NDArray:
        a = (slice(2, None), inner) if axis == 0 else (inner, slice(2, None))
        b = (slice(None, -2), inner) if axis == 0 else (inner, slice(None, -2))
        return 0.5 * np.arctan2(s[a] * c[b] - c[a] * s[b], c[a] * c[b] + s[a] * s[b]) / (2 * field.step)

    along = np.cos(theta[inner, inner]) * turn(1) - np.sin(theta[inner, inner]) * turn(0)
    out[inner, inner] = np.degrees(np.abs(along)) * 100
    return out


def smoothed(field: GrainField, cells: float, weight: NDArray) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """(direction in degrees, resultant length 0..1) averaged over a Gaussian of `cells` cells with the weights given."""
    double = np.radians(2 * field.angle)
    w = weight.astype(np.float32)
    stack = np.dstack([w * np.cos(double), w * np.sin(double), w]).astype(np.float32)
    reach = 2 * max(1, math.ceil(2.5 * cells)) + 1
    stack = np.asarray(cv2.GaussianBlur(stack, (reach, reach), cells, borderType=cv2.BORDER_CONSTANT))
    total = np.maximum(stack[..., 2], 1e-6)
    angle = np.degrees(0.5 * np.arctan2(stack[..., 1], stack[..., 0])) % 180
    return angle.astype(np.float32), np.minimum(1, np.hypot(stack[..., 0], stack[..., 1]) / total).astype(np.float32)


def flow(field: GrainField) -> Flow:
    """Flow of the whole field; cells that show no grain carry no weight."""
    seen = resolved(field)
    if seen.sum() < 9:
        return Flow(*([float("nan")] * 6))
    weight = np.where(seen, field.coherence, 0)
    direction, order = mean_direction(field.angle, weight)
    away = np.abs(angle_difference(field.angle, direction))
    straight = float(weight[away <= 5].sum() / weight.sum())
    bend = curvature(field)[seen]
    bend = bend[np.isfinite(bend)]
    wide, _ = smoothed(field, max(2.0, max(field.angle.shape) / 20), weight)
    drift = float(np.quantile(np.abs(angle_difference(wide[seen], direction)), 0.9))
    bending = float(np.median(bend)) if bend.size else float("nan")
    return Flow(direction, order, axial_deviation(order), straight, bending, drift)

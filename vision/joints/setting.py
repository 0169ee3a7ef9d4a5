"""What lies about a band of fingers: patterns that repeat (inlay, tiles, slats, books) go on where a joint does not.

Tails are the board behind them, so its figure runs over the shoulder into them and not into the pins; past the end of a
joint lies another board or the room; nowhere else in the picture do rows alternate as they do in the band.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.joints.band import Band, Floats


def _alternation(rows: NDArray[np.float64], pin: NDArray[np.bool_]) -> float:
    """Mean of pins' rows less that of tails' rows, over the spread of all rows, in -2..2."""
    return float((rows[pin].mean() - rows[~pin].mean()) / max(float(rows.std()), 0.5))


def _tied(one: NDArray[np.float64], two: NDArray[np.float64]) -> float:
    """Correlation of two profiles of rows; nan where either is flat or short."""
    if len(one) < 12 or one.std() < 0.15 or two.std() < 0.15:
        return math.nan
    return float(np.corrcoef(one, two)[0, 1])


def setting_of(lab: Floats, band: Band) -> dict[str, float]:
    """Numbers for the net 'tails'; nan where the picture ends. `lab`: (h, w, 3), the joint at its right."""
    w = lab.shape[1]
    a, b = int(np.ceil(band.shoulder)), int(np.floor(band.end))
    depth = max(3, b - a)
    tone = np.asarray(lab @ band.way.astype(np.float32), np.float64)
    inset = max(1, depth // 8)
    pin = band.pin

    def strip(start: int, stop: int) -> NDArray[np.float64] | None:
        start, stop = max(0, start), min(w, stop)
        return tone[:, start:stop].mean(axis=1) if stop - start >= max(2, depth // 4) else None

    inside = tone[:, a + inset : max(a + inset + 1, b - inset)].mean(axis=1)
    behind, past = strip(a - depth, a - inset), strip(b + inset, b + depth)
    far = [s for k in range(2, 7) if (s := strip(a - k * depth, a - (k - 1) * depth)) is not None]
    elsewhere = [abs(_alternation(s, pin)) for s in far]
    contrast = max(band.contrast, 0.5)
    out = {
        "alternates_behind": _alternation(behind, pin) if behind is not None else math.nan,
        "alternates_past": _alternation(past, pin) if past is not None else math.nan,
        "alternates_far": max(elsewhere) if elsewhere else math.nan,
        "swing_past": float(past[pin].mean() - past[~pin].mean()) / contrast if past is not None else math.nan,
        "swing_behind": float(behind[pin].mean() - behind[~pin].mean()) / contrast if behind is not None else math.nan,
    }
    ground = np.median(lab[:, max(0, a - depth) : max(1, a - 1)].reshape(-1, 3), axis=0)
    if w - b >= max(2, depth // 4):
        beyond = np.median(lab[:, b + inset : min(w, b + depth)].reshape(-1, 3), axis=0)
        out["same_past"] = min(float(np.linalg.norm(beyond - ground)) / contrast, 6.0)
    else:
        out["same_past"] = math.nan
    light = lab[..., 0].astype(np.float64)
    near = light[:, max(0, a - depth) : max(1, a - 1)].mean(axis=1)
    mine = light[:, a + inset : max(a + inset + 1, b - inset)].mean(axis=1)
    for name, rows in (("grain_tails", ~pin), ("grain_pins", pin)):
        sure = cv2.erode(rows.astype(np.uint8).reshape(-1, 1), np.ones((5, 1), np.uint8)).ravel() > 0
        if sure.sum() < 12:
            out[name] = math.nan
            continue
        fine = [v - cv2.GaussianBlur(v.reshape(-1, 1), (1, 0), sigmaX=0.01, sigmaY=4.0).ravel() for v in (near, mine)]
        out[name] = _tied(fine[0][sure], fine[1][sure])
    rough = light[:, a + inset : max(a + inset + 2, b - inset)]
    along, across = np.abs(np.diff(rough, axis=1)), np.abs(np.diff(rough, axis=0))
    for name, rows in (("streak_tails", ~pin), ("streak_pins", pin)):
        out[name] = math.log((0.2 + float(across[rows[1:] & rows[:-1]].mean() if (rows[1:] & rows[:-1]).any() else 0.2))
                             / (0.2 + float(along[rows].mean()))) if along.shape[1] else math.nan
    inner = float(np.abs(inside[pin] - np.median(inside[pin])).mean()) / contrast
    out["flat_pins"] = inner
    return out

"""Drawing band patterns along a line: the part of the picture that must read without colour."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.evidence.palette import BED, Band, Rgb

PATTERNS = ("whole", "twin", "dots", "blocks", "chips", "dash_dot", "stitches")
#: Sub-pixel digits handed to the drawing routines, so that lines do not jump by whole pixels.
_SHIFT = 4

#: Pattern -> (drawn, skipped, drawn, skipped ...) lengths in units of the band's half width.
_RHYTHM = {"blocks": (7.0, 2.6), "dash_dot": (6.0, 2.6, 0.2, 2.6), "stitches": (2.6, 2.6)}


def polyline(picture: NDArray[np.uint8], points: NDArray[np.float64], colour: Rgb, width: float, *, closed: bool = False) -> None:
    """Antialiased line through (n, 2) points, drawn in place."""
    fixed = np.round(np.asarray(points) * (1 << _SHIFT)).astype(np.int32).reshape(-1, 1, 2)
    cv2.polylines(picture, [fixed], closed, colour, max(1, round(width)), cv2.LINE_AA, _SHIFT)


def disc(picture: NDArray[np.uint8], centre: tuple[float, float], radius: float, colour: Rgb) -> None:
    """Filled antialiased circle, drawn in place."""
    at = (round(centre[0] * (1 << _SHIFT)), round(centre[1] * (1 << _SHIFT)))
    cv2.circle(picture, at, round(radius * (1 << _SHIFT)), colour, -1, cv2.LINE_AA, _SHIFT)


def draw_band(picture: NDArray[np.uint8], points: NDArray[np.float64], band: Band, half: float, *, closed: bool = True) -> None:
    """Band of half width `half` px along (n, 2) points, on a dark bed so that it shows on any wood; drawn in place."""
    line = np.vstack([points, points[:1]]) if closed else np.asarray(points, dtype=float)
    polyline(picture, line, BED, 2 * half + 4)
    if band.pattern == "whole":
        polyline(picture, line, band.colour, 1.5 * half)
    elif band.pattern == "twin":
        polyline(picture, line, band.colour, 2 * half)
        polyline(picture, line, BED, 0.8 * half)
    elif band.pattern == "dots":
        for at in _along(line, 2.9 * half)[0]:
            disc(picture, (float(at[0]), float(at[1])), 0.95 * half, band.colour)
    elif band.pattern == "chips":
        spots, directions = _along(line, 2.1 * half)
        for at, (dx, dy) in zip(spots, directions, strict=True):
            slant = np.array([dx - dy, dy + dx]) * 0.75 * half  # 45 degrees across the band
            polyline(picture, np.stack([at - slant, at + slant]), band.colour, 0.75 * half)
    else:
        width = {"blocks": 1.9, "dash_dot": 1.2, "stitches": 1.3}[band.pattern] * half
        for piece in dashes(line, tuple(r * half for r in _RHYTHM[band.pattern])):
            polyline(picture, piece, band.colour, width)


def dashes(line: NDArray[np.float64], rhythm: tuple[float, ...]) -> list[NDArray[np.float64]]:
    """Pieces of an open (n, 2) line: rhythm gives drawn and skipped lengths in turn, from the line's start."""
    steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
    at = np.r_[0.0, np.cumsum(steps)]
    pieces, start, turn = [], 0.0, 0
    while start < at[-1]:
        end = min(start + rhythm[turn % len(rhythm)], at[-1])
        if turn % 2 == 0:
            inner = at[(at > start) & (at < end)]
            where = np.r_[start, inner, end]
            pieces.append(np.c_[np.interp(where, at, line[:, 0]), np.interp(where, at, line[:, 1])])
        start, turn = end, turn + 1
    return pieces


def _along(line: NDArray[np.float64], step: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(points, unit directions) every `step` px along an open (n, 2) line."""
    keep = np.r_[True, np.linalg.norm(np.diff(line, axis=0), axis=1) > 0]
    line = line[keep]
    if len(line) < 2:
        return np.zeros((0, 2)), np.zeros((0, 2))
    steps = np.diff(line, axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    at = np.r_[0.0, np.cumsum(lengths)]
    where = np.arange(step / 2, at[-1], step)
    segment = np.clip(np.searchsorted(at, where, side="right") - 1, 0, len(lengths) - 1)
    points = np.c_[np.interp(where, at, line[:, 0]), np.interp(where, at, line[:, 1])]
    return points, steps[segment] / lengths[segment, None]

"""Straight segments on a photo, and corners where two of them would meet."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
#: Shortest segment used, working px, and how many of the longest are kept.
MIN_LENGTH, MOST_SEGMENTS = 9.0, 1100
#: Most corners kept, those with the longest shorter leg first.
MOST_CORNERS = 1000
#: Two segments make a corner when their lines meet at 35 to 145 degrees and each ends within this much of the meeting
#: point: a share of its length (round corners, covered corners) plus px.
GAP_SHARE, GAP_PX = 0.2, 5.0


@dataclass(frozen=True, eq=False)
class Corners:
    """Corners: `at` (n, 2) meeting points; `legs` (n, 2, 2) unit directions away from it; `reach` (n, 2) how far the
    segments run along each leg; all in px of the image the segments were found on."""

    at: Array
    legs: Array
    reach: Array


def segments(image: NDArray[np.uint8]) -> Array:
    """(n, 4) x0, y0, x1, y1 of straight edges in any of lightness and the two colour axes; strongest first."""
    lab = cv2.cvtColor(image, cv2.COLOR_RGB2LAB)
    found = []
    for channel, gain in ((0, 1.0), (1, 2.0), (2, 2.0)):
        plane = lab[..., channel]
        if gain != 1.0:
            plane = np.clip((plane.astype(np.float32) - 128) * gain + 128, 0, 255).astype(np.uint8)
        lines = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD).detect(np.ascontiguousarray(plane))[0]
        if lines is not None:
            found.append(lines.reshape(-1, 4).astype(np.float64))
    if not found:
        return np.zeros((0, 4))
    lines = np.vstack(found).astype(np.float64)
    length = np.hypot(lines[:, 2] - lines[:, 0], lines[:, 3] - lines[:, 1])
    # long and strong first: where grain makes thousands of faint lines, an object's short side is among the strongest
    worth = length * np.minimum(_strength(image, np.asarray(lines, dtype=np.float64)), 40.0) ** 0.7
    order = np.argsort(-worth, kind="stable")
    order = order[length[order] >= MIN_LENGTH]
    return _joined(lines[order[: 2 * MOST_SEGMENTS]])[:MOST_SEGMENTS]


def _joined(lines: Array) -> Array:
    """Pieces of one line put together, longest first: those within 1.5 px of a longer one's line, 2 degrees of its way,
    and a gap of at most a third of its length. The pieces themselves stay too: the longer line may be a chance."""
    length = np.hypot(lines[:, 2] - lines[:, 0], lines[:, 3] - lines[:, 1])
    out: list[Array] = []
    taken = np.zeros(len(lines), bool)
    for k in range(len(lines)):
        if taken[k]:
            continue
        a, b = lines[k, :2], lines[k, 2:]
        way = (b - a) / length[k]
        normal = np.array([-way[1], way[0]])
        ends = lines.reshape(-1, 2, 2) - a
        off = np.abs(ends @ normal).max(axis=1)
        t = ends @ way
        low, high = t.min(axis=1), t.max(axis=1)
        like = (off < 1.5) & (np.abs(high - low) > 0.99 * length) & ~taken
        first, last = 0.0, float(length[k])
        grew = True
        while grew:
            room = (last - first) / 3
            near = like & (low < last + room) & (high > first - room)
            new_first, new_last = min(first, float(low[near].min(initial=first))), max(last, float(high[near].max(initial=last)))
            grew = new_first < first - 1e-6 or new_last > last + 1e-6
            first, last = new_first, new_last
        inside = like & (low >= first) & (high <= last)
        taken |= inside
        taken[k] = True
        if last - first > 1.1 * length[k]:
            out.append(lines[k])
        out.append(np.r_[a + first * way, a + last * way])
    joined = np.array(out)
    return joined


def _strength(image: NDArray[np.uint8], lines: Array) -> Array:
    """(n,) median change of colour across each segment, grey levels over 4 px."""
    t = np.linspace(0.15, 0.85, 7)
    a, way = lines[:, :2], lines[:, 2:] - lines[:, :2]
    normal = np.stack([-way[:, 1], way[:, 0]], axis=-1) / (np.hypot(way[:, 0], way[:, 1])[:, None] + 1e-9)
    at = a[:, None] + t[None, :, None] * way[:, None]
    values = [cv2.remap(image, p[..., 0].astype(np.float32), p[..., 1].astype(np.float32), cv2.INTER_LINEAR,
                        borderMode=cv2.BORDER_REPLICATE).astype(np.float64)
              for p in (at + 2 * normal[:, None], at - 2 * normal[:, None])]
    return np.asarray(np.median(np.abs(values[0] - values[1]).max(axis=2), axis=1))


def corners(lines: Array) -> Corners:
    """Corners of (n, 4) segments."""
    n = len(lines)
    if n < 2:
        return Corners(np.zeros((0, 2)), np.zeros((0, 2, 2)), np.zeros((0, 2)))
    a, b = lines[:, :2], lines[:, 2:]
    length = np.hypot(*(b - a).T)
    way = (b - a) / length[:, None]
    i, j = np.triu_indices(n, 1)
    sine = way[i, 0] * way[j, 1] - way[i, 1] * way[j, 0]
    steep = np.abs(sine) > np.sin(np.deg2rad(35))
    i, j, sine = i[steep], j[steep], sine[steep]
    between = a[j] - a[i]
    ti = (between[:, 0] * way[j, 1] - between[:, 1] * way[j, 0]) / sine
    tj = (between[:, 0] * way[i, 1] - between[:, 1] * way[i, 0]) / sine
    at = a[i] + ti[:, None] * way[i]
    good = np.ones(len(i), bool)
    legs, reach = np.zeros((len(i), 2, 2)), np.zeros((len(i), 2))
    for side, (k, t) in enumerate(((i, ti), (j, tj))):
        near_end = np.minimum(np.abs(t), np.abs(t - length[k]))
        good &= near_end <= GAP_PX + GAP_SHARE * length[k]
        forward = t < length[k] / 2
        legs[:, side] = np.where(forward[:, None], way[k], -way[k])
        reach[:, side] = np.where(forward, length[k] - t, t)
    strength = reach.min(axis=1)
    good &= strength >= MIN_LENGTH
    keep = np.flatnonzero(good)
    keep = keep[np.argsort(-strength[keep], kind="stable")][:MOST_CORNERS]
    return Corners(at[keep], legs[keep], reach[keep])

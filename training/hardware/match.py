"""Which candidates on a drawn panel are true, and which truths were found."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from training.hardware.make import UNKNOWN, HardwarePicture
from vision.hardware.gather import Candidate
from vision.hardware.kinds import SEEN
from vision.hardware.read import Thing

#: Overlap over union from which two hulls are one thing; small things are one when their middles are this near (share, px).
OVERLAP, NEAR = 0.35, (0.5, 2.5)
#: Hulls are compared grown by a cell of the net's answer, px: without, a bar three pixels thick is missed by its rim alone.
GROWN = 2.0
#: Share of a hull that must lie on a thing to be a part of it.
MOSTLY = 0.7
_AROUND = GROWN * np.stack([np.cos(np.arange(8) * np.pi / 4), np.sin(np.arange(8) * np.pi / 4)], axis=1)


def overlap(one: NDArray[np.float64], two: NDArray[np.float64]) -> float:
    """Intersection over union of two convex polygons (n, 2)."""
    a, b = (cv2.convexHull(p.astype(np.float32)) for p in (one, two))
    both, _ = cv2.intersectConvexConvex(a, b)
    union = cv2.contourArea(a) + cv2.contourArea(b) - both
    return float(both / union) if union > 0 else 0.0


def grown(hull: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 2) hull of all that lies within GROWN of a hull, near enough."""
    points = (hull[:, None] + _AROUND[None]).reshape(-1, 2).astype(np.float32)
    return np.asarray(cv2.convexHull(points)[:, 0], np.float64)


def is_one(hull: NDArray[np.float64], truth: NDArray[np.float64]) -> bool:
    """Whether two hulls are the same thing."""
    if overlap(grown(hull), grown(truth)) >= OVERLAP:
        return True
    a, b = (np.concatenate([p.min(axis=0), p.max(axis=0)]).reshape(2, 2) for p in (hull, truth))
    sizes = float(np.max(a[1] - a[0])), float(np.max(b[1] - b[0]))
    away = float(np.hypot(*(a.mean(axis=0) - b.mean(axis=0))))
    return min(sizes) > 0 and max(sizes) < 2.2 * min(sizes) and max(sizes) < 40 and away < max(NEAR[0] * sizes[1], NEAR[1])


def lies_on(hull: NDArray[np.float64], truth: NDArray[np.float64]) -> bool:
    """Whether most of a hull lies on a thing: part of it, or all of it."""
    a, b = hull.astype(np.float32), grown(truth).astype(np.float32)
    both, _ = cv2.intersectConvexConvex(cv2.convexHull(a), cv2.convexHull(b))
    return bool(both >= MOSTLY * cv2.contourArea(cv2.convexHull(a)))


def label_of(c: Candidate, picture: HardwarePicture) -> int | None:
    """0 for nothing, a piece of a thing or something that holds one; 1 + place in SEEN; None where the truth does not say."""
    same = [(overlap(grown(c.hull), grown(hull)), kind) for kind, hull in picture.truth if is_one(c.hull, hull)]
    if same:
        return 1 + SEEN.index(max(same)[1])
    x, y = (round(min(max(v, 0), s - 1)) for v, s in zip(c.middle, picture.labels.shape[::-1], strict=True))
    return None if picture.labels[y, x] == UNKNOWN else 0


def matched(found: Sequence[Thing], picture: HardwarePicture) -> tuple[list[int | None], list[bool]]:
    """(for each thing the place of its truth, -1 for none, None where the truth does not say; for each truth whether found).

    A thing is true only if its kind is. Each truth counts once, for the first: give the likeliest first.
    """
    taken = [False] * len(picture.truth)
    out: list[int | None] = []
    for c in found:
        place = next((k for k, (kind, hull) in enumerate(picture.truth)
                      if kind == c.kind and not taken[k] and is_one(c.hull, hull)), -1)
        if place >= 0:
            taken[place] = True
            out.append(place)
            continue
        x, y = (round(min(max(v, 0), s - 1)) for v, s in zip(c.middle, picture.labels.shape[::-1], strict=True))
        out.append(None if picture.labels[y, x] == UNKNOWN else -1)
    return out, taken

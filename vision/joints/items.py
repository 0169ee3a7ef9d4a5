"""Finds made ready for passing on: a key, plain sentences, the chance, and an outline on the photo."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.joints.finds import Find, Gap, JointItem, JointReading, Pair, Relief, RoundThing, Row, Strokes, Tails
from vision.joints.words import saying
from vision.types import WorkingView

Points = NDArray[np.float64]
_CIRCLE = np.stack([np.cos(np.arange(8) * np.pi / 4), np.sin(np.arange(8) * np.pi / 4)], axis=1)


def kind_of(find: Find) -> str:
    """Key of finds.ITEM_KINDS."""
    if isinstance(find, Tails):
        return "joint" if find.name == "cannot_tell" else find.name
    if isinstance(find, RoundThing):
        return find.name
    if isinstance(find, Row):
        return f"hole_{find.name}"
    if isinstance(find, Pair):
        return "hole_pair"
    if isinstance(find, Strokes):
        return "staples"
    return "gap" if isinstance(find, Gap) else "relief"


def _about(points: Points, reach: float) -> Points:
    """(n, 2) convex polygon round circles of a radius about points."""
    rim = (points[:, None] + reach * _CIRCLE[None]).reshape(-1, 2).astype(np.float32)
    return np.asarray(cv2.convexHull(rim)[:, 0], np.float64)


def polygon_of(find: Find) -> Points:
    """(n, 2) polygon round a find, working-view pixels."""
    points = np.array(find.outline, float)
    if isinstance(find, (Tails, RoundThing, Relief)):
        return points
    if isinstance(find, Row):
        return _about(points, 0.5 * find.hole + 1)
    if isinstance(find, Pair):
        return _about(points, max(2.0, 0.06 * find.spacing))
    return _about(points, max(1.5, 0.5 * find.wide) if isinstance(find, Gap) else 2.0)


def item_of(find: Find, view: WorkingView) -> JointItem:
    """A find with its words, placed on the photo through the view."""
    said = saying(find)
    outline = tuple((float(x), float(y)) for x, y in view.photo_points(polygon_of(find)))
    return JointItem(kind_of(find), said.seen, said.means, said.limits, said.speaks_for, said.cores, said.strength, find.chance,
                     outline)


def items_of(reading: JointReading, view: WorkingView) -> tuple[JointItem, ...]:
    """All finds of a reading, likeliest first."""
    return tuple(sorted((item_of(f, view) for f in reading.finds), key=lambda i: (-i.chance, i.kind)))

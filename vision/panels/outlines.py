"""Outlines drawn by the user: checked, cleaned and made into panels."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.errors import UsageError
from vision.panels import geometry
from vision.panels.rectify import STRIP_ASPECT
from vision.types import Panel, Photo

#: An outline may overshoot the photo by this many pixels (rounding); it is then clipped.
OVERSHOOT_PX = 2.0
#: Smallest area (px^2) and thickness (twice area over perimeter, px) that can be measured at all.
LEAST_AREA_PX, LEAST_THICKNESS_PX = 150.0, 3.0


def panels_from_outlines(photo: Photo, outlines: Sequence[tuple[str | None, Sequence[Sequence[float]]]]) -> tuple[Panel, ...]:
    """Panels for outlines given as (id or None, [(x, y), ...]) in photo pixels, in the given order.

    A missing id becomes `<photo id>.pN` with N counting from 1. Points may overshoot the photo by `OVERSHOOT_PX`.

    Raises
    ------
    UsageError
        naming the outline, for fewer than three points, a number that is not finite, a self-crossing line, an outline
        outside the photo or too small to measure, or an id used twice.
    """
    panels: list[Panel] = []
    taken = {name for name, _ in outlines if name is not None}
    seen: set[str] = set()
    for k, (name, points) in enumerate(outlines, start=1):
        subject = f"outline {k} of {photo.file}" if name is None else f"outline {name!r} of {photo.file}"
        if name is None:
            name = f"{photo.id}.p{k}"
            while name in taken:
                name += "x"
            taken.add(name)
        if name in seen:
            raise UsageError(subject, "its id is used twice.", "Give every outline of the photo an id of its own.")
        seen.add(name)
        panels.append(_panel(photo, name, points, subject))
    return tuple(panels)


def _panel(photo: Photo, name: str, points: Sequence[Sequence[float]], subject: str) -> Panel:
    from shapely.geometry import Polygon
    from shapely.validation import explain_validity

    try:
        outline = np.asarray(points, dtype=np.float64)
    except (TypeError, ValueError):
        outline = np.empty((0,))
    if outline.ndim != 2 or outline.shape[1] != 2:
        raise UsageError(subject, "it is not a list of x,y points.", "Give at least three points as x,y pairs.")
    if not np.isfinite(outline).all():
        raise UsageError(subject, "a coordinate is not a finite number.", "Give x and y as plain numbers in pixels.")
    outline = outline[np.any(outline != np.roll(outline, 1, axis=0), axis=1)]
    if len(outline) < 3:
        raise UsageError(subject, "it has fewer than three different points.", "Mark at least three corners of the panel.")
    limit = np.array([photo.width, photo.height], dtype=np.float64)
    overshoot = float(max(-outline.min(), (outline - limit).max()))
    if overshoot > OVERSHOOT_PX:
        raise UsageError(
            subject, f"it reaches {overshoot:.0f} px outside the photo of {photo.width}x{photo.height} px.",
            "Use pixels of the upright photo, with the origin at the top left corner, and keep the outline on it.")
    outline = np.clip(outline, 0.0, limit - 1)
    outline = outline[np.any(outline != np.roll(outline, 1, axis=0), axis=1)]
    polygon = Polygon(outline) if len(outline) >= 3 else Polygon()
    if polygon.is_empty or polygon.convex_hull.area == 0:
        raise UsageError(subject, "it encloses no area.", "Mark the corners all the way round the panel.")
    if not polygon.is_valid:
        where = explain_validity(polygon)
        spot = where[where.find("[") + 1:where.find("]")].replace(" ", ",") if "[" in where else "?"
        raise UsageError(subject, f"its line crosses or touches itself near {spot}.",
                         "List the corners in order as you walk round the panel.")
    thickness = 2 * polygon.area / polygon.length
    if polygon.area < LEAST_AREA_PX or thickness < LEAST_THICKNESS_PX:
        raise UsageError(
            subject, f"it is too small to measure ({polygon.area:.0f} px^2, about {thickness:.1f} px thick).",
            "Outline more of the panel, or take a closer photo.")
    corners = tuple((float(x), float(y)) for x, y in outline)
    quad = None
    if len(outline) == 4:
        ordered = geometry.order_corners(outline)
        if geometry.is_trustworthy(ordered):
            quad = tuple((float(x), float(y)) for x, y in ordered)
    return Panel(id=name, photo=photo.id, outline=corners, source="given", view_hint=_view_hint(outline), quad=quad)


def _view_hint(outline: geometry.Points) -> str:
    """A thin strip is probably an edge; anything else says nothing by itself."""
    import cv2

    _, sides, _ = cv2.minAreaRect(outline.astype(np.float32))
    return "edge" if max(sides) >= 2 * STRIP_ASPECT * max(1.0, min(sides)) else "unknown"

"""What the user puts right on a photo: an outline moved or drawn, panels split, merged, named or taken away.

A correction is kept as the whole set of outlines of its photo after it, so that the last one counts, and taking it back brings
the one before. `Outline` is {"id", "points"} in pixels of the upright photo; an id that is a role (top, side-2) names the part.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from service.contract import Document
from service.store import Store
from service.store.types import StoredPhoto
from service.web.assessing import photo_key
from vision import registry
from vision.errors import UsageError

if TYPE_CHECKING:
    from shapely.geometry import Polygon

Outline = dict[str, Any]
KIND = "outlines"
MOST = 40
_DRAW = "Draw it again, without crossing lines."


def outlines_now(store: Store, piece: str) -> dict[str, list[Outline]]:
    """Photo id -> outlines that the user has set, for the photos that have some."""
    last = {c.photo: c.body["outlines"] for c in store.corrections.of_piece(piece) if c.kind == KIND and c.photo is not None}
    return {photo: rows for photo, rows in last.items() if rows}


def panels_of(doc: Document | None, photo: StoredPhoto) -> list[Outline]:
    """Outlines as an assessment found them."""
    found = next((p for p in doc.photos if p.id == photo_key(photo)), None) if doc is not None else None
    return [] if found is None else [{"id": q.id, "points": [list(p) for p in q.outline]} for q in found.panels]


def corrected(now: Sequence[Outline], change: Mapping[str, Any], photo: StoredPhoto) -> list[Outline]:
    """The outlines after a change.

    `change["do"]`: "outline" (`points`, `panel` or none for a new one, `role` or none), "split" (`panel`, `line` of two points),
    "merge" (`panels`), "remove" (`panel`), "name" (`panel`, `role`).

    Raises
    ------
    UsageError
        for panels that are not there, lines that make no outline, or points outside the photo.
    """
    rows = {str(o["id"]): list(o["points"]) for o in now}
    do = change["do"]
    if do == "outline":
        _draw(rows, change, photo)
    elif do == "split":
        _split(rows, change, photo)
    elif do == "merge":
        _merge(rows, change)
    elif do == "remove":
        del rows[_there(rows, change.get("panel"))]
    elif do == "name":
        rows = _named(rows, _there(rows, change.get("panel")), change.get("role"))
    else:
        raise UsageError("The correction", "It is not known.", "Reload the page and try again.")
    if len(rows) > MOST:
        raise UsageError("The photo", f"It has {len(rows)} panels; at most {MOST} are judged.", "Take some away.")
    if not rows:
        raise UsageError("The photo", "No panel is left on it.", "Delete the photo, or have its panels found again.")
    return [{"id": i, "points": p} for i, p in rows.items()]


def _there(rows: Mapping[str, Any], panel: Any) -> str:
    if panel not in rows:
        raise UsageError("The panel", "It is not on this photo (any more).", "Reload the page and try again.")
    return str(panel)


def _fresh(rows: Mapping[str, Any], photo: StoredPhoto) -> str:
    n = 1
    while (name := f"{photo_key(photo)}.d{n}") in rows:
        n += 1
    return name


def _draw(rows: dict[str, Any], change: Mapping[str, Any], photo: StoredPhoto) -> None:
    points = [[float(x), float(y)] for x, y in change.get("points") or ()]
    _polygon(points)
    for x, y in points:
        if not (0 <= x <= photo.width and 0 <= y <= photo.height):
            raise UsageError("The outline", f"The point {x:g}, {y:g} lies outside the photo.", _DRAW)
    panel = change.get("panel")
    name = _fresh(rows, photo) if panel is None else _there(rows, panel)
    rows[name] = points
    if change.get("role") is not None:
        named = _named(rows, name, change["role"])
        rows.clear()
        rows.update(named)


def _split(rows: dict[str, Any], change: Mapping[str, Any], photo: StoredPhoto) -> None:
    from shapely.geometry import LineString
    from shapely.ops import split

    panel = _there(rows, change.get("panel"))
    line: Sequence[Sequence[float]] = change.get("line") or ()
    if len(line) != 2 or list(line[0]) == list(line[1]):
        raise UsageError("The line", "It has no two ends.", "Draw it from one side of the panel to the other.")
    (x0, y0), (x1, y1) = line
    far = 4.0 * max(photo.width, photo.height) / max(1e-9, ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5)
    cut = LineString([(x0 - far * (x1 - x0), y0 - far * (y1 - y0)), (x1 + far * (x1 - x0), y1 + far * (y1 - y0))])
    pieces = sorted(split(_polygon(rows[panel]), cut).geoms, key=lambda g: -g.area)
    if len(pieces) < 2:
        raise UsageError("The line", "It does not cross the panel.", "Draw it from one side of the panel to the other.")
    rows[panel] = _points(pieces[0])
    for piece in pieces[1:]:
        rows[_fresh(rows, photo)] = _points(piece)


def _merge(rows: dict[str, Any], change: Mapping[str, Any]) -> None:
    from shapely.geometry import MultiPoint, Polygon
    from shapely.ops import unary_union

    panels = list(dict.fromkeys(_there(rows, p) for p in change.get("panels") or ()))
    if len(panels) < 2:
        raise UsageError("The panels", "Only one is named.", "Choose two or more that are one.")
    whole = unary_union([_polygon(rows[p]) for p in panels])
    if not isinstance(whole, Polygon):  # a gap between them, such as a shadow line: what spans both
        hull = MultiPoint([tuple(xy) for p in panels for xy in rows[p]]).convex_hull
        if not isinstance(hull, Polygon):
            raise UsageError("The panels", "They make no surface together.", _DRAW)
        whole = hull
    rows[panels[0]] = _points(whole)
    for panel in panels[1:]:
        del rows[panel]


def _named(rows: Mapping[str, Any], panel: str, role: Any) -> dict[str, Any]:
    if role not in registry.ROLES:
        raise UsageError("The part", "There is no such part of furniture.", "Use one of: " + ", ".join(registry.ROLES) + ".")
    name, n = str(role), 1
    while name in rows and name != panel:
        n += 1
        name = f"{role}-{n}"
    return {name if i == panel else i: points for i, points in rows.items()}


def _polygon(points: Sequence[Sequence[float]]) -> Polygon:
    from shapely.geometry import Polygon

    found = Polygon([tuple(p) for p in points]) if len(points) >= 3 else None
    if found is None or not found.is_valid or found.area < 1:
        raise UsageError("The outline", "Its lines make no surface.", _DRAW)
    return found


def _points(shape: Polygon) -> list[list[float]]:
    return [[round(float(x), 2), round(float(y), 2)] for x, y in list(shape.exterior.coords)[:-1]]

"""The evidence picture of one photo: panels, verdicts, grain and findings drawn where they are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from vision.evidence.bands import draw_band
from vision.evidence.grain_strokes import draw_strokes, grain_strokes
from vision.evidence.legend import legend
from vision.evidence.marks import Mark, draw_mark, mark_mask, sort_findings
from vision.evidence.palette import Band
from vision.evidence.placement import Board, Box
from vision.evidence.scale_mark import draw_scale, scale_words
from vision.evidence.tags import Tag, band_of, draw_number, draw_string, draw_tag, fitting, number_extent, tag_forms
from vision.resize import resize
from vision.types import Finding, GrainField, Panel, Photo, Verdict

#: Text size as a share of the picture's width: 34 px at 1200, which a phone 390 points wide shows at 11 points.
_TEXT = 34 / 1200
_TALLEST = 3.0  # heights of the width; longer photos are made narrower
#: Share of a panel that its own tag may cover.
_MOST_COVERED = 0.25
#: Share of the picture all tags together may cover; crowded photos get shorter tags.
_MOST_PAPER = 0.3
FieldOnPhoto = tuple[GrainField, NDArray[np.float64]]


def draw_evidence(
    photo: Photo,
    panels: Sequence[Panel],
    verdicts: Mapping[str, Verdict],
    findings: Sequence[Finding],
    fields: Mapping[str, FieldOnPhoto | None],
    *,
    width: int = 1200,
    numbers: Mapping[str, int] | None = None,
    names: Mapping[str, str] | None = None,
    basis: str = "",
) -> NDArray[np.uint8]:
    """Evidence picture of one photo.

    Parameters
    ----------
    photo, panels : the photo and its panels; panels without a verdict are left out.
    verdicts : panel id -> verdict.
    findings : findings; only regions on this photo are drawn.
    fields : panel id -> (grain field, 3x3 homography working -> photo pixels), or None where grain was not measured.
    width : of the picture in pixels (a legend strip is added below).
    numbers : finding id -> number in the report's list; by default the position in `findings`, from 1.
    names : panel id -> short name on its tag; by default the id behind its last full stop.
    basis : what the percentages rest on, written in the legend.

    Returns
    -------
    (h, width, 3) uint8 sRGB.
    """
    if width < 300:
        raise ValueError(f"a picture {width} px wide cannot carry words")
    numbers = numbers or {f.id: k for k, f in enumerate(findings, 1)}
    shown = [p for p in panels if p.id in verdicts]
    names = {p.id: (names or {}).get(p.id, p.id.rsplit(".", 1)[-1]) for p in shown}
    scale = width / photo.width
    height = min(round(photo.height * scale), round(_TALLEST * width))
    if height < round(photo.height * scale):
        scale = height / photo.height
    size = max(10, round(_TEXT * width))
    unit = width / 400  # 3 px at 1200
    picture = np.full((height, width, 3), 40, np.uint8)
    across = max(1, round(photo.width * scale))
    picture[:, :across] = resize(photo.pixels, across, height)

    shapes = {p.id: _inset(np.array(p.outline, dtype=float) * scale, 3.2 * unit) for p in shown}
    masks = {k: _mask(s, height, width) for k, s in shapes.items()}
    picture = _muted(picture, masks)
    strokes = _all_strokes(shown, masks, fields, scale, unit)
    draw_strokes(picture, strokes, 0.9 * unit)
    for p in sorted(shown, key=lambda q: -masks[q.id].sum()):
        draw_band(picture, shapes[p.id], band_of(verdicts[p.id]), 1.9 * unit)
    marks, whole = sort_findings(findings, numbers, photo.id, shown, scale)
    for mark in marks:
        draw_mark(picture, mark, unit)
    if photo.scale is not None:
        draw_scale(picture, photo.scale, scale, unit)
    board = Board(height, width)
    _draw_numbers(picture, board, marks, size)
    cut = _draw_tags(picture, board, shown, verdicts, names, whole, masks, marks, size, unit)
    if photo.scale is not None:
        cut = [*cut, scale_words(photo.scale)]
    bands: dict[Band, None] = dict.fromkeys(band_of(verdicts[p.id]) for p in shown)
    numbered = bool(marks) or any(whole.values())
    strip = legend(width, max(10, round(0.9 * size)), list(bands), grain=bool(strokes), numbers=numbered, extra=cut, basis=basis)
    return np.vstack([picture, strip])


def _all_strokes(
    panels: Sequence[Panel], masks: Mapping[str, NDArray[np.bool_]], fields: Mapping[str, FieldOnPhoto | None],
    scale: float, unit: float,
) -> list[NDArray[np.float64]]:
    strokes: list[NDArray[np.float64]] = []
    shrink = np.diag([scale, scale, 1.0])
    for p in panels:
        entry = fields.get(p.id)
        if entry is None:
            continue
        field, to_photo = entry
        room = float(np.sqrt(max(1, masks[p.id].sum())))
        spacing = float(np.clip(room / 5, 11 * unit, 26 * unit))
        inside = cv2.erode(masks[p.id].astype(np.uint8), np.ones((round(4 * unit),) * 2, np.uint8)) > 0
        strokes += grain_strokes(field, shrink @ to_photo, inside, spacing=spacing, length=0.62 * spacing)
    return strokes


def _draw_numbers(picture: NDArray[np.uint8], board: Board, marks: Sequence[Mark], size: int) -> None:
    """One numbered dot a finding, at its first mark that still has room beside it."""
    height, width = picture.shape[:2]
    lines = np.zeros((height, width), np.uint8)
    for mark in marks:
        lines |= mark_mask(mark, height, width, size / 11)
    done: set[int] = set()
    for mark in marks:
        if mark.number in done:
            continue
        w, h = number_extent(mark.number, size)
        box = board.place(w, h, mark.anchor, avoided=lines * np.float32(3), grid=8, reach=6.0 * size)
        if box is not None:
            draw_number(picture, box, mark.number, size)
            done.add(mark.number)


def _draw_tags(
    picture: NDArray[np.uint8], board: Board, panels: Sequence[Panel], verdicts: Mapping[str, Verdict], names: Mapping[str, str],
    whole: Mapping[str, list[int]], masks: Mapping[str, NDArray[np.bool_]], marks: Sequence[Mark], size: int, unit: float,
) -> list[str]:
    """Tags of all panels, smallest panel first; returns a line for each tag that had to be cut to its name."""
    height, width = picture.shape[:2]
    lines = np.zeros((height, width), np.uint8)
    for mark in marks:
        lines |= mark_mask(mark, height, width, unit)
    panels_here = sum((masks[p.id].astype(np.uint8) for p in panels), np.zeros((height, width), np.uint8))
    all_forms = {p.id: tag_forms(names[p.id], verdicts[p.id], whole[p.id], size) for p in panels}
    level = fitting(list(all_forms.values()), _MOST_PAPER * height * width)
    cut, placed = [], []
    for p in sorted(panels, key=lambda q: int(masks[q.id].sum())):
        forms = all_forms[p.id]
        others = (panels_here > masks[p.id]).astype(np.float32)
        target = _middle(masks[p.id])
        form, box = _place(board, forms[min(level, len(forms) - 1) :], target, masks[p.id], 0.6 * others + 2 * lines, size)
        if form is forms[-1] or box is None:
            cut.append(", ".join(forms[0].lines))
        if box is not None:
            placed.append((box, form, masks[p.id]))
    for box, _, mask in placed:
        if _under(mask, box) < 0.5 and mask.any():
            draw_string(picture, box, _nearest(mask, box, 5 * unit), 0.8 * unit)
    for box, form, _ in placed:
        draw_tag(picture, box, form)
    return sorted(cut)


def _place(
    board: Board, forms: Sequence[Tag], target: tuple[float, float], own: NDArray[np.bool_], avoided: NDArray[np.floating],
    size: int,
) -> tuple[Tag, Box | None]:
    """Fullest form that fits within reach, else the bare name anywhere. A tag lies on its panel only where the panel is
    large enough to stay in view round it; else it hangs beside it."""
    room = float(own.sum())
    for form in forms:
        w, h = form.extent
        at_home = w * h <= _MOST_COVERED * room
        reach = np.inf if form is forms[-1] else 16.0 * size
        liked, kept_off = (own, avoided) if at_home else (None, avoided + own + 4 * _distance(own) / np.hypot(*own.shape))
        box = board.place(w, h, target, liked=liked, avoided=kept_off, reach=reach)
        if box is not None:
            return form, box
    return forms[-1], None


def _under(mask: NDArray[np.bool_], box: Box) -> float:
    return float(mask[box.y : box.y + box.height, box.x : box.x + box.width].mean())


def _distance(mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    """(h, w) distance of every pixel to the nearest True one, in pixels; 0 everywhere for an empty mask."""
    if not mask.any():
        return np.zeros(mask.shape, np.float32)
    return np.asarray(cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 3), dtype=np.float32)


def _nearest(mask: NDArray[np.bool_], box: Box, depth: float) -> tuple[float, float]:
    """The True pixel nearest to the box's centre among those `depth` inside the rim (or as deep as the mask gets)."""
    inward = cv2.distanceTransform(np.pad(mask.astype(np.uint8), 1), cv2.DIST_L2, 3)[1:-1, 1:-1]
    rows, cols = np.nonzero(inward >= min(depth, float(inward.max())))
    k = int(np.argmin(np.hypot(cols - box.centre[0], rows - box.centre[1])))
    return float(cols[k]), float(rows[k])


def _middle(mask: NDArray[np.bool_]) -> tuple[float, float]:
    """The pixel of the mask farthest from its rim; the picture's corner for an empty mask."""
    depth = cv2.distanceTransform(np.pad(mask.astype(np.uint8), 1), cv2.DIST_L2, 3)
    y, x = divmod(int(np.argmax(depth)), depth.shape[1])
    return float(x - 1), float(y - 1)


def _inset(points: NDArray[np.float64], by: float) -> NDArray[np.float64]:
    """Outline drawn in by half a band, so that bands of neighbours do not cover each other; thin panels keep theirs."""
    inner = Polygon(points).buffer(-by, join_style="mitre")
    if isinstance(inner, MultiPolygon):
        inner = max(inner.geoms, key=lambda g: g.area)
    if inner.is_empty or inner.area < 0.25 * Polygon(points).area:
        return points
    return np.array(inner.exterior.coords[:-1])


def _mask(points: NDArray[np.float64], height: int, width: int) -> NDArray[np.bool_]:
    out = np.zeros((height, width), np.uint8)
    cv2.fillPoly(out, [np.round(points).astype(np.int32)], 1)
    return out > 0


def _muted(picture: NDArray[np.uint8], masks: Mapping[str, NDArray[np.bool_]]) -> NDArray[np.uint8]:
    """The room greyed and darkened, the panels nearly as they are."""
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)[..., None].astype(np.float32)
    colour = picture.astype(np.float32)
    room = 0.62 * (0.35 * colour + 0.65 * grey) + 12
    wood = 0.85 * colour + 0.15 * grey
    inside = np.zeros(picture.shape[:2], bool)
    for mask in masks.values():
        inside |= mask
    out = np.where(inside[..., None], wood, room if masks else wood)
    return out.round().clip(0, 255).astype(np.uint8)

"""From evidence to a reading: the name with its probability, then leaves, seams, relations, axes or centre for that name."""

from __future__ import annotations

import math
from itertools import pairwise
from weakref import WeakKeyDictionary

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grain.flow import mean_direction
from vision.grain.metric import angle_difference
from vision.layouts.directions import line_through
from vision.layouts.gather import Evidence, gather, mirror_axes
from vision.layouts.joints import LEAST_R, MIRROR_Z, REPEAT_Z
from vision.layouts.layout import LAYOUTS, Axis, Centre, Layout, Leaf, Relation, Seam
from vision.layouts.measure import as_features
from vision.layouts.naming import load_forest
from vision.layouts.relations import across_line
from vision.layouts.words import points_to, widths_of, words_of
from vision.resize import resize
from vision.types import GrainField, Outline, Point, WorkingView

#: A name is given when it is at least this probable.
SURE = 0.5
_RADIAL = ("sunburst", "box", "reverse_box", "diamond", "reverse_diamond")
_SIDE_BY_SIDE = ("boards", "random", "slip", "book", "end")

_DONE: WeakKeyDictionary[GrainField, tuple[WorkingView, Evidence | None]] = WeakKeyDictionary()


def evidence_of(view: WorkingView, field: GrainField) -> Evidence | None:
    """Evidence of a panel, gathered once for each pair of view and field."""
    kept = _DONE.get(field)
    if kept is None or kept[0] is not view:
        kept = (view, gather(view, field))
        _DONE[field] = kept
    return kept[1]


def measure(view: WorkingView, field: GrainField) -> dict[str, float]:
    """All layout numbers of a panel, feature name -> number; nan where a number cannot be measured."""
    return as_features(evidence_of(view, field))


def read_layout(view: WorkingView, field: GrainField) -> Layout:
    """Layout of a panel's leaves or boards. `field` is the grain field of the view.

    The name is the most probable one, 'unclear' when none reaches `SURE`, 'none' when no grain shows. Geometry belongs to
    the most probable name even when that is unclear, so that what was seen can be shown.
    """
    e = evidence_of(view, field)
    if e is None:
        even = {n: 1 / len(LAYOUTS) for n in LAYOUTS}
        return Layout("none", even, (), (), (), (), None, None, None, "No grain shows, so no layout can be read.", None)
    probabilities = load_forest().probabilities(e.values)
    probable = max(probabilities, key=lambda n: probabilities[n])
    name = probable if probabilities[probable] >= SURE and supported(e, probable) else "unclear"
    leaves: tuple[Leaf, ...]
    seams: tuple[Seam, ...]
    relations: tuple[Relation, ...] = ()
    axes: tuple[Axis, ...] = ()
    centre = wedges = widths = None
    if probable in _RADIAL:
        centre, wedges, seams, outlines = _about_centre(view, e, probable)
        leaves, relations = _leaves(field, outlines), _over_seams(view, outlines, seams, wedges)
        axes = _axes_of(seams, centre)
    elif probable == "herringbone":
        seams, axes = _folds(view, e)
        outlines = _split(view, [(s.p0, s.p1) for s in seams])
        leaves = _leaves(field, outlines)
    elif probable == "basket":
        seams, outlines = _blocks(view, e)
        leaves = _leaves(field, outlines)
    elif probable in _SIDE_BY_SIDE:
        leaves, seams, relations = _strips(e, field)
        axes = _side_axes(e, probable)
        if probable in ("book", "slip"):
            widths = widths_of([b - a for a, b in pairwise(e.cuts)])
    else:
        leaves, seams = _leaves(field, [_rim(view)]), ()
    text = words_of(name, probable, probabilities[probable], len(leaves), relations, wedges, widths)
    return Layout(name, probabilities, leaves, seams, relations, axes, centre, wedges, widths, text, points_to(name, relations))


def supported(e: Evidence, name: str) -> bool:
    """Whether figure was seen to mirror or repeat, for the names that say so: such a name never rests on chance alone."""
    v = e.values
    if name == "book":
        return v["mirror_axes"] >= 1 or v["mirrored_pairs"] > 0
    if name == "slip":
        return v["repeated_pairs"] > 0 or (v["repeat_z"] >= REPEAT_Z and v["repeat_r"] >= LEAST_R)
    if name == "end":
        return v["end_z"] >= MIRROR_Z and v["end_r"] >= LEAST_R
    return True


def _rim(view: WorkingView) -> Outline:
    h, w = view.mask.shape
    return ((-0.5, -0.5), (w - 0.5, -0.5), (w - 0.5, h - 0.5), (-0.5, h - 0.5))


def _leaves(field: GrainField, outlines: list[Outline]) -> tuple[Leaf, ...]:
    """Leaves with the mean grain direction inside each outline."""
    out = []
    for outline in outlines:
        cells = np.zeros(field.angle.shape, np.uint8)
        points = (np.asarray(outline) + 0.5) / field.step - 0.5
        cv2.fillPoly(cells, [np.rint(points * 16).astype(np.int32)], 1, shift=4)
        angle, order = mean_direction(field.angle, np.where((cells > 0) & field.valid, field.coherence, 0))
        angle = angle if order > 0.2 else float("nan")
        t = math.radians(angle if math.isfinite(angle) else 0.0)
        across = np.asarray(outline) @ np.array([math.sin(t), math.cos(t)])
        out.append(Leaf(outline, angle, float(np.ptp(across))))
    return tuple(out)


def _strips(e: Evidence, field: GrainField) -> tuple[tuple[Leaf, ...], tuple[Seam, ...], tuple[Relation, ...]]:
    cols = e.frame.known.shape[1]
    used = np.nonzero(e.frame.known.mean(0) >= 0.3)[0]
    left, right = (float(used[0]) - 0.5, float(used[-1]) + 0.5) if used.size else (-0.5, cols - 0.5)
    outlines = [tuple(e.frame.point(x, y - 0.5) for x, y in ((left, a), (right, a), (right, b), (left, b)))
                for a, b in pairwise(e.cuts)]
    seams = tuple(Seam(e.frame.point(left, j.row - 0.5), e.frame.point(right, j.row - 0.5), j.strength, j.cue) for j in e.joints)
    relations = []
    for i, p in enumerate(e.pairs):
        drift = float("nan") if p.kind == "unrelated" else math.hypot(*p.shift) * e.frame.scale
        relations.append(Relation(i, i + 1, p.mirror, p.repeat, p.null, e.tones[i + 1] - e.tones[i], drift, p.kind))
    return _leaves(field, outlines), seams, tuple(relations)


def _side_axes(e: Evidence, name: str) -> tuple[Axis, ...]:
    """Mirror axes of book and end match: along the joints, and across them."""
    if name not in ("book", "end"):
        return ()
    rows, cols = e.frame.known.shape
    out = [(z, e.frame.point(0, row - 0.5), e.frame.point(cols - 1, row - 0.5)) for row, z in mirror_axes(e)]
    if name == "end" and math.isfinite(e.end[2]):
        out.append((e.end[0], e.frame.point(e.end[2], 0), e.frame.point(e.end[2], rows - 1)))
    out.sort(key=lambda a: -a[0])
    # a streak of n rows is placed to about a row and a half, and leans by as much over its length
    px = 1.5 * e.frame.scale
    return tuple(Axis(p0, p1, px, math.degrees(math.atan2(2 * px, math.dist(p0, p1)))) for _, p0, p1 in out)


def _about_centre(view: WorkingView, e: Evidence, name: str) -> tuple[Centre, int, tuple[Seam, ...], list[Outline]]:
    h, w = view.mask.shape
    q, b, wd = e.quarters, e.box, e.wedges
    if name == "sunburst" and wd is not None:
        centre, strength = Centre(wd.x, wd.y, wd.error), wd.share
        angles = [math.radians(wd.first + 360 * k / wd.count) for k in range(wd.count)]
        ends = [_to_rim(centre, (math.cos(a), -math.sin(a)), w, h) for a in angles]
    elif name in ("box", "reverse_box") and b is not None:
        centre, strength = Centre(b.x, b.y, b.error), b.share
        ends = [_to_rim(centre, (x - b.x, y - b.y), w, h) for x, y in b.corners]
    elif q is not None:
        centre, strength = Centre(q.x, q.y, q.error), q.share
        ends = [_to_rim(centre, d, w, h) for d in ((1.0, 0.0), (0.0, -1.0), (-1.0, 0.0), (0.0, 1.0))]
    else:
        centre, strength, ends = Centre((w - 1) / 2, (h - 1) / 2, 0.1 * max(w, h)), 0.0, []
    ends.sort(key=lambda p: math.atan2(p[1] - centre.y, p[0] - centre.x))
    seams = tuple(Seam((centre.x, centre.y), p, min(1.0, max(0.0, strength)), "direction") for p in ends)
    rim = _rim(view)
    outlines = []
    for p, p2 in zip(ends, [*ends[1:], *ends[:1]], strict=True):
        a0 = math.atan2(p[1] - centre.y, p[0] - centre.x)
        turn = (math.atan2(p2[1] - centre.y, p2[0] - centre.x) - a0) % (2 * math.pi)
        between = sorted(((math.atan2(c[1] - centre.y, c[0] - centre.x) - a0) % (2 * math.pi), c) for c in rim)
        outlines.append(((centre.x, centre.y), p, *(c for t, c in between if 1e-6 < t < turn - 1e-6), p2))
    return centre, len(ends), seams, outlines


def _to_rim(centre: Centre, way: tuple[float, float], w: int, h: int) -> Point:
    """Where a ray from the centre leaves the picture."""
    reach = [((limit - 0.5 if v > 0 else -0.5) - c) / v for c, v, limit in ((centre.x, way[0], w), (centre.y, way[1], h))
             if abs(v) > 1e-9]
    t = max(0.0, min(reach))
    return centre.x + t * way[0], centre.y + t * way[1]


def _axes_of(seams: tuple[Seam, ...], centre: Centre) -> tuple[Axis, ...]:
    """Mirror axes through a centre: opposite seams are one axis."""
    out: list[Axis] = []
    left = list(seams)
    while left:
        s = left.pop(0)
        a = math.degrees(math.atan2(s.p1[1] - centre.y, s.p1[0] - centre.x))
        twin = next((t for t in left if abs((math.degrees(math.atan2(t.p1[1] - centre.y, t.p1[0] - centre.x)) - a) % 360 - 180)
                     < 3), None)
        p0 = s.p0
        if twin is not None:
            left.remove(twin)
            p0 = twin.p1
        out.append(Axis(p0, s.p1, centre.error_px, math.degrees(math.atan2(centre.error_px, max(1.0, math.dist(s.p0, s.p1))))))
    return tuple(out)


def _over_seams(view: WorkingView, outlines: list[Outline], seams: tuple[Seam, ...], count: int | None) -> tuple[Relation, ...]:
    """Likeness over every seam that runs out from a centre; seam k parts leaf k - 1 from leaf k."""
    n = len(seams)
    if not count:
        return ()
    h, w = view.mask.shape
    scale = min(1.0, 320 / max(h, w))
    small = resize(view.pixels, max(1, round(w * scale)), max(1, round(h * scale)))
    light = np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2LAB), np.float32)[..., 0] * np.float32(100 / 255)
    fine = cv2.GaussianBlur(light, (0, 0), 1.0) - cv2.GaussianBlur(light, (0, 0), 8.0)
    figure = np.asarray(fine / np.sqrt(cv2.GaussianBlur(fine * fine, (0, 0), 16.0) + 0.04), np.float32)
    tones = [_tone(light, np.asarray(o) * scale) for o in outlines]
    out = []
    for k, s in enumerate(seams):
        p0, p1 = ((p[0] * scale, p[1] * scale) for p in (s.p0, s.p1))
        length = math.dist(p0, p1)
        start = 0.35  # near the centre the wedges are narrower than the strip that is compared
        q0 = (p0[0] + start * (p1[0] - p0[0]), p0[1] + start * (p1[1] - p0[1]))
        like = across_line(figure, q0, p1, min(0.25 * length, start * length * math.tan(math.pi / max(n, 4))))
        related = like.kind == "mirrored"
        i = (k - 1) % n
        out.append(Relation(i, k, like.mirror, like.repeat, like.null, tones[k] - tones[i],
                            math.hypot(*like.shift) / scale if related else float("nan"), "mirrored" if related else "unrelated"))
    return tuple(out)


def _tone(light: NDArray[np.float32], outline: NDArray[np.float64]) -> float:
    cover = np.zeros(light.shape, np.uint8)
    cv2.fillPoly(cover, [np.rint(outline).astype(np.int32)], 1)
    return float(cv2.mean(light, cover)[0])


def _folds(view: WorkingView, e: Evidence) -> tuple[tuple[Seam, ...], tuple[Axis, ...]]:
    h, w = view.mask.shape
    seams, axes = [], []
    for offset in e.fold.offsets:
        ends = line_through(e.fold.direction, offset, w, h)
        if ends is None:
            continue
        error = 0.5 * max(e.directions.step_x, e.directions.step_y)
        seams.append(Seam(*ends, min(1.0, 2 * e.fold.gain), "direction"))
        axes.append(Axis(*ends, error, 1.5))
    return tuple(seams), tuple(axes)


def _split(view: WorkingView, lines: list[tuple[Point, Point]]) -> list[Outline]:
    """The panel cut along lines that do not cross, as polygons."""
    from shapely.geometry import LineString, Polygon
    from shapely.ops import split

    pieces = [Polygon(_rim(view))]
    for p0, p1 in lines:
        a, b = np.asarray(p0), np.asarray(p1)
        way = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
        cut = LineString([a - 5 * way, b + 5 * way])
        pieces = [g for piece in pieces for g in split(piece, cut).geoms]
    return [tuple((float(x), float(y)) for x, y in g.exterior.coords[:-1]) for g in pieces]


def _blocks(view: WorkingView, e: Evidence) -> tuple[tuple[Seam, ...], list[Outline]]:
    if e.blocks is None:
        return (), [_rim(view)]
    h, w = view.mask.shape
    k = e.blocks

    def lines(first: float, limit: int) -> list[float]:
        start = first - k.size * math.ceil((first + 0.5) / k.size)
        every = np.arange(start, limit + k.size, k.size)
        return [-0.5, *(float(v) for v in every if 0.15 * k.size < v < limit - 0.5 - 0.15 * k.size), limit - 0.5]

    xs, ys = lines(k.x, w), lines(k.y, h)
    strength = min(1.0, k.share)
    seams = [Seam((x, -0.5), (x, h - 0.5), strength, "direction") for x in xs[1:-1]]
    seams += [Seam((-0.5, y), (w - 0.5, y), strength, "direction") for y in ys[1:-1]]
    outlines: list[Outline] = [((x0, y0), (x1, y0), (x1, y1), (x0, y1)) for y0, y1 in pairwise(ys) for x0, x1 in pairwise(xs)]
    return tuple(seams), outlines


def mirrored_directions(leaves: tuple[Leaf, ...], axis: Axis) -> float:
    """Degrees by which the first two leaves' grain misses being mirrored at an axis."""
    line = math.degrees(math.atan2(-(axis.p1[1] - axis.p0[1]), axis.p1[0] - axis.p0[0]))
    return float(abs(angle_difference(leaves[1].angle, 2 * line - leaves[0].angle)))

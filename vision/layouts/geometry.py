"""Leaves, joints, axes and relations of a panel once its layout is named, from the net's maps and from what was measured."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grain.flow import mean_direction
from vision.layouts.directions import Blocks
from vision.layouts.frame import Frame, make_frame
from vision.layouts.gather import Evidence
from vision.layouts.layout import Axis, Centre, Leaf, Relation, Seam
from vision.layouts.learned import Seen
from vision.layouts.lines import Cells, Line, apart, find_lines
from vision.layouts.rays import find_rays, peak
from vision.layouts.relations import across_line, pairs_of
from vision.resize import resize
from vision.types import GrainField, Outline, Point, WorkingView

RADIAL = ("sunburst", "box", "reverse_box", "diamond", "reverse_diamond")
SIDE_BY_SIDE = ("boards", "random", "slip", "book", "end")
#: How strong an axis or a joint must be on its map, and over how much of its length.
AXIS, JOINT, COVERED = 0.3, 0.3, 0.5
#: Lines this near to one direction (degrees) run side by side.
_PARALLEL = 7.0


@dataclass(frozen=True)
class Geometry:
    """What belongs to a name."""

    leaves: tuple[Leaf, ...]
    seams: tuple[Seam, ...] = ()
    relations: tuple[Relation, ...] = ()
    axes: tuple[Axis, ...] = ()
    centre: Centre | None = None
    wedges: int | None = None
    widths: tuple[float, ...] = ()


def geometry_of(name: str, view: WorkingView, field: GrainField, e: Evidence, seen: Seen) -> Geometry:
    """Geometry that goes with a name (a key of LAYOUTS)."""
    if name in RADIAL:
        return about_centre(view, field, seen, name)
    if name == "end":
        return end_to_end(view, field, seen)
    if name in SIDE_BY_SIDE:
        return side_by_side(view, field, e, seen, name)
    if name == "herringbone":
        lines = find_lines(Cells(seen.axis, seen.canvas, seen.way), least=AXIS, covered=COVERED)
        lines = [v for v in lines if apart(v.direction, lines[0].direction) < _PARALLEL]
        leaves = leaves_of(field, split(view, lines))
        return Geometry(leaves, tuple(seam_of(v, "direction") for v in lines), axes=tuple(axis_of(v) for v in lines))
    if name == "basket":
        seams, outlines = _blocks(view, e.blocks)
        return Geometry(leaves_of(field, outlines), seams)
    return Geometry(leaves_of(field, [rim(view)]))


def axis_of(line: Line) -> Axis:
    """A line as mirror axis."""
    return Axis(line.p0, line.p1, line.error_px, line.error_deg)


def seam_of(line: Line, cue: str) -> Seam:
    """A line as joint."""
    return Seam(line.p0, line.p1, min(1.0, line.strength), cue)


def rim(view: WorkingView) -> Outline:
    """The rectangle of a view."""
    h, w = view.mask.shape
    return ((-0.5, -0.5), (w - 0.5, -0.5), (w - 0.5, h - 0.5), (-0.5, h - 0.5))


def leaves_of(field: GrainField, outlines: list[Outline]) -> tuple[Leaf, ...]:
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


def split(view: WorkingView, lines: list[Line]) -> list[Outline]:
    """The panel cut along lines, as polygons."""
    from shapely.geometry import LineString, Polygon
    from shapely.ops import split as cut

    pieces = [Polygon(rim(view))]
    for line in lines:
        a, b = np.asarray(line.p0), np.asarray(line.p1)
        way = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
        knife = LineString([a - 5 * way, b + 5 * way])
        pieces = [g for piece in pieces for g in cut(piece, knife).geoms]
    return [tuple((float(x), float(y)) for x, y in g.exterior.coords[:-1]) for g in pieces]


# -- leaves side by side ---------------------------------------------------------------------------------------------
def parallel_lines(seen: Seen, name: str) -> list[Line]:
    """Joints of leaves side by side, strongest first; mirror axes for a book."""
    if name == "book":
        cells, least = Cells(seen.axis, seen.canvas, seen.way), AXIS
    else:
        cells, least = Cells(seen.seam, seen.canvas), JOINT
    lines = find_lines(cells, [0.0, 90.0], least=least, covered=COVERED)
    if not lines:
        return []
    level = sum(v.strength for v in lines if apart(v.direction, 0) < 45)
    main = 0.0 if 2 * level >= sum(v.strength for v in lines) else 90.0
    lines = [v for v in lines if apart(v.direction, main) < _PARALLEL]
    return lines


def side_by_side(view: WorkingView, field: GrainField, e: Evidence, seen: Seen, name: str) -> Geometry:
    """Leaves or boards in one row."""
    lines = parallel_lines(seen, name)
    cues = {"book": "mirror", "slip": "repeat"}
    frame = e.frame
    if lines:
        direction = float(np.median([v.direction if v.direction < 135 else v.direction - 180 for v in lines]))
        if apart(direction, frame.direction) > 4:
            frame = make_frame(view, direction % 180)
        cuts, seams = _cuts(frame, lines, cues.get(name, "tone"))
    else:
        cuts, seams = list(e.cuts), tuple(_old_seams(e))
        if name == "book":
            cuts, seams = [cuts[0], cuts[-1]], ()
    left, right = _ends(frame)
    outlines = [tuple(frame.point(x, y - 0.5) for x, y in ((left, a), (right, a), (right, b), (left, b)))
                for a, b in pairwise(cuts)]
    relations = []
    tones = _strip_tones(frame, cuts)
    for i, p in enumerate(pairs_of(frame, cuts)):
        drift = float("nan") if p.kind == "unrelated" else math.hypot(*p.shift) * frame.scale
        relations.append(Relation(i, i + 1, p.mirror, p.repeat, p.null, tones[i + 1] - tones[i], drift, p.kind))
    axes = tuple(axis_of(v) for v in sorted(lines, key=lambda v: -v.strength)) if name == "book" else ()
    return Geometry(leaves_of(field, outlines), seams, tuple(relations), axes, widths=tuple(b - a for a, b in pairwise(cuts)))


def _ends(frame: Frame) -> tuple[float, float]:
    used = np.nonzero(frame.known.mean(0) >= 0.3)[0]
    cols = frame.known.shape[1]
    return (float(used[0]) - 0.5, float(used[-1]) + 0.5) if used.size else (-0.5, cols - 0.5)


def _old_seams(e: Evidence) -> list[Seam]:
    left, right = _ends(e.frame)
    return [Seam(e.frame.point(left, j.row - 0.5), e.frame.point(right, j.row - 0.5), j.strength, j.cue) for j in e.joints]


def _cuts(frame: Frame, lines: list[Line], cue: str) -> tuple[list[float], tuple[Seam, ...]]:
    """Bounding rows of the leaves from top to bottom, and the joints in that order."""
    inverse = np.linalg.inv(np.vstack([frame.back, [0, 0, 1]]))
    rows = [float((inverse @ [*((np.asarray(v.p0) + np.asarray(v.p1)) / 2), 1.0])[1]) + 0.5 for v in lines]
    covered = np.nonzero(frame.known.mean(1) >= 0.3)[0]
    first, last = (float(covered[0]), float(covered[-1]) + 1) if covered.size else (0.0, float(frame.known.shape[0]))
    kept = sorted((r, k) for k, r in enumerate(rows) if first + 3 < r < last - 3)
    return [first, *(r for r, _ in kept), last], tuple(seam_of(lines[k], cue) for _, k in kept)


def _strip_tones(frame: Frame, cuts: list[float]) -> list[float]:
    out = []
    for a, b in pairwise(cuts):
        part = frame.known[round(a):max(round(b), round(a) + 1)]
        light = frame.lab[round(a):max(round(b), round(a) + 1), :, 0]
        out.append(float(light[part].mean()) if part.any() else 0.0)
    return out


def end_to_end(view: WorkingView, field: GrainField, seen: Seen) -> Geometry:
    """Leaves mirrored end to end, and side by side where joints run the other way too."""
    lines = find_lines(Cells(seen.axis, seen.canvas, seen.way), [0.0, 90.0], least=AXIS, covered=COVERED)
    outlines = split(view, lines)
    leaves = leaves_of(field, outlines)
    segments = []
    for i, one in enumerate(outlines):
        for j in range(i + 1, len(outlines)):
            shared = _shared(one, outlines[j])
            if shared is not None:
                segments.append((i, j, *shared))
    relations = _over(view, outlines, segments)
    return Geometry(leaves, tuple(seam_of(v, "mirror") for v in lines), relations, tuple(axis_of(v) for v in lines))


def _shared(one: Outline, other: Outline) -> tuple[Point, Point] | None:
    """Ends of the side two polygons share; None when they do not touch along one."""
    from shapely.geometry import Polygon

    side = Polygon(one).buffer(0.5).intersection(Polygon(other).buffer(0.5))
    if side.is_empty or side.area < 24:
        return None
    box = np.array(side.minimum_rotated_rectangle.exterior.coords)[:4]
    if math.dist(box[0], box[1]) < math.dist(box[1], box[2]):
        box = np.roll(box, -1, 0)
    a, b = (box[0] + box[3]) / 2, (box[1] + box[2]) / 2
    return (float(a[0]), float(a[1])), (float(b[0]), float(b[1]))


# -- about a centre --------------------------------------------------------------------------------------------------
def about_centre(view: WorkingView, field: GrainField, seen: Seen, name: str) -> Geometry:
    """Wedges, quarters or triangles that meet in a point."""
    h, w = view.mask.shape
    axes: tuple[Axis, ...] = ()
    if name == "sunburst":
        rays = find_rays(seen)
        centre, strength = Centre(rays.x, rays.y, rays.error_px), rays.strength
        angles = [math.radians(rays.first + 360 * k / rays.count) for k in range(rays.count)]
        ends = [to_rim(centre, (math.cos(a), -math.sin(a)), w, h) for a in angles]
    else:
        centre, ends, strength, axes = _two_lines(seen, name, w, h)
    ends.sort(key=lambda p: math.atan2(p[1] - centre.y, p[0] - centre.x))
    seams = tuple(Seam((centre.x, centre.y), p, min(1.0, max(0.0, strength)), "direction") for p in ends)
    outlines = []
    for p, p2 in zip(ends, [*ends[1:], *ends[:1]], strict=True):
        a0 = math.atan2(p[1] - centre.y, p[0] - centre.x)
        turn = (math.atan2(p2[1] - centre.y, p2[0] - centre.x) - a0) % (2 * math.pi)
        between = sorted(((math.atan2(c[1] - centre.y, c[0] - centre.x) - a0) % (2 * math.pi), c) for c in rim(view))
        outlines.append(((centre.x, centre.y), p, *(c for t, c in between if 1e-6 < t < turn - 1e-6), p2))
    n = len(seams)
    start = 0.35  # near the centre the wedges are narrower than the strip that is compared
    segments = []
    for k, s in enumerate(seams):
        near = (s.p0[0] + start * (s.p1[0] - s.p0[0]), s.p0[1] + start * (s.p1[1] - s.p0[1]))
        segments.append(((k - 1) % n, k, near, s.p1))
    relations = _over(view, outlines, segments, start * math.tan(math.pi / max(n, 4)) / (1 - start))
    return Geometry(leaves_of(field, outlines), seams, relations, axes or _axes_of(seams, centre), centre, n)


def _two_lines(seen: Seen, name: str, w: int, h: int) -> tuple[Centre, list[Point], float, tuple[Axis, ...]]:
    """Centre, ends of the seams, strength and axes of four leaves: two lines seen to cross near the centre, else those that
    the name asks for through the peak of the centre map."""
    x, y, error, height = peak(seen)
    if height < 0.2:
        x, y, error = (w - 1) / 2, (h - 1) / 2, 0.1 * max(w, h)
    lean = math.degrees(math.atan2(h, w))
    wanted = (0.0, 90.0) if "diamond" in name else (lean, 180 - lean)
    lines = find_lines(Cells(seen.axis, seen.canvas, seen.way), least=0.8 * AXIS, covered=0.8 * COVERED)
    found: list[Line] = []
    for direction in wanted:
        near = [v for v in lines if apart(v.direction, direction) < 12 and _off(v, x, y) < 0.06 * max(w, h)]
        if near:
            found.append(near[0])
    if len(found) == 2:
        crossing = _crossing(found[0], found[1])
        if crossing is not None:
            centre = Centre(*crossing, math.hypot(found[0].error_px, found[1].error_px))
            return (centre, [p for v in found for p in (v.p0, v.p1)], min(v.strength for v in found),
                    tuple(axis_of(v) for v in found))
    centre = Centre(x, y, error)
    ways = [math.radians(d + turn) for d in wanted for turn in (0, 180)]
    return centre, [to_rim(centre, (math.cos(a), -math.sin(a)), w, h) for a in ways], height, ()


def _off(line: Line, x: float, y: float) -> float:
    a, b = np.asarray(line.p0), np.asarray(line.p1)
    d = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
    return float(abs(d[0] * (y - a[1]) - d[1] * (x - a[0])))


def _crossing(one: Line, other: Line) -> Point | None:
    p, d = np.asarray(one.p0), np.asarray(one.p1) - np.asarray(one.p0)
    q, e = np.asarray(other.p0), np.asarray(other.p1) - np.asarray(other.p0)
    det = d[0] * e[1] - d[1] * e[0]
    if abs(det) < 1e-6:
        return None
    t = ((q - p)[0] * e[1] - (q - p)[1] * e[0]) / det
    at = p + t * d
    return float(at[0]), float(at[1])


def to_rim(centre: Centre, way: tuple[float, float], w: int, h: int) -> Point:
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


def _over(view: WorkingView, outlines: list[Outline], segments: list[tuple[int, int, Point, Point]],
          room: float = 0.25) -> tuple[Relation, ...]:
    """Likeness over joints: (leaf, leaf, end, end) each. `room`: depth compared on either side, in lengths of the joint."""
    h, w = view.mask.shape
    scale = min(1.0, 320 / max(h, w))
    small = resize(view.pixels, max(1, round(w * scale)), max(1, round(h * scale)))
    light = np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2LAB), np.float32)[..., 0] * np.float32(100 / 255)
    fine = cv2.GaussianBlur(light, (0, 0), 1.0) - cv2.GaussianBlur(light, (0, 0), 8.0)
    figure = np.asarray(fine / np.sqrt(cv2.GaussianBlur(fine * fine, (0, 0), 16.0) + 0.04), np.float32)
    tones = [_tone(light, np.asarray(o) * scale) for o in outlines]
    out = []
    for i, k, a, b in segments:
        p0, p1 = ((p[0] * scale, p[1] * scale) for p in (a, b))
        like = across_line(figure, p0, p1, min(0.25, room) * math.dist(p0, p1))
        related = like.kind == "mirrored"
        out.append(Relation(i, k, like.mirror, like.repeat, like.null, tones[k] - tones[i],
                            math.hypot(*like.shift) / scale if related else float("nan"), "mirrored" if related else "unrelated"))
    return tuple(out)


def _tone(light: NDArray[np.float32], outline: NDArray[np.float64]) -> float:
    cover = np.zeros(light.shape, np.uint8)
    cv2.fillPoly(cover, [np.rint(outline).astype(np.int32)], 1)
    return float(cv2.mean(light, cover)[0])


# -- blocks ----------------------------------------------------------------------------------------------------------
def _blocks(view: WorkingView, k: Blocks | None) -> tuple[tuple[Seam, ...], list[Outline]]:
    if k is None:
        return (), [rim(view)]
    h, w = view.mask.shape

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

"""Figure seen more than once: on one sheet, between sheets of one photo, between photos."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import combinations
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.repeats.candidates import LEAST_WEIGHT as LEAST_WEIGHT
from vision.repeats.candidates import candidate_moves
from vision.repeats.describe import Described, describe
from vision.repeats.hardware import spread_enough
from vision.repeats.likelihood import log_likelihoods, stored
from vision.repeats.measure import Measured, measure
from vision.repeats.register import Registered, register
from vision.repeats.repeat import Polygon, Repeat
from vision.repeats.same_surface import is_same_surface, more_than_itself, outlines_share
from vision.repeats.sheet import Sheet
from vision.repeats.vote import Move

#: Sheets with a shorter side (px) are left out: too little figure to tell one showing from another.
LEAST_SIDE = 64
#: Sheets are worked on by this many threads; OpenCV and NumPy release the interpreter lock in long calls.
WORKERS = 2
#: Two sheets of one photo whose matched places lie closer than this (share of the sheet's side) are one place.
ONE_PLACE = 0.04
#: Panels of one photo that cover each other this far show one surface.
SHARED_OUTLINE = 0.2
#: Offsets count as multiples of a period within this share of it.
PERIOD_ERROR = 0.03


def find_repeats(sheets: Sequence[Sheet]) -> tuple[Repeat, ...]:
    """Repeats among the sheets of one piece, most certain first.

    Every accepted pair of showings is one `Repeat`; one physical surface photographed twice comes with `same_surface`
    set and must not be counted. Straight grain, which looks like itself along the grain, is refused: the peak of the
    correlation must be at most 2 px wide (standard deviation) along the grain, in pixels of the coarser sheet.
    """
    large = [k for k, s in enumerate(sheets) if min(s.width, s.height) >= LEAST_SIDE]
    if len(large) < len(sheets):
        return tuple(replace(r, a=large[r.a], b=large[r.b]) for r in find_repeats([sheets[k] for k in large]))
    with ThreadPoolExecutor(WORKERS) as pool:
        described = list(pool.map(describe, sheets))
        worth = candidate_moves(described, pool)
        judgements = list(pool.map(lambda w: judged(sheets, described, *w), worth))
    found: list[Repeat] = []
    for repeat in judgements:
        if repeat is not None and not any(_same(repeat, other, sheets) for other in found):
            found.append(repeat)
    # on one sheet the registering may have slid back to where it came from: the same place is no second showing
    found = [r for r in found if not (r.within and is_same_surface(sheets[r.a], sheets[r.b], r))]
    marked = [r if r.within else replace(r, same_surface=is_same_surface(sheets[r.a], sheets[r.b], r)) for r in found]
    marked = _with_periods(_beyond_itself(marked, sheets))
    marked.sort(key=lambda r: -r.log_odds)
    return tuple(marked)


def _beyond_itself(found: list[Repeat], sheets: Sequence[Sheet]) -> list[Repeat]:
    """Repeats without those between two pictures of one surface that are no more than a figure's likeness to itself."""
    one = {(r.a, r.b) for r in found if r.same_surface}
    one |= {(r.a, r.b) for r in found if not r.within and outlines_share(sheets[r.a], sheets[r.b]) > SHARED_OUTLINE}
    return [r for r in found if r.same_surface or (r.a, r.b) not in one or more_than_itself(r.motion, r.measured)]


def judged(sheets: Sequence[Sheet], described: Sequence[Described], a: int, b: int, move: Move) -> Repeat | None:
    """The move registered, measured and judged; None when it is refused."""
    model = stored()
    if not spread_enough(move.points_a, sheets[a].width, sheets[a].height):
        return None
    laid = register(described[a].figure, described[b].figure, move.transform, rigid=a == b)
    if laid is None or _one_place(sheets, a, b, laid):
        return None
    # Peak widths hold in the coarser sheet's pixels: the finer one could show no more than that.
    measured = measure(laid, move.votes, same_sheet=a == b, widest=model.along_sd_most)
    if measured is None:
        return None
    if a == b and not more_than_itself(move.motion, measured.values):
        return None
    repeat = _repeat(sheets, a, b, move, laid, measured)
    return repeat if repeat.log_odds >= model.accept else None


def _repeat(sheets: Sequence[Sheet], a: int, b: int, move: Move, laid: Registered, measured: Measured) -> Repeat:
    frame_to_a = laid.to_other if laid.swapped else laid.to_sheet
    outline: NDArray[np.float64] = _outline(measured.region)
    on_a = _through(frame_to_a, outline)
    on_b = _through(laid.transform, on_a)
    centre = outline.mean(axis=0)
    jac = _jacobian(frame_to_a, centre)
    covariance = jac @ measured.covariance @ jac.T
    along = jac @ np.array([np.cos(laid.grain), np.sin(laid.grain)])
    along = along / np.linalg.norm(along)
    offset = None
    if move.motion == "shift":
        if a == b:
            c = on_a.mean(axis=0)
            offset = _through(laid.transform, c[None])[0] - c
        else:
            middle_a = np.array([(sheets[a].width - 1) / 2, (sheets[a].height - 1) / 2])
            middle_b = np.array([[(sheets[b].width - 1) / 2, (sheets[b].height - 1) / 2]])
            offset = _through(np.linalg.inv(laid.transform), middle_b)[0] - middle_a
    return Repeat(
        a=a, b=b, transform=laid.transform, motion=move.motion, region_a=_polygon(on_a), region_b=_polygon(on_b),
        votes=move.votes, covariance=covariance, along_sd=float(np.sqrt(along @ covariance @ along)),
        measured=measured.values, log_likelihoods=log_likelihoods(measured.values, move.motion, within=a == b),
        offset=None if offset is None else (float(offset[0]), float(offset[1])))


def _outline(region: NDArray[np.bool_]) -> NDArray[np.float64]:
    """(n, 2) convex outline of a region, few corners."""
    ys, xs = np.nonzero(region)
    hull = cv2.convexHull(np.stack([xs, ys], axis=1).astype(np.int32))
    few = cv2.approxPolyDP(hull, 0.01 * max(region.shape), True).reshape(-1, 2)
    if len(few) < 3:
        x0, x1, y0, y1 = xs.min(), xs.max(), ys.min(), ys.max()
        few = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    return few.astype(np.float64)


def _polygon(points: NDArray[np.float64]) -> Polygon:
    return tuple((float(x), float(y)) for x, y in points)


def _through(matrix: NDArray[Any], points: NDArray[Any]) -> NDArray[np.float64]:
    p = np.c_[points, np.ones(len(points))] @ matrix.T
    return np.asarray(p[:, :2] / p[:, 2:])


def _jacobian(matrix: NDArray[np.float64], point: NDArray[np.float64]) -> NDArray[np.float64]:
    """2x2 derivative of a homography at a point."""
    p = _through(matrix, point + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    return np.stack([p[1] - p[0], p[2] - p[0]], axis=1)


def _one_place(sheets: Sequence[Sheet], a: int, b: int, laid: Registered) -> bool:
    """Whether both showings are the same pixels of one photo (outlines that overlap, or a move that shrank to nothing)."""
    if sheets[a].photo != sheets[b].photo:
        return False
    ys, xs = np.nonzero(laid.overlap)
    pick = np.linspace(0, len(xs) - 1, 30).astype(int)
    at: NDArray[np.float64] = np.stack([xs[pick], ys[pick]], axis=1).astype(np.float64)
    on_a = _through(laid.to_other if laid.swapped else laid.to_sheet, at)
    on_b = _through(laid.transform, on_a)
    if a == b:
        gap = np.linalg.norm(on_a - on_b, axis=1)
        return bool(np.median(gap) < ONE_PLACE * max(sheets[a].width, sheets[a].height))
    pa, pb = sheets[a].photo_points(on_a), sheets[b].photo_points(on_b)
    side = float(np.ptp(pa, axis=0).max())
    return bool(np.median(np.linalg.norm(pa - pb, axis=1)) < ONE_PLACE * max(side, 1.0))


def _same(one: Repeat, other: Repeat, sheets: Sequence[Sheet]) -> bool:
    """Whether two repeats tell the same: same sheets and motion, and transforms alike over the region."""
    if (one.a, one.b, one.motion) != (other.a, other.b, other.motion):
        return False
    at = np.array(one.region_a)
    side = max(sheets[one.b].width, sheets[one.b].height)
    if float(np.abs(_through(one.transform, at) - _through(other.transform, at)).mean()) < 0.03 * side:
        return True
    back = _through(np.linalg.inv(other.transform), at) if one.within else None
    return back is not None and float(np.abs(_through(one.transform, at) - back).mean()) < 0.03 * side


def _with_periods(found: list[Repeat]) -> list[Repeat]:
    """Repeats with `period` set where one sheet shows a figure at a spacing and again at a whole multiple of it.

    The spacing is the least squares fit to all the multiples seen.
    """
    out = list(found)
    shifts = [k for k, r in enumerate(found) if r.within and r.offset is not None]
    for k in shifts:
        base = np.array(found[k].offset)
        length = float(np.linalg.norm(base))
        fits = [(1, length)]
        for j in shifts:
            if j == k or found[j].a != found[k].a:
                continue
            other = np.array(found[j].offset)
            times = round(float(other @ base) / length**2)
            if abs(times) >= 2 and np.linalg.norm(other - times * base) < PERIOD_ERROR * length * abs(times):
                fits.append((abs(times), float(np.linalg.norm(other))))
        if len(fits) > 1:
            n, d = np.array(fits).T
            out[k] = replace(found[k], period=float((n * d).sum() / (n * n).sum()))
    for i, j in combinations(shifts, 2):  # multiples share the period of their base
        one, two = out[i], out[j]
        if one.a == two.a and (one.period is None) != (two.period is None):
            known, more = (one, two) if one.period is not None else (two, one)
            ratio = float(np.linalg.norm(np.array(more.offset))) / float(known.period or 1.0)
            if abs(ratio - round(ratio)) < PERIOD_ERROR * ratio and round(ratio) >= 2:
                out[i if more is one else j] = replace(more, period=known.period)
    return out

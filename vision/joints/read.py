"""Everything about joints and fittings on one panel: what is seen on its working view and a little way round it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.joints import gaps, relief, rows, strokes
from vision.joints.chances import Net, stored
from vision.joints.finds import ROUND_NAMES, Gap, JointReading, Pair, Relief, Row, Strokes, Tails
from vision.joints.items import items_of
from vision.joints.rounds import Spot, named, spots
from vision.joints.rows import Holes
from vision.joints.tails import find_tails, sayable
from vision.types import Outline, WorkingView

#: How far round the panel joints are looked for, share of its longer side: outlines often stop at the joint.
ROUND_ABOUT: Final = 0.12
#: Least chance of what is given out, by kind.
LEAST: Final = {"tails": 0.6, "round": 0.5, "row": 0.5, "pair": 0.5, "strokes": 0.5, "gap": 0.5, "relief": 0.8}
#: How far beside the panel's outline a joint may begin that belongs to it, share of its longer side (and two pixels).
BESIDE: Final = 0.012
#: Chance of being a hole from which a spot takes part in rows and pairs.
HOLE_LEAST = 0.15


@dataclass(frozen=True, eq=False)
class Surround:
    """A view with a margin. `pixels`: (h, w, 3); `origin`: working-view pixel at which its top left pixel lies."""

    pixels: NDArray[np.uint8]
    origin: tuple[float, float]


def surround(view: WorkingView, photo: NDArray[np.uint8], share: float = ROUND_ABOUT) -> Surround:
    """The view and a margin of `share` of its longer side, as far as the photo goes, through the view's own homography."""
    h, w = view.mask.shape
    margin = round(share * max(h, w))
    ph, pw = photo.shape[:2]
    shift = np.array([[1.0, 0, -margin], [0, 1, -margin], [0, 0, 1]])
    matrix = view.to_photo @ shift
    size = (w + 2 * margin, h + 2 * margin)
    scale = max(1.0, view.px_scale)
    corners = np.array([[0, 0, 1], [size[0], 0, 1], [size[0], size[1], 1], [0, size[1], 1]], float) @ matrix.T
    source, moved = photo, matrix
    if (corners[:, 2] > 0).all() or (corners[:, 2] < 0).all():  # only the part of the photo that is looked at
        at, pad = corners[:, :2] / corners[:, 2:], round(3 * scale) + 4
        x0, y0 = (int(v) for v in np.clip(np.floor(at.min(axis=0)) - pad, 0, [pw - 1, ph - 1]))
        x1, y1 = (int(v) for v in np.clip(np.ceil(at.max(axis=0)) + pad, [x0 + 1, y0 + 1], [pw, ph]))
        source, moved = photo[y0:y1, x0:x1], np.array([[1.0, 0, -x0], [0, 1, -y0], [0, 0, 1]]) @ matrix
    source = np.asarray(cv2.GaussianBlur(source, (0, 0), 0.45 * scale), np.uint8) if scale > 1.3 else source
    out = cv2.warpPerspective(source, moved, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                              borderMode=cv2.BORDER_REPLICATE)
    ys, xs = np.mgrid[0 : size[1], 0 : size[0]]
    p = np.stack([xs.ravel(), ys.ravel(), np.ones(xs.size)], axis=1) @ matrix.T
    depth = p[:, 2]
    x, y = p[:, 0] / depth, p[:, 1] / depth
    inside = (x >= 0) & (y >= 0) & (x <= pw - 1) & (y <= ph - 1) & (depth * depth[len(depth) // 2] > 0)
    inside = inside.reshape(size[1], size[0])
    # the margin ends where the photo does, side by side
    top = next((k for k in range(margin + 1) if inside[k, margin : margin + w].mean() > 0.9), margin)
    left = next((k for k in range(margin + 1) if inside[margin : margin + h, k].mean() > 0.9), margin)
    bottom = next((k for k in range(margin + 1) if inside[size[1] - 1 - k, margin : margin + w].mean() > 0.9), margin)
    right = next((k for k in range(margin + 1) if inside[margin : margin + h, size[0] - 1 - k].mean() > 0.9), margin)
    cut = np.ascontiguousarray(out[top : size[1] - bottom, left : size[0] - right], np.uint8)
    return Surround(cut, (float(left - margin), float(top - margin)))


def read_pixels(pixels: NDArray[np.uint8], mm_per_px: float | None = None,
                mask: NDArray[np.bool_] | None = None, *, ends: bool = True) -> JointReading:
    """Finds on a rectified picture, in its own pixels; round things and holes only where `mask` (h, w) is True; end joints only
    with `ends`."""
    shape = (pixels.shape[0], pixels.shape[1])
    found = [s for s in spots(pixels) if mask is None or mask[round(min(s.y, shape[0] - 1)), round(min(s.x, shape[1] - 1))]]
    in_order, pairs = _holes_in_order(holes_of(found), shape, mm_per_px)
    return JointReading(
        tails=tuple(t for t in find_tails(pixels, least=LEAST["tails"], mm_per_px=mm_per_px) if sayable(t)) if ends else (),
        rounds=tuple(r for r in named(found, mm_per_px=mm_per_px) if r.chance >= LEAST["round"]),
        rows=in_order, pairs=pairs, strokes=_strokes(pixels, shape), gaps=_gaps(pixels, mm_per_px),
        reliefs=_relief(pixels, shape))


def read_joints(view: WorkingView, photo: NDArray[np.uint8] | None = None, *, ends: bool = True) -> JointReading:
    """Joints, holes and fittings of a panel: finds in working-view pixels, and `items` with key, sentence, chance and outline
    in photo pixels.

    Parameters
    ----------
    view : the panel; millimetres are given only where it carries `mm_per_px`.
    photo : (h, w, 3) full photo, to look for end joints that the outline leaves out; without it only the view is searched.
    ends : whether end joints are looked for at all; they take most of the time.
    """
    reading = _read(view, photo, ends)
    return replace(reading, items=items_of(reading, view))


def _read(view: WorkingView, photo: NDArray[np.uint8] | None, ends: bool) -> JointReading:
    about = surround(view, photo) if photo is not None and ends else None
    if about is None or (about.origin == (0.0, 0.0) and about.pixels.shape == view.pixels.shape):
        return read_pixels(view.pixels, view.mm_per_px, view.mask, ends=ends)
    # end joints are looked for once: the picture with its margin holds all that the view shows
    reading = read_pixels(view.pixels, view.mm_per_px, view.mask, ends=False)
    dx, dy = about.origin
    found = find_tails(about.pixels, least=LEAST["tails"], mm_per_px=view.mm_per_px)
    tails = (_moved(t, dx, dy) for t in found if sayable(t))
    return replace(reading, tails=tuple(t for t in tails if _begins_on(t, view)))


def _begins_on(tails: Tails, view: WorkingView) -> bool:
    """Whether the fingers spring from the panel itself: their shoulders lie on it or right beside it."""
    h, w = view.mask.shape
    x, y = np.array([s.line[0] for s in tails.sides]).reshape(-1, 2).mean(axis=0) if tails.sides else (0.5 * w, 0.5 * h)
    away = max(-x, -y, x - (w - 1), y - (h - 1))
    return bool(away <= BESIDE * max(h, w) + 2)


def _moved(tails: Tails, dx: float, dy: float) -> Tails:
    def at(points: Outline) -> Outline:
        return tuple((x + dx, y + dy) for x, y in points)

    return replace(tails, outline=at(tails.outline), sides=tuple(replace(s, line=at(s.line)) for s in tails.sides))


def holes_of(found: Sequence[Spot], net: Net | None = None) -> Holes:
    """Spots that may be holes, for rows and pairs. `net`: names round things; None for the stored one."""
    if not found:
        return Holes(np.zeros((0, 2)), np.zeros(0), np.zeros(0))
    chance = (net or stored()["round"]).chances([s.numbers for s in found])[:, 1 + ROUND_NAMES.index("hole")]
    keep = np.flatnonzero(chance >= HOLE_LEAST)
    at, radius = np.array([[s.x, s.y] for s in found]), np.array([s.radius for s in found])
    return Holes(at[keep].reshape(-1, 2), radius[keep], chance[keep])


def _holes_in_order(holes: Holes, shape: tuple[int, int],
                    mm_per_px: float | None) -> tuple[tuple[Row, ...], tuple[Pair, ...]]:
    """Rows and grids; and, where there are none, the likeliest pair."""
    nets = stored()
    found = rows.rows_of(holes)
    chances = nets["row"].chances([r.numbers for r in found])[:, 1]
    good = [(r, float(c)) for r, c in zip(found, chances, strict=True) if c >= LEAST["row"]]
    grid = rows.grid_of([r for r, _ in good], holes)
    out: list[Row] = []
    if grid:
        out.append(rows.grid_result(grid, holes, max(c for r, c in good if any(r is g for g in grid)), mm_per_px))
    out += [rows.row_result(r, holes, c, mm_per_px) for r, c in good if not any(r is g for g in grid)]
    if good:
        return tuple(out), ()
    couples = rows.pairs_of(holes, shape)
    p = nets["pair"].chances([q.numbers for q in couples])[:, 1]
    pairs = [rows.pair_result(q, holes, float(c), mm_per_px) for q, c in zip(couples, p, strict=True) if c >= LEAST["pair"]]
    return (), tuple(sorted(pairs, key=lambda q: -q.chance)[:1])


def _strokes(pixels: NDArray[np.uint8], shape: tuple[int, int]) -> tuple[Strokes, ...]:
    found = strokes.rows_of(strokes.strokes_of(pixels), shape)
    chances = stored()["strokes"].chances([s.numbers for s in found])[:, 1]
    return tuple(strokes.result(s, float(c)) for s, c in zip(found, chances, strict=True) if c >= LEAST["strokes"])


def _gaps(pixels: NDArray[np.uint8], mm_per_px: float | None) -> tuple[Gap, ...]:
    found = gaps.gaps_of(pixels)
    chances = stored()["gap"].chances([g.numbers for g in found])[:, 1]
    out = [gaps.result(g, float(c), mm_per_px) for g, c in zip(found, chances, strict=True) if c >= LEAST["gap"]]
    return tuple(sorted(out, key=lambda g: -g.chance)[:2])


def _relief(pixels: NDArray[np.uint8], shape: tuple[int, int]) -> tuple[Relief, ...]:
    numbers, direction = relief.numbers_of(pixels)
    chance = float(stored()["relief"].chances([numbers])[0, 1])
    return (relief.result(shape, direction, chance),) if chance >= LEAST["relief"] else ()

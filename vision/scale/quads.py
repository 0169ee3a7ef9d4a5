"""Four-sided outlines on a photo that could be a card: two opposite corners each, held up by edges all round."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.scale.segments import Corners, corners, segments

Array = NDArray[np.float64]
#: Longest over shortest mean side as seen, and longest over shortest of two opposite sides, that a card can show.
MOST_ASPECT, MOST_TAPER = 3.4, 1.7
#: Shortest mean side, px of the working image; largest side as a share of its longer side.
MIN_SIDE, MAX_SHARE = 16.0, 0.8
#: Least share of the outline on an edge, and of the worst but one of the four sides.
MIN_SUPPORT, MIN_THIRD = 0.5, 0.3
SAMPLES = 24
MOST_PAIRS = 60_000


def edge_tensor(image: NDArray[np.uint8], sigma: float = 0.8) -> NDArray[np.float32]:
    """(3, h, w): sums over the colour channels of gx^2, gx gy, gy^2; grey levels^2 per px^2."""
    smooth = cv2.GaussianBlur(image, (0, 0), sigma).astype(np.float32)
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    return np.stack([(gx * gx).sum(axis=2), (gx * gy).sum(axis=2), (gy * gy).sum(axis=2)])


def candidate_quads(image: NDArray[np.uint8], *, most: int = 18, inside: tuple[float, float] | None = None) -> Array:
    """(n, 4, 2) outlines in px of `image`, best supported first, corners in order round the outline, clockwise as seen.

    `inside`: only outlines that hold this point.
    """
    lines = segments(image)
    found = _from_opposite(corners(lines), image.shape[1], image.shape[0])
    if inside is not None and len(found):
        found = found[_holds(found, inside)]
    if not len(found):
        return found
    return _best(found, edge_tensor(image), most)


def _from_opposite(c: Corners, width: int, height: int) -> Array:
    """Quads of all pairs of corners that can lie opposite each other."""
    n = len(c.at)
    if n < 2:
        return np.zeros((0, 4, 2))
    i, j = np.triu_indices(n, 1)
    between = c.at[j] - c.at[i]
    gap = np.hypot(*between.T)
    # either corner opens towards the other: the way to it is a positive mix of both legs
    near = (gap > 1.2 * MIN_SIDE) & (gap < 1.3 * MAX_SHARE * max(width, height))
    i, j, between = i[near], j[near], between[near]
    opens = _opens(c.legs[i], between) & _opens(c.legs[j], -between)
    i, j = i[opens], j[opens]
    quads: list[Array] = []
    shares: list[Array] = []
    for swap in (False, True):
        q, share = _completed(c, i, j, swap)
        quads.append(q)
        shares.append(share)
    out, share = np.concatenate(quads), np.concatenate(shares)
    good = share > 0
    out, share = out[good], share[good]
    good = _shapely(out, max(width, height))
    out, share = out[good], share[good]
    return _clockwise(out[np.argsort(-share, kind="stable")][:MOST_PAIRS])


def _opens(legs: Array, way: Array) -> NDArray[np.bool_]:
    """Whether `way` (n, 2) lies strictly between the two legs (n, 2, 2)."""
    a, b = legs[:, 0], legs[:, 1]
    det = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    u = (way[:, 0] * b[:, 1] - way[:, 1] * b[:, 0]) / det
    v = (a[:, 0] * way[:, 1] - a[:, 1] * way[:, 0]) / det
    return np.asarray((u > 0) & (v > 0))


def _completed(c: Corners, i: NDArray[np.intp], j: NDArray[np.intp], swap: bool) -> tuple[Array, Array]:
    """((n, 4, 2) quads, (n,) share of the four sides covered by the segments, 0 where impossible)."""
    first, second = (1, 0) if swap else (0, 1)
    p, q = c.at[i], c.at[j]
    legs = [(c.legs[i, 0], c.reach[i, 0], c.legs[j, second], c.reach[j, second]),
            (c.legs[i, 1], c.reach[i, 1], c.legs[j, first], c.reach[j, first])]
    share, good, others = np.ones(len(i)), np.ones(len(i), bool), []
    for a, reach_a, b, reach_b in legs:
        det = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
        safe = np.where(np.abs(det) > 0.3, det, np.nan)
        between = q - p
        u = (between[:, 0] * b[:, 1] - between[:, 1] * b[:, 0]) / safe
        v = (between[:, 0] * a[:, 1] - between[:, 1] * a[:, 0]) / safe
        with np.errstate(invalid="ignore", divide="ignore"):
            ra, rb = reach_a / u, reach_b / v
            good &= (u > MIN_SIDE / 2) & (v > MIN_SIDE / 2) & (ra < 1.2) & (rb < 1.2) & (ra > 0.15) & (rb > 0.15)
            share = share + np.minimum(ra, 1) + np.minimum(rb, 1)
        others.append(p + u[:, None] * a)
    quads = np.stack([p, others[0], q, others[1]], axis=1)
    return quads, np.where(good & np.isfinite(share), share, 0.0)


def _shapely(quads: Array, longer: float) -> NDArray[np.bool_]:
    """Convex, of card-like proportions and size."""
    sides = np.roll(quads, -1, axis=1) - quads
    lengths = np.hypot(sides[..., 0], sides[..., 1])
    following = np.roll(sides, -1, axis=1)
    cross = sides[..., 0] * following[..., 1] - sides[..., 1] * following[..., 0]
    convex = (cross > 0).all(axis=1) | (cross < 0).all(axis=1)
    sine = np.abs(cross) / (lengths * np.roll(lengths, -1, axis=1) + 1e-9)
    one, two = (lengths[:, 0] + lengths[:, 2]) / 2, (lengths[:, 1] + lengths[:, 3]) / 2
    taper = np.maximum(lengths[:, 0], lengths[:, 2]) / np.minimum(lengths[:, 0], lengths[:, 2])
    taper = np.maximum(taper, np.maximum(lengths[:, 1], lengths[:, 3]) / np.minimum(lengths[:, 1], lengths[:, 3]))
    short, long = np.minimum(one, two), np.maximum(one, two)
    return np.asarray(convex & (sine.min(axis=1) > 0.5) & (short >= MIN_SIDE) & (long <= MAX_SHARE * longer)
                      & (long / short <= MOST_ASPECT) & (taper <= MOST_TAPER))


def _clockwise(quads: Array) -> Array:
    """Corners in clockwise order as seen (y down)."""
    if not len(quads):
        return quads
    x, y = quads[..., 0], quads[..., 1]
    area = (x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1)).sum(axis=1)
    return np.where((area > 0)[:, None, None], quads, quads[:, ::-1])


def _holds(quads: Array, point: tuple[float, float]) -> NDArray[np.bool_]:
    sides = np.roll(quads, -1, axis=1) - quads
    to = np.asarray(point) - quads
    return np.asarray((sides[..., 0] * to[..., 1] - sides[..., 1] * to[..., 0] > 0).all(axis=1))


def _best(quads: Array, tensor: NDArray[np.float32], most: int) -> Array:
    """Those with edges all round, best first, no two the same to within a few pixels."""
    level = 2.0 * float(np.median(np.sqrt(tensor[0] + tensor[2]))) + 1.2
    strength = side_strength(quads, tensor)
    held = np.minimum(strength / level, 1.0)
    sides = held.mean(axis=2)
    support = sides.mean(axis=1)
    third = np.sort(sides, axis=1)[:, 1]
    # a true outline is stronger than what runs along it by chance, so depth counts too, saturating
    depth = np.minimum(strength / (4 * level), 1.0).mean(axis=(1, 2))
    score = support + 0.5 * third + 0.5 * depth
    good = np.flatnonzero((support >= MIN_SUPPORT) & (third >= MIN_THIRD))
    chosen: list[int] = []
    for k in good[np.argsort(-score[good], kind="stable")]:
        size = np.sqrt(np.ptp(quads[k], axis=0).prod())
        if all(_apart(quads[k], quads[m]) > 0.07 * size + 1 for m in chosen):
            chosen.append(int(k))
            if len(chosen) == most:
                break
    return quads[chosen]


def _apart(a: Array, b: Array) -> float:
    """Largest distance of matching corners under the best turn of the order."""
    return min(float(np.hypot(*(a - np.roll(b, k, axis=0)).T).max()) for k in range(4))


def side_strength(quads: Array, tensor: NDArray[np.float32]) -> NDArray[np.float32]:
    """(n, 4, SAMPLES) change of colour across the outline, grey levels per px: the largest within 1.5 px of it."""
    _, h, w = tensor.shape
    t = np.linspace(0.1, 0.9, SAMPLES)
    start, end = quads, np.roll(quads, -1, axis=1)
    way = end - start
    normal = np.stack([-way[..., 1], way[..., 0]], axis=-1) / (np.hypot(way[..., 0], way[..., 1])[..., None] + 1e-9)
    points = start[:, :, None] + t[:, None] * way[:, :, None]
    best = np.zeros(points.shape[:3], np.float32)
    nx, ny = normal[..., None, 0].astype(np.float32), normal[..., None, 1].astype(np.float32)
    for off in (-1.5, -0.5, 0.5, 1.5):
        at = points + off * normal[:, :, None]
        x, y = np.round(at[..., 0]).astype(int), np.round(at[..., 1]).astype(int)
        seen = (x >= 0) & (x < w) & (y >= 0) & (y < h)
        x, y = np.clip(x, 0, w - 1), np.clip(y, 0, h - 1)
        across = tensor[0][y, x] * nx * nx + 2 * tensor[1][y, x] * nx * ny + tensor[2][y, x] * ny * ny
        best = np.maximum(best, np.where(seen, np.sqrt(np.maximum(across, 0)), 0))
    return best

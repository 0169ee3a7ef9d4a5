"""A coin of known diameter: its rim as an ellipse, and the surface's tilt up to what an ellipse can tell.

A circle before a camera is seen as an ellipse, and two planes, tilted to opposite sides, would show it alike: both are kept
and the error bars hold both. With the coin nearly square on the two become one. The focal length matters only away from
the coin; where the file does not state it, what phones have is assumed and the error grows accordingly.

Rim: the strongest closed path of colour change about the middle (dynamic programming in polar view), an ellipse through most
of it by sampling (Fischler and Bolles, 1981), refined by the direct least squares of Halir and Flusser (1998) on sub-pixel
places. A coin's side wall may widen its outline on the near side; the error bar allows for that.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.millimetres import Scale
from vision.resize import fit_within, resize
from vision.scale.ellipse import Ellipse, angles_of, distances, fit_ellipse
from vision.scale.objects import COIN_TOLERANCE
from vision.scale.pose import FOCAL_SHARE, FOCAL_SPREAD, STATED_SPREAD

Array = NDArray[np.float64]
WORKING_PIXELS = 700_000
RAYS, TRIES, PATHS, JUMP = 180, 60, 6, 6
#: Neighbouring rays that are averaged while the rim is looked for.
ALONG = 4
#: Smallest share of directions in which the rim shows, greatest scatter about it (share of the radius, and px).
HELD, SCATTER, SCATTER_PX = 0.62, 0.009, 0.36
#: Flattest ellipse used: a tilt of 65 degrees; smallest radius, px.
FLATTEST, MIN_RADIUS = 0.42, 12.0
#: Standard error of a diameter from what the rim's edge is (arris, side wall, shadow), px.
RIM_PX = 0.6
#: Thickness of a coin as a share of its diameter (struck coins: 0.07 to 0.09).
WALL_SHARE = 0.08


@dataclass(frozen=True, eq=False)
class Rim:
    """A rim found: the ellipse in photo px, `held` the share of directions on it, `rms` px about it, `contrast` grey levels
    per px."""

    ellipse: Ellipse
    held: float
    rms: float
    contrast: float


def find_coin(
    photo: NDArray[np.uint8], diameter_mm: float, *, tap: tuple[float, float] | None = None, focal_px: float | None = None
) -> Scale | None:
    """Scale from a coin `diameter_mm` across on an upright RGB photo, or None. `tap`: a photo point on the coin."""
    groups = [g for g in (_rims(photo, x, y, radius) for x, y, radius in _seeds(photo, tap)) if g]
    if not groups:
        return None
    # of the rings about one point the outermost that shows well is the rim; of several points the one that shows best
    rims = []
    for group in groups:
        most = max(r.contrast for r in group)
        rims.append(max((r for r in group if r.contrast >= 0.5 * most), key=lambda r: r.ellipse.major))
    best = max(rims, key=lambda r: r.held * min(r.contrast, 40) ** 0.5 - 6 * r.rms / r.ellipse.major)
    return _scale(best, diameter_mm, (photo.shape[1], photo.shape[0]), focal_px)


def _seeds(photo: NDArray[np.uint8], tap: tuple[float, float] | None) -> list[tuple[float, float, float]]:
    """(x, y, largest radius) to look from: the tap, or the middles of round blobs of any tone."""
    h, w = photo.shape[:2]
    if tap is not None:
        return [(tap[0], tap[1], r) for r in (0.03 * max(w, h), 0.08 * max(w, h), 0.2 * max(w, h))]
    width, height = fit_within(w, h, max_pixels=WORKING_PIXELS)
    small = resize(photo, width, height)
    share = w / width
    blobs: list[tuple[float, float, float, float]] = []
    lab = cv2.cvtColor(small, cv2.COLOR_RGB2LAB)
    masks = []
    for channel in range(3):
        plane = cv2.GaussianBlur(lab[..., channel], (0, 0), 1.5)
        around = cv2.blur(plane, (151, 151), borderType=cv2.BORDER_REFLECT).astype(np.int16)
        for level in (-14, -6, 6, 14) if channel == 0 else (-8, -4, 4, 8):
            off = plane.astype(np.int16) - around
            masks.append(((off > level) if level > 0 else (off < level)).astype(np.uint8))
    edges = cv2.Canny(cv2.GaussianBlur(lab[..., 0], (0, 0), 1.2), 25, 60)
    masks.append((cv2.dilate(edges, np.ones((3, 3), np.uint8)) == 0).astype(np.uint8))
    for mask in masks:
        solid = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
        outlines, _ = cv2.findContours(solid, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        for outline in outlines:
            if len(outline) < 40 or len(outline) > 3 * min(width, height):
                continue
            hull = cv2.convexHull(outline)
            (cx, cy), (one, two), _ = cv2.fitEllipse(hull) if len(hull) >= 8 else ((0, 0), (1, 9), 0)
            if min(one, two) < 1.6 * MIN_RADIUS / share or min(one, two) < FLATTEST * max(one, two):
                continue
            fill = cv2.contourArea(hull) / (np.pi * one * two / 4)
            solidity = cv2.contourArea(outline) / max(1.0, cv2.contourArea(hull))
            if abs(fill - 1) < 0.06 and max(one, two) < 0.5 * max(width, height):
                blobs.append((abs(fill - 1) + 0.15 * (1 - solidity), cx, cy, max(one, two) / 2))
    blobs.sort()
    kept: list[tuple[float, float, float]] = []
    for _, cx, cy, radius in blobs:
        if all(np.hypot(cx - x, cy - y) > 0.4 * r or radius > 1.5 * r for x, y, r in kept):
            kept.append((cx, cy, radius))
        if len(kept) == 10:
            break
    return [((x + 0.5) * share - 0.5, (y + 0.5) * share - 0.5, 1.5 * r * share) for x, y, r in kept]


def _rims(photo: NDArray[np.uint8], x: float, y: float, largest: float) -> list[Rim]:
    """Closed elliptic outlines round a point: the strongest closed path of change in polar view, then the next strongest
    with that one blotted out, and so on; each fitted and refined."""
    radii = np.arange(MIN_RADIUS * FLATTEST, max(largest, 2 * MIN_RADIUS), max(0.5, largest / 300))
    turn = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    change = _change_along(photo, x, y, turn, radii)
    weak = float(np.quantile(change, 0.7)) + 1.0
    worth = np.minimum(change / (4 * weak), 1.0)
    rng = np.random.default_rng(7)
    out: list[Rim] = []
    for _ in range(PATHS):
        path = _closed_path(worth)
        points = np.c_[x + radii[path] * np.cos(turn), y + radii[path] * np.sin(turn)]
        ellipse = _through_most(points, rng)
        if ellipse is not None and _plausible(ellipse, largest):
            rim = _refined(photo, ellipse)
            if rim is not None:
                out.append(rim)
        rows = np.arange(RAYS)[:, None]
        worth[rows, np.clip(path[:, None] + np.arange(-3, 4), 0, len(radii) - 1)] = 0
    return out


def _closed_path(worth: Array) -> NDArray[np.int_]:
    """(rays,) index of the radius of the closed path that gathers most; neighbours differ by at most JUMP steps. Two rounds
    are walked and the second is kept, so that the path closes (nearly always to within a jump)."""
    n, m = worth.shape
    cost = 0.08 * np.abs(np.arange(-JUMP, JUMP + 1))
    score = np.zeros(m)
    came = np.zeros((2 * n, m), np.int16)
    for k in range(2 * n):
        padded = np.pad(score, JUMP, constant_values=-1e9)
        moved = np.stack([padded[j : j + m] for j in range(2 * JUMP + 1)]) - cost[:, None]
        pick = np.argmax(moved, axis=0)
        came[k] = pick - JUMP
        score = moved[pick, np.arange(m)] + worth[k % n]
    at = int(np.argmax(score))
    path = np.zeros(2 * n, int)
    for k in range(2 * n - 1, -1, -1):
        path[k] = at
        at = int(np.clip(at + came[k, at], 0, m - 1))
    # the last walked half may end loosely; the middle of the walk is bound on both sides
    return np.roll(path[n // 2 : n // 2 + n], n // 2)


def _through_most(points: Array, rng: np.random.Generator) -> Ellipse | None:
    """Ellipse through most of the points by sampling, fitted to those near it."""
    best: tuple[int, NDArray[np.bool_]] | None = None
    for _ in range(TRIES):
        ellipse = fit_ellipse(points[rng.choice(len(points), 6, replace=False)])
        if ellipse is None or ellipse.minor < FLATTEST * ellipse.major:
            continue
        on = np.abs(distances(ellipse, points)) < max(1.2, 0.012 * ellipse.major)
        if best is None or int(on.sum()) > best[0]:
            best = (int(on.sum()), on)
    if best is None or best[0] < 0.4 * len(points):
        return None
    return fit_ellipse(points[best[1]])


def _plausible(ellipse: Ellipse, largest: float) -> bool:
    return ellipse.minor >= FLATTEST * ellipse.major and MIN_RADIUS <= ellipse.major <= 1.3 * largest


def _change_along(photo: NDArray[np.uint8], x: float, y: float, turn: Array, radii: Array) -> Array:
    px = (x + radii[None] * np.cos(turn[:, None])).astype(np.float32)
    py = (y + radii[None] * np.sin(turn[:, None])).astype(np.float32)
    return _slopes(photo, px, py, float(radii[1] - radii[0]), along=ALONG)


def _slopes(photo: NDArray[np.uint8], px: NDArray[np.float32], py: NDArray[np.float32], step: float, *, along: int = 0) -> Array:
    """Change of colour per px along axis 1; zero outside the photo. `along`: averaged over so many neighbours to either side
    on axis 0 (a ring), sign and colour kept: a rim lasts, relief inside it cancels."""
    h, w = photo.shape[:2]
    x0, y0 = max(0, int(px.min()) - 2), max(0, int(py.min()) - 2)
    x1, y1 = min(w, int(px.max()) + 3), min(h, int(py.max()) + 3)
    if x1 - x0 < 3 or y1 - y0 < 3:
        return np.zeros(px.shape)
    crop = cv2.GaussianBlur(photo[y0:y1, x0:x1], (0, 0), 0.7).astype(np.float32)
    values = cv2.remap(crop, px - x0, py - y0, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float64)
    reach = max(1, round(1.0 / step))
    slope = np.zeros_like(values)
    slope[:, reach:-reach] = (values[:, 2 * reach :] - values[:, : -2 * reach]) / (2 * reach * step)
    if along:
        ring = np.concatenate([slope[-along:], slope, slope[:along]])
        slope = np.mean([ring[k : k + len(slope)] for k in range(2 * along + 1)], axis=0)
    out = np.sqrt((slope**2).sum(axis=2))
    return np.asarray(np.where((px >= 1) & (px < w - 1) & (py >= 1) & (py < h - 1), out, 0.0), dtype=np.float64)


def _refined(photo: NDArray[np.uint8], ellipse: Ellipse) -> Rim | None:
    """Sub-pixel rim: the strongest change near the ellipse in each direction, fitted again."""
    rms, held, contrast = 9.0, 0.0, 0.0
    for reach in (max(3.0, 0.06 * ellipse.major), 2.5, 2.0):
        angles = angles_of(ellipse, 240)
        at, normal = ellipse.at(angles), ellipse.normal(angles)
        offsets = np.arange(-reach - 2, reach + 2.01, 0.5)
        spots = at[:, None] + offsets[None, :, None] * normal[:, None]
        change = _slopes(photo, spots[..., 0].astype(np.float32), spots[..., 1].astype(np.float32), 0.5)
        inner = change[:, 2:-2]
        near = offsets[2:-2]
        level = 0.3 * float(np.median(inner.max(axis=1))) + 1.0
        peak = np.zeros(inner.shape, bool)
        peak[:, 1:-1] = (inner[:, 1:-1] >= level) & (inner[:, 1:-1] >= inner[:, :-2]) & (inner[:, 1:-1] >= inner[:, 2:])
        has = peak.any(axis=1)
        # the strongest peak, those near the ellipse preferred
        k = np.clip(np.argmax(np.where(peak, inner * np.exp(-0.5 * (near / (0.5 * reach)) ** 2), -1.0), axis=1), 1, len(near) - 2)
        rows = np.arange(len(k))
        left, top, right = inner[rows, k - 1], inner[rows, k], inner[rows, k + 1]
        curve = left - 2 * top + right
        shift = np.where(curve < -1e-9, 0.25 * (left - right) / np.where(curve < -1e-9, curve, -1), 0.0)
        points = at + (near[k] + np.clip(shift, -0.5, 0.5))[:, None] * normal
        use = has.copy()
        for _ in range(4):
            if use.sum() < 60:
                return None
            fitted = fit_ellipse(points[use])
            if fitted is None or fitted.minor < FLATTEST * fitted.major:
                return None
            ellipse = fitted
            off = distances(fitted, points)
            rms = max(0.1, 1.4826 * float(np.median(np.abs(off[use]))))
            use = has & (np.abs(off) < 3 * rms)
        held, contrast = float(use.mean()), float(np.median(top[use]))
        rms = float(np.sqrt(np.mean(off[use] ** 2)))
    if held < HELD or rms > max(SCATTER_PX, SCATTER * ellipse.major) or ellipse.major < MIN_RADIUS:
        return None
    return Rim(ellipse, held, rms, contrast)


def _scale(rim: Rim, diameter: float, size: tuple[int, int], focal_px: float | None) -> Scale | None:
    """Both surfaces that the ellipse allows, one as the map and both as those that cannot be told apart."""
    e = rim.ellipse
    focal = focal_px if focal_px is not None else FOCAL_SHARE * max(size)
    spread = STATED_SPREAD if focal_px is not None else FOCAL_SPREAD
    middle = ((size[0] - 1) / 2, (size[1] - 1) / 2)
    error = float(np.hypot(RIM_PX, rim.rms * np.sqrt(6.0 / (240 * rim.held))))
    # the outline may be the rim alone or rim and side wall together: half of the wall is taken off, and doubted
    wall = WALL_SHARE * e.major * float(np.sqrt(max(0.0, 1 - (e.minor / e.major) ** 2))) / 2
    e = Ellipse(e.x, e.y, e.major, e.minor - wall, e.angle)
    planes = circle_planes(e, diameter, focal, middle)
    shrunk = Ellipse(e.x, e.y, e.major, e.minor - float(np.hypot(error, 0.7 * wall)), e.angle)
    changed = [
        (Ellipse(e.x, e.y, e.major + error, e.minor, e.angle), focal), (shrunk, focal),
        (Ellipse(e.x, e.y, e.major, e.minor, e.angle + error / e.major), focal), (e, focal * float(np.exp(spread))),
    ]
    if e.major - e.minor < 2 * error:
        # nearly round: which way the long axis lies is not known either
        changed.append((Ellipse(e.x, e.y, e.major, e.minor - error, e.angle + np.pi / 2), focal))
    moves = [circle_planes(*c[:1], diameter, c[1], middle)[0] for c in changed]
    if not all(np.isfinite(m).all() for m in (*planes, *moves)):
        return None
    tilt = float(np.degrees(np.arccos(min(1.0, e.minor / e.major))))
    told = ("It is seen nearly square on." if tilt < 12 else
            f"The surface is tilted about {tilt:.0f} degrees, but which way cannot be told from a round coin; the error bars "
            "hold both ways and grow away from the coin.")
    words = f"A coin {diameter:g} mm across. {told} Millimetres hold on the surface the coin lies on."
    outline = tuple((float(x), float(y)) for x, y in e.at(np.linspace(0, 2 * np.pi, 48, endpoint=False)))
    return Scale("coin", outline, words, planes[0], None, np.array(moves), np.array(planes), COIN_TOLERANCE)


def circle_planes(e: Ellipse, diameter: float, focal: float, middle: tuple[float, float]) -> list[Array]:
    """The two maps (3x3, photo px to mm, origin in the circle's middle) of the planes on which the ellipse is a circle.

    The cone of sight over the ellipse is cut in circles by two families of planes (Chen, Huang and Hung, "Camera calibration
    with two arbitrary coplanar circles", ECCV 2004, section 2): normals from the eigenvectors of the cone's matrix.
    """
    c, s = np.cos(e.angle), np.sin(e.angle)
    own = np.array([[c, s, -(c * e.x + s * e.y)], [-s, c, s * e.x - c * e.y], [0, 0, 1.0]])
    conic = own.T @ np.diag([e.major**-2, e.minor**-2, -1.0]) @ own
    camera = np.array([[focal, 0, middle[0]], [0, focal, middle[1]], [0, 0, 1.0]])
    values, ways = np.linalg.eigh(camera.T @ conic @ camera)
    low, mid, high = (float(v) for v in values)
    span = high - low
    lean, stand = np.sqrt(max(0.0, high - mid) / span), np.sqrt(max(0.0, mid - low) / span)
    out = []
    for sign in (1.0, -1.0):
        normal = lean * ways[:, 2] + sign * stand * ways[:, 0]
        normal = normal * (1.0 if normal[2] >= 0 else -1.0)
        # axes of the plane: x as near to the photo's x as can be, so that the map does not turn or mirror the picture
        x = np.array([1.0, 0, 0]) - normal[0] * normal
        x /= np.linalg.norm(x)
        flat = np.vstack([x, np.cross(normal, x), normal]) @ np.linalg.inv(camera)
        back = np.linalg.inv(flat)
        circle = back.T @ conic @ back
        circle = circle / ((circle[0, 0] + circle[1, 1]) / 2)
        cx, cy = -circle[0, 2], -circle[1, 2]
        radius = np.sqrt(max(1e-18, cx * cx + cy * cy - circle[2, 2]))
        k = diameter / 2 / radius
        out.append(np.array([[k, 0, -k * cx], [0, k, -k * cy], [0, 0, 1.0]]) @ flat)
    return out

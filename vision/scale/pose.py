"""Where a flat object of known shape stands before the camera, and what that makes of the photo's millimetres.

Fitted are its turn and place (six numbers), the focal length, the principal point and, on demand, how far its
length-to-width ratio differs from the known one. Focal length and principal point carry a prior (what phones have, or what
the file states), so that a small object seen at a slant still gives a steady plane; all doubt is carried on as one
covariance. Method: maximum a posteriori by Levenberg and Marquardt steps, two starts from the two poses a flat object can
have (Collins and Bartoli, "Infinitesimal plane-based pose estimation", IJCV 109, 2014, in OpenCV's solvePnPGeneric).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
#: Focal length of a phone's main camera as a share of the photo's longer side (24 to 28 mm on a 36 mm frame; twice or
#: three times that for a longer lens), and the standard deviation of its logarithm.
FOCAL_SHARE, FOCAL_SPREAD = 0.80, 0.28
#: The same for a focal length the file states.
STATED_SPREAD = 0.04
#: Standard deviation of the principal point as a share of the longer side: photos are cropped.
CENTRE_SPREAD = 0.03
#: Two poses whose misfit differs by less than this (chi squared) cannot be told apart.
TELLS_APART = 4.0
TURN, PLACE, FOCAL, CENTRE, RATIO = slice(0, 3), slice(3, 6), 6, slice(7, 9), 9


@dataclass(frozen=True, eq=False)
class Pose:
    """Fitted pose. `values`: turn (Rodrigues), where the object's origin is seen (x, y px, log of px per mm there), log focal
    length (px), principal point (px), log of ratio found over ratio known; `covariance` (10, 10); `misfit`: chi squared at
    the optimum, priors included. Place is kept as seen, not in mm: distance and focal length would go hand in hand, and a
    step of one standard deviation along their common doubt would not stay on the plane."""

    values: Array
    covariance: Array
    misfit: float

    @property
    def plane(self) -> Array:
        """3x3, photo px to mm on the object's plane, positive in front of the camera."""
        return plane_of(self.values)

    @property
    def tilt(self) -> float:
        """Angle between the surface and the picture plane, degrees."""
        turn, _ = cv2.Rodrigues(self.values[TURN])
        return float(np.degrees(np.arccos(np.clip(abs(turn[2, 2]), 0, 1))))

    @property
    def distance(self) -> float:
        """Distance of the object's middle from the camera, mm."""
        return float(np.linalg.norm(_places(self.values[None])[0]))

    def moves(self) -> Array:
        """(k, 3, 3): the plane moved by one standard deviation along each principal direction of the covariance."""
        sizes, ways = np.linalg.eigh(self.covariance)
        keep = sizes > 1e-14 * max(1e-12, float(sizes.max()))
        steps = (ways[:, keep] * np.sqrt(sizes[keep])).T
        return np.array([plane_of(self.values + s) for s in steps])


def plane_of(values: Array) -> Array:
    """3x3, photo px to mm, from the ten numbers of a pose; scaled so that the third coordinate is positive in view."""
    turn, _ = cv2.Rodrigues(values[TURN])
    f = float(np.exp(values[FOCAL]))
    camera = np.array([[f, 0, values[7]], [0, f, values[8]], [0, 0, 1.0]])
    to_photo = camera @ np.c_[turn[:, 0], turn[:, 1], _places(values[None])[0]]
    inverse = np.linalg.inv(to_photo)
    # the object's own origin, seen at to_photo[:, 2], has third coordinate 1 / depth > 0 by this sign
    inverse /= np.cbrt(abs(np.linalg.det(inverse)))
    middle = to_photo[:, 2] / to_photo[2, 2]
    return np.asarray(inverse * np.sign(float(inverse[2] @ middle)), dtype=np.float64)


def _places(values: Array) -> Array:
    """(k, 3) places of the object's origin before the camera, mm."""
    depth = np.exp(values[:, FOCAL] - values[:, PLACE][:, 2])
    flat = (values[:, PLACE][:, :2] - values[:, CENTRE]) * np.exp(-values[:, PLACE][:, 2:])
    return np.asarray(np.c_[flat, depth], dtype=np.float64)


def _turns(vectors: Array) -> Array:
    """(k, 3, 3) rotations of (k, 3) Rodrigues vectors."""
    angle = np.maximum(np.linalg.norm(vectors, axis=1), 1e-12)[:, None, None]
    x, y, z = (vectors / angle[:, :, 0]).T
    o = np.zeros_like(x)
    cross = np.stack([np.stack([o, -z, y], -1), np.stack([z, o, -x], -1), np.stack([-y, x, o], -1)], axis=1)
    return np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * (cross @ cross)


def seen(values: Array, points_mm: Array) -> Array:
    """(k, n, 2) photo px of (n, 2) object points under (k, 10) sets of values."""
    turn = _turns(values[:, TURN])
    stretch = np.exp(values[:, RATIO] / 2)
    flat = points_mm[None] * np.stack([stretch, 1 / stretch], axis=-1)[:, None]
    p = flat @ turn[:, :, :2].transpose(0, 2, 1) + _places(values)[:, None]
    depth = np.where(np.abs(p[..., 2:]) > 1e-9, p[..., 2:], 1e-9)
    return np.asarray(np.exp(values[:, FOCAL])[:, None, None] * p[..., :2] / depth + values[:, None, CENTRE], dtype=np.float64)


def fit_poses(
    points_mm: Array, points_px: Array, covariance: Array, size: tuple[int, int], *, focal_px: float | None = None,
    ratio_spread: float = 0.0005,
) -> list[Pose]:
    """Poses of a flat object that fit, best first: one, or two when they cannot be told apart.

    Parameters
    ----------
    points_mm : (n, 2), n >= 4, in the object's plane, origin within the object.
    points_px : (n, 2) where they are seen.
    covariance : (2n, 2n) of x0, y0, x1, y1 ..., px^2.
    size : (width, height) of the photo.
    focal_px : focal length the file states, px; None for what phones have.
    ratio_spread : prior standard deviation of the log ratio of length to width against the known one.
    """
    longer = float(max(size))
    focal = focal_px if focal_px is not None else FOCAL_SHARE * longer
    spread = STATED_SPREAD if focal_px is not None else FOCAL_SPREAD
    middle = np.array([(size[0] - 1) / 2, (size[1] - 1) / 2])
    prior = np.r_[np.zeros(6), np.log(focal), middle, 0.0]
    precision = np.r_[np.zeros(6), spread**-2, [(CENTRE_SPREAD * longer) ** -2] * 2, ratio_spread**-2]
    whiten = np.linalg.inv(np.linalg.cholesky(covariance))

    root = np.sqrt(precision[6:])

    def residuals(v: Array) -> Array:
        off = (seen(v, points_mm) - points_px).reshape(len(v), -1) @ whiten.T
        return np.concatenate([off, (v - prior)[:, 6:] * root], axis=1)

    poses = []
    for start in _starts(points_mm, points_px, prior):
        # corners that nothing can show send the steps off to infinity; such a start gives no pose
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            values, jacobian, cost = _least_squares(residuals, start)
        if np.isfinite(cost) and np.isfinite(jacobian).all() and _in_front(values, points_mm):
            poses.append(Pose(values, _inverse(jacobian.T @ jacobian), cost))
    poses.sort(key=lambda p: p.misfit)
    if len(poses) > 1 and (poses[1].misfit - poses[0].misfit > TELLS_APART or _same(poses[0], poses[1])):
        poses = poses[:1]
    return poses[:2]


def _starts(points_mm: Array, points_px: Array, prior: Array) -> list[Array]:
    f = float(np.exp(prior[FOCAL]))
    camera = np.array([[f, 0, prior[7]], [0, f, prior[8]], [0, 0, 1.0]])
    flat = np.c_[points_mm, np.zeros(len(points_mm))]
    try:
        found = cv2.solvePnPGeneric(flat, points_px.reshape(-1, 1, 2), camera, None, flags=cv2.SOLVEPNP_IPPE)
    except cv2.error:
        return []
    starts = []
    for r, t in zip(found[1], found[2], strict=True):
        x, y, z = (float(v) for v in np.ravel(t))
        if np.isfinite(r).all() and z > 0:
            starts.append(np.r_[np.ravel(r), f * x / z + prior[7], f * y / z + prior[8], np.log(f / z), prior[6:]])
    return starts


def _in_front(values: Array, points_mm: Array) -> bool:
    turn, _ = cv2.Rodrigues(values[TURN])
    return bool((points_mm @ turn[:, :2].T + _places(values[None])[0])[:, 2].min() > 0)


def _same(a: Pose, b: Pose) -> bool:
    first, _ = cv2.Rodrigues(a.values[TURN])
    second, _ = cv2.Rodrigues(b.values[TURN])
    if np.degrees(np.arccos(np.clip(float(first[:, 2] @ second[:, 2]), -1, 1))) < 1.0:
        return True
    # one within the doubt of the other is no second answer: the covariance holds it already
    turn, _ = cv2.Rodrigues(first.T @ second)
    return bool(turn.ravel() @ np.linalg.pinv(a.covariance[TURN, TURN]) @ turn.ravel() < 9.0)


def _inverse(normal: Array) -> Array:
    """Inverse of a symmetric positive matrix whose rows differ widely in size."""
    size = 1 / np.sqrt(np.maximum(np.diag(normal), 1e-300))
    return np.asarray(np.linalg.pinv(normal * np.outer(size, size), hermitian=True) * np.outer(size, size), dtype=np.float64)


_STEPS = np.r_[[1e-6] * 3, [1e-3] * 2, 1e-6, 1e-6, [1e-3] * 2, 1e-6]


def _least_squares(residuals: Callable[[Array], Array], start: Array) -> tuple[Array, Array, float]:
    """(values, Jacobian, sum of squares) by Levenberg-Marquardt with a numerical Jacobian; `residuals` takes (k, 10)."""
    values, damping = start.astype(np.float64), 1e-6
    r, jacobian = _linear(residuals, values)
    cost = float(r @ r)
    for _ in range(40):
        normal = jacobian.T @ jacobian
        size = 1 / np.sqrt(np.diag(normal) + 1e-300)
        scaled = normal * np.outer(size, size) + damping * np.eye(len(size))
        step = -size * np.linalg.solve(scaled, size * (jacobian.T @ r))
        trial = values + step
        new_r = residuals(trial[None])[0]
        new = float(new_r @ new_r)
        if np.isfinite(new) and new < cost:
            gained, values, cost = cost - new, trial, new
            damping = max(1e-12, damping / 10)
            r, jacobian = _linear(residuals, values)
            if gained < 1e-4 * (0.1 + cost):
                break
        else:
            damping = max(10 * damping, 1e-6)
            if damping > 1e5:
                break
    return values, jacobian, cost


def _linear(residuals: Callable[[Array], Array], values: Array) -> tuple[Array, Array]:
    """Residuals and their Jacobian by central differences."""
    many = np.vstack([values[None], values + np.diag(_STEPS), values - np.diag(_STEPS)])
    r = residuals(many)
    n = len(values)
    return r[0], ((r[1 : n + 1] - r[n + 1 :]) / (2 * _STEPS[:, None])).T

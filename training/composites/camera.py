"""What stands between a surface and its picture: light, gloss, viewpoint, lens, size, noise, JPEG; then rectified again.

Everything happens in the order of the world: light and gloss on the surface, perspective, blur, pixels, noise, JPEG; last
the rectifying that the program itself does, with corners a little wrong. Each picture gets its own noise and its own
JPEG grid, so that two pictures of one figure share nothing but the figure.

Numbers without a source are assumptions: noise of 1.5 to 3 grey levels, mild corner error of 0.3 % and JPEG 85 to 93 for
an undamaged phone picture; gloss spots of 8 to 30 % of the shorter side.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]
Matrix = NDArray[np.float64]
#: Shorter side that the damage 'small' brings a panel of any size down to, pixels.
SMALL_PX = 160


@dataclass(frozen=True)
class Shot:
    """Settings of one picture. `corner_error`: standard deviation of each rectified corner, share of the shorter side.
    `stretch`: size of the result against the surface. `blur`: Gaussian sigma in pixels where the shorter side has 512.
    `tilt`: largest angle between the surface and the picture plane, degrees (drawn from 60 to 100 % of it)."""

    quality: tuple[int, int] = (85, 93)
    noise: tuple[float, float] = (1.5, 3.0)
    corner_error: float = 0.003
    stretch: float = 1.0
    light: float = 0.08
    gloss: float = 0.0
    blur: float = 0.0
    tilt: float = 3.0
    short: int | None = None


def photograph(surface: Pixels, shot: Shot, rng: np.random.Generator) -> tuple[Pixels, Matrix]:
    """(picture, matrix): the rectified picture of a (h, w, 3) surface, and the 3x3 matrix from surface to picture pixels.

    Pixel centres are whole numbers in both; the matrix includes the error of the corners.
    """
    h, w = surface.shape[:2]
    lit = surface.astype(np.float32)
    lit = _light(lit, shot.light, rng)
    if shot.gloss > 0:
        lit = _gloss(lit, shot.gloss, rng)
    size = min(1.0, (shot.short or min(h, w)) / min(h, w))
    # the picture plane: the surface seen at an angle, at its own size along the nearest edge
    quad = _seen_quad(w * size, h * size, shot.tilt, rng)
    low = quad.min(axis=0)
    quad = quad - low + 2.0
    frame_w, frame_h = (int(v) for v in np.ceil(quad.max(axis=0)) + 3)
    outline = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32) - 0.5
    to_frame = np.asarray(cv2.getPerspectiveTransform(outline, quad.astype(np.float32)), dtype=np.float64)
    blurred = cv2.GaussianBlur(lit, (0, 0), _lens_sigma(shot, min(h, w), size))
    frame = cv2.warpPerspective(blurred, to_frame, (frame_w, frame_h), flags=cv2.INTER_LINEAR,
                                borderMode=cv2.BORDER_REPLICATE)
    frame = frame + np.float32(rng.uniform(*shot.noise)) * rng.standard_normal(frame.shape, dtype=np.float32)
    coded = _jpeg(np.clip(np.round(frame), 0, 255).astype(np.uint8), int(rng.integers(shot.quality[0], shot.quality[1] + 1)))
    # the program's own rectifying: a rectangle of the right shape behind corners that are a little wrong
    found = quad + rng.normal(0, shot.corner_error * min(w, h) * size, (4, 2))
    out_w, out_h = max(8, round(w * size * shot.stretch)), max(8, round(h * size * shot.stretch))
    corners = np.array([[0, 0], [out_w, 0], [out_w, out_h], [0, out_h]], np.float32) - 0.5
    to_view = np.asarray(cv2.getPerspectiveTransform(found.astype(np.float32), corners), dtype=np.float64)
    view = cv2.warpPerspective(coded, to_view, (out_w, out_h), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    total = to_view @ to_frame
    return np.asarray(view, dtype=np.uint8), total / total[2, 2]


def _lens_sigma(shot: Shot, short: int, size: float) -> float:
    """Gaussian sigma in surface pixels: the set blur, and enough not to alias when the picture is smaller."""
    anti = 0.5 * np.sqrt(max(0.0, (1 / size) ** 2 - 1)) if size < 1 else 0.0
    return float(np.hypot(np.hypot(0.35, anti), shot.blur * short / 512))


def _seen_quad(w: float, h: float, tilt: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Corners (4, 2) of a w by h rectangle turned by up to `tilt` degrees about a random axis, seen from a distance of
    1.5 to 3 of its longer side."""
    angle = np.deg2rad(tilt) * rng.uniform(0.6, 1.0)
    about = rng.uniform(0, 2 * np.pi)
    axis = np.array([np.cos(about), np.sin(about), 0.0]) * angle
    turn, _ = cv2.Rodrigues(axis)
    roll, _ = cv2.Rodrigues(np.array([0, 0, rng.normal(0, np.deg2rad(1.0))]))
    points = np.array([[-w, -h, 0], [w, -h, 0], [w, h, 0], [-w, h, 0]]) / 2
    points = points @ (roll @ turn).T
    distance = rng.uniform(1.5, 3.0) * max(w, h)
    return np.asarray(points[:, :2] * distance / (distance + points[:, 2:]), dtype=np.float64)


def _light(surface: NDArray[np.float32], strength: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """Light falling off in one direction and towards the corners: factors 1 - strength to 1 + strength, tint within 2 %."""
    h, w = surface.shape[:2]
    y, x = np.mgrid[-1 : 1 : h * 1j, -1 : 1 : w * 1j].astype(np.float32)
    about = rng.uniform(0, 2 * np.pi)
    ramp = (np.cos(about) * x + np.sin(about) * y) / (abs(np.cos(about)) + abs(np.sin(about)))
    factor = 1 + strength * ramp - 0.3 * strength * (x**2 + y**2 - 0.6)
    tint = np.asarray(1 + rng.normal(0, 0.02, 3), dtype=np.float32)
    exposure = np.float32(rng.uniform(0.9, 1.08))
    return np.asarray(surface * factor[..., None] * (tint * exposure), dtype=np.float32)


def _gloss(surface: NDArray[np.float32], strength: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """One or two soft white highlights; at full strength their middle burns out."""
    h, w = surface.shape[:2]
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    out = surface.copy()
    for _ in range(int(rng.integers(1, 3))):
        cx, cy = rng.uniform(0.1, 0.9) * w, rng.uniform(0.1, 0.9) * h
        side = min(h, w)
        long, short = rng.uniform(0.15, 0.30) * side, rng.uniform(0.08, 0.16) * side
        about = rng.uniform(0, np.pi)
        u = ((x - cx) * np.cos(about) + (y - cy) * np.sin(about)) / long
        v = (-(x - cx) * np.sin(about) + (y - cy) * np.cos(about)) / short
        out += (strength * rng.uniform(90, 190) * np.exp(-0.5 * (u**2 + v**2)))[..., None]
    return np.minimum(out, 255.0)


def _jpeg(pixels: Pixels, quality: int) -> Pixels:
    """Coded as JPEG with halved colour and decoded again."""
    bgr = cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR)
    _, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])
    back = cv2.imdecode(data, cv2.IMREAD_COLOR)
    if back is None:
        raise RuntimeError("a picture coded as JPEG could not be decoded")
    return np.asarray(cv2.cvtColor(back, cv2.COLOR_BGR2RGB), dtype=np.uint8)


#: Settings of each single damage, and of all together. 'scale' makes the second picture of a pair 5 % larger or smaller.
SHOTS: dict[str, Shot] = {
    "none": Shot(),
    "jpeg40": Shot(quality=(40, 40)),
    "scale": Shot(),
    "perspective": Shot(tilt=35.0, corner_error=0.01),
    "light": Shot(light=0.45),
    "gloss": Shot(gloss=1.0),
    "blur": Shot(blur=2.0),
    "small": Shot(short=SMALL_PX),
}
SHOTS["all"] = Shot(quality=(40, 40), corner_error=0.01, light=0.45, gloss=1.0, blur=2.0, tilt=35.0, short=SMALL_PX)

Damage = Callable[..., tuple[Pixels, Matrix]]


def _damage(name: str) -> Damage:
    def apply(surface: Pixels, rng: np.random.Generator, *, second: bool = False) -> tuple[Pixels, Matrix]:
        shot = SHOTS[name]
        if name in ("scale", "all") and second:
            shot = replace(shot, stretch=float(rng.choice([1 / 1.05, 1.05])))
        return photograph(surface, shot, rng)

    apply.__name__ = f"damage_{name}"
    apply.__doc__ = f"(picture, 3x3 matrix from surface to picture) under the damage '{name}'; `second` of a pair or not."
    return apply


#: Name of a damage to `fn(surface, rng, second=False) -> (picture, matrix)`.
DAMAGES: dict[str, Damage] = {name: _damage(name) for name in SHOTS}

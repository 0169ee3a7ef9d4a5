"""Photos of a flat surface with a reference object on it, with exact truth: a pinhole camera over a plane, drawn with OpenCV.

The plane has coordinates in mm (x right, y down when looked at from above) and carries wood figure; objects are pictures
with an opacity, lying at a height above it. Each object is drawn in layers through its thickness, so that its side wall
and its shadow show where they would. Then light, a cast shadow, lens blur, sensor noise and JPEG.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from training.figure.cuts import saw_board
from training.figure.finish import STAINS, Finish, to_bytes
from training.figure.log import Log
from training.figure.slabs import LumberSlab
from training.figure.species import SPECIES
from training.scenes.phone import decode_jpeg, encode_jpeg
from vision.millimetres import mapped
from vision.resize import resize

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]
#: The surface tile: sides in mm and mm per texel; beyond it the tile is mirrored.
TILE_MM, TEXEL = (760.0, 560.0), 0.4
#: Drawn at this many times the photo's size and averaged down, so that edges carry their true sub-pixel place.
FINE = 2
WALL_LAYERS = 5


@dataclass(frozen=True, eq=False)
class Camera:
    """Pinhole camera over the plane. `focal` px; `turn` (3, 3) and `place` (3,) mm take plane points (x, y, -height) to
    camera coordinates; `size` (width, height) of the photo; `centre` principal point px."""

    focal: float
    turn: Array
    place: Array
    size: tuple[int, int]
    centre: tuple[float, float]

    def to_photo(self, height: float = 0.0) -> Array:
        """3x3 from plane mm at a height above the surface to photo px."""
        k = np.array([[self.focal, 0, self.centre[0]], [0, self.focal, self.centre[1]], [0, 0, 1.0]])
        shift = self.place - self.turn[:, 2] * height
        return np.asarray(k @ np.c_[self.turn[:, 0], self.turn[:, 1], shift])

    @property
    def tilt(self) -> float:
        """Angle between surface and picture plane, degrees."""
        return float(np.degrees(np.arccos(np.clip(self.turn[2, 2], -1, 1))))


@dataclass(frozen=True, eq=False)
class Layer:
    """An object. `rgba`: (h, w, 4) uint8; `mm`: its (width, height); `at`, `angle`: middle on the plane (mm) and turn
    (radians); `thick`: mm; `wall`: colour of its side."""

    rgba: Pixels
    mm: tuple[float, float]
    at: tuple[float, float]
    angle: float
    thick: float = 0.0
    wall: tuple[int, int, int] = (225, 225, 220)

    @property
    def to_plane(self) -> Array:
        """3x3 from the object's own mm (origin at its middle) to plane mm."""
        c, s = np.cos(self.angle), np.sin(self.angle)
        return np.array([[c, -s, self.at[0]], [s, c, self.at[1]], [0, 0, 1.0]])

    @property
    def texels(self) -> Array:
        """3x3 from the picture's texels to the object's own mm."""
        h, w = self.rgba.shape[:2]
        sx, sy = self.mm[0] / w, self.mm[1] / h
        return np.array([[sx, 0, (0.5 - w / 2) * sx], [0, sy, (0.5 - h / 2) * sy], [0, 0, 1.0]])


def aim(
    rng: np.random.Generator, tilt: float, distance: float, size: tuple[int, int], focal_share: float, *,
    at: tuple[float, float] = (0.0, 0.0), wander: float = 0.2, crop: float = 0.01,
) -> Camera:
    """Camera tilted by `tilt` degrees towards a random side, `distance` mm from the plane point `at`, which is seen up to
    `wander` of the photo's size off its middle. `crop`: standard deviation of the principal point, share of the width."""
    about, roll = rng.uniform(0, 2 * np.pi, 2)
    slant, _ = cv2.Rodrigues(np.deg2rad(tilt) * np.array([np.cos(about), np.sin(about), 0.0]))
    spin, _ = cv2.Rodrigues(np.array([0, 0, roll]))
    turn = slant @ spin
    focal = focal_share * max(size)
    centre = np.array([(size[0] - 1) / 2, (size[1] - 1) / 2])
    off = rng.uniform(-wander, wander, 2) * size
    ray = np.r_[off / focal, 1.0]
    place = distance * ray - turn[:, 0] * at[0] - turn[:, 1] * at[1]
    principal = centre + rng.normal(0, crop * max(size), 2)
    return Camera(focal, turn, place, size, (float(principal[0]), float(principal[1])))


@lru_cache(maxsize=24)
def wood(seed: int) -> Pixels:
    """(h, w, 3) uint8 face of a made-up board, TILE_MM at TEXEL mm; pale or dark, plain or stained."""
    rng = np.random.default_rng([seed, 77])
    species = str(rng.choice(sorted(SPECIES)))
    cut = str(rng.choice(["flat", "rift", "quarter"]))
    stain = str(rng.choice(sorted(STAINS)))
    strength, depth, age = (float(v) for v in rng.uniform(0, [0.7, 1, 1]))
    finish = Finish(stain=stain, strength=strength, depth=depth, age=age,
                    wear=float(rng.uniform(0, 0.6)))
    slab = LumberSlab((TILE_MM[0], TILE_MM[1], 20.0), finish, seed, boards=(saw_board(Log(species, seed), cut, rng),))
    return to_bytes(slab.texture("face", TEXEL).rgb)


def photograph(
    ground: Pixels, layers: Sequence[Layer], camera: Camera, rng: np.random.Generator, *, quality: int = 85,
    blur: float = 0.7, noise: float = 2.0, gradient: float = 0.2, shadow: float = 0.0, ground_mm: float = TEXEL,
) -> Pixels:
    """Photo (h, w, 3) uint8.

    `blur`: sigma px of the lens; `noise`: grey levels; `gradient`: fall of light across the photo; `shadow`: depth of a
    soft cast shadow whose edge crosses the photo (0 none); `ground_mm`: size of the ground's texels.
    """
    w, h = camera.size
    fine = np.diag([FINE, FINE, 1.0]) + np.array([[0, 0, (FINE - 1) / 2], [0, 0, (FINE - 1) / 2], [0, 0, 0]])
    gh, gw = ground.shape[:2]
    to_mm = np.array([[ground_mm, 0, -gw / 2 * ground_mm], [0, ground_mm, -gh / 2 * ground_mm], [0, 0, 1.0]])
    size = (w * FINE, h * FINE)
    picture = np.asarray(cv2.warpPerspective(ground, fine @ camera.to_photo() @ to_mm, size, flags=cv2.INTER_LINEAR,
                                             borderMode=cv2.BORDER_REFLECT), dtype=np.uint8)
    light = rng.uniform(0, 2 * np.pi)
    for layer in layers:
        _lay(picture, layer, camera, fine, light)
    small = resize(picture, w, h).astype(np.float32)
    y, x = np.mgrid[-1 : 1 : h * 1j, -1 : 1 : w * 1j].astype(np.float32)
    about = rng.uniform(0, 2 * np.pi)
    small *= (1 + gradient * (np.cos(about) * x + np.sin(about) * y))[..., None]
    if shadow > 0:
        about, off, soft = rng.uniform(0, 2 * np.pi), rng.uniform(-0.4, 0.4), rng.uniform(0.01, 0.12)
        edge = (np.cos(about) * x + np.sin(about) * y - off) / soft
        small *= (1 - shadow / (1 + np.exp(-np.clip(edge, -30, 30))))[..., None]
    if blur > 0.2:
        small = np.asarray(cv2.GaussianBlur(small, (0, 0), blur), dtype=np.float32)
    small += rng.standard_normal(small.shape, dtype=np.float32) * np.float32(noise)
    return decode_jpeg(encode_jpeg(np.clip(small + 0.5, 0, 255).astype(np.uint8), quality))


def _lay(photo: Pixels, layer: Layer, camera: Camera, fine: Array, light: float) -> None:
    """Draw one object in place: shadow on the surface, side wall from below upwards, then its face."""
    own = layer.to_plane @ layer.texels
    alpha = np.ascontiguousarray(layer.rgba[..., 3])
    h, w = alpha.shape
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float64)
    spots = np.vstack([mapped(fine @ camera.to_photo(z) @ own, corners) for z in (0.0, layer.thick)])
    if not np.isfinite(spots).all():
        return
    margin = 8 + 3 * layer.thick / layer.mm[0] * float(np.ptp(spots, axis=0).max())
    low = np.maximum(np.floor(spots.min(axis=0) - margin), 0).astype(int)
    high = np.minimum(np.ceil(spots.max(axis=0) + margin), [photo.shape[1], photo.shape[0]]).astype(int)
    if (high - low < 2).any():
        return
    window = np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1.0]]) @ fine
    size = (int(high[0] - low[0]), int(high[1] - low[1]))
    picture = photo[low[1] : high[1], low[0] : high[0]].astype(np.float32)

    def seen(image: Pixels, height: float, shift: Array | None = None) -> Pixels:
        move = np.eye(3) if shift is None else shift
        return np.asarray(cv2.warpPerspective(image, window @ camera.to_photo(height) @ move @ own, size, flags=cv2.INTER_LINEAR),
                          dtype=np.uint8)

    if layer.thick > 0:
        reach = 1.2 * layer.thick
        shift = np.array([[1, 0, reach * np.cos(light)], [0, 1, reach * np.sin(light)], [0, 0, 1.0]])
        grown = np.asarray(cv2.GaussianBlur(alpha, (0, 0), max(1.0, 0.5 * layer.thick / layer.mm[0] * w)), dtype=np.uint8)
        picture *= (1 - 0.45 / 255 * seen(grown, 0.0, shift).astype(np.float32))[..., None]
        for k in range(WALL_LAYERS):
            mask = seen(alpha, layer.thick * k / WALL_LAYERS).astype(np.float32)[..., None] / 255
            shade = np.float32(0.62 + 0.3 * k / WALL_LAYERS)
            picture += mask * (np.array(layer.wall, np.float32) * shade - picture)
    # the colours of a face run on under its transparent rim, so opacity and colour are sampled apart
    mask = seen(alpha, layer.thick).astype(np.float32)[..., None] / 255
    picture += mask * (seen(np.ascontiguousarray(layer.rgba[..., :3]), layer.thick) - picture)
    photo[low[1] : high[1], low[0] : high[0]] = np.clip(picture + 0.5, 0, 255).astype(np.uint8)

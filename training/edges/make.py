"""A picture of an edge, or of a trap, and its truth; the same seed always gives the same picture.

Order of the world: board, light, view, lens, pixels, noise, JPEG. Numbers without a source are assumptions about ordinary
phone photos: noise of 1 to 4 grey levels, JPEG 55 to 95, blur of 0.4 to 1.6 px.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites.figures import Figure as Photo
from training.edges import surroundings, traps, view
from training.edges.boards import Build, Layer, make_board
from training.edges.kinds import OTHER_TRAPS, SETTINGS, STRIP_OF
from vision.resize import resize_map

#: (width, height) of a picture: the edge and what borders it, cut out of a photo.
SIZES = {"close": (600, 320), "angled": (600, 260)}

Line = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True, eq=False)
class Truth:
    """What is so. `build`: a name of kinds.NAMES; `strip`: what the narrow side shows; `outline`: of the visible narrow side,
    (n, 2) px; `arris`: the line where it meets the face, `lower` the line at the other end of the thickness (left to right,
    None for a trap); `px_per_mm`: across the strip at its middle; `along_px`: length of the arris in view; `layers`: as
    boards.Layer; `face_mm`, `face_tone`: foreign face layer seen on the narrow side (0, 'none'); `plies`: count, 0 for none;
    `seam`: glued on at the arris; `continuous`: face and narrow side are one piece of wood (None: no such question);
    `across`: face grain runs into the arris; `group`: who took the real figure, else the seed."""

    build: str
    strip: str
    setting: str
    seed: int
    outline: NDArray[np.float64]
    arris: Line | None
    lower: Line | None
    px_per_mm: float
    along_px: float
    layers: tuple[Layer, ...]
    face_mm: float
    face_tone: str
    plies: int
    seam: bool
    continuous: bool | None
    across: bool
    group: str

    @property
    def face_px(self) -> float:
        return self.face_mm * self.px_per_mm

    @property
    def ply_px(self) -> float:
        """Thickness of the thinnest ply in picture pixels; 0 without plies."""
        if not self.plies:
            return 0.0
        return min(x.bottom - x.top for x in self.layers if x.kind in ("ply", "veneer")) * self.px_per_mm


@dataclass(frozen=True, eq=False)
class EdgePicture:
    pixels: NDArray[np.uint8]
    truth: Truth


def _pose(build: Build, setting: str, rng: np.random.Generator) -> view.Pose:
    thick = build.size[2]
    below = rng.random() < 0.1
    elevation = float(rng.uniform(14, 48)) * (-1 if below else 1)
    high = float(np.exp(rng.uniform(np.log(40), np.log(170)) if setting == "close" else rng.uniform(np.log(8), np.log(30))))
    scale = high / thick / np.cos(np.deg2rad(elevation))
    size = SIZES[setting]
    seen = size[0] / scale
    half = build.size[0] / 2
    # the middle of the picture lies on the arris, near an end of the board in some pictures
    if rng.random() < 0.3:
        middle = float(half - seen * rng.uniform(0.1, 0.4)) * (1 if rng.random() < 0.5 else -1)
    else:
        middle = float(rng.uniform(-1, 1)) * max(0.0, half - 0.5 * seen)
    lift = float(rng.uniform(-0.6, 0.25)) * min(thick, 0.3 * size[1] / scale)
    return view.Pose(elevation, float(np.clip(rng.normal(0, 16), -38, 38)), float(rng.normal(0, 4)), scale,
                     (middle, 0.0, lift if not below else -thick - lift), float(rng.uniform(1.6, 5.0)), size)


def _light(rng: np.random.Generator, below: bool, gloss: float) -> view.Light:
    # from above and from the viewer's side, seldom from behind
    about, high = rng.uniform(-1.2, 1.2), rng.uniform(0.25, 1.3)
    sun = np.array([np.sin(about) * np.cos(high), -np.cos(about) * np.cos(high), np.sin(high)])
    if rng.random() < 0.2:
        sun[1] = -sun[1]
    if below and rng.random() < 0.6:
        sun[2] *= 0.2
    warm = np.array([1.0, rng.uniform(0.9, 1.0), rng.uniform(0.75, 1.0)])
    return view.Light(sun / np.linalg.norm(sun), float(rng.uniform(0.35, 0.75)), warm, gloss * float(rng.uniform(0, 0.5)))


def develop(canvas: NDArray[np.float32], size: tuple[int, int], rng: np.random.Generator, *, setting: str) -> NDArray[np.uint8]:
    """(h, w, 3) uint8 photo of linear light given FINER times as large."""
    blur = float(rng.uniform(0.4, 1.6 if setting == "close" else 1.0))
    if rng.random() < 0.12:  # out of focus
        blur *= 2
    soft = cv2.GaussianBlur(canvas, (0, 0), view.FINER * blur)
    small = resize_map(np.asarray(soft, np.float32), *size)
    bright = float(np.percentile(small.mean(axis=2), 90))
    small = small * (rng.uniform(0.35, 0.85) / max(bright, 0.02))
    small = small * np.asarray(1 + rng.normal(0, 0.03, 3), np.float32)
    out = 255 * np.asarray(cv2.pow(np.clip(small, 0, 1), 1 / 2.2), np.float32)
    out = out + rng.uniform(1.0, 4.0) * rng.standard_normal(out.shape, dtype=np.float32)
    pixels = np.clip(np.round(out), 0, 255).astype(np.uint8)
    ok, data = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(55, 96))])
    back = cv2.imdecode(data, cv2.IMREAD_COLOR) if ok else None
    if back is None:
        raise RuntimeError("a picture coded as JPEG could not be decoded")
    return np.ascontiguousarray(back[..., ::-1], np.uint8)


def _in_frame(cam: view.Camera, start: NDArray[np.float64], end: NDArray[np.float64]) -> Line | None:
    """The part of a space line that lies in the picture, left to right."""
    t = np.linspace(0, 1, 2001)[:, None]
    p = cam.project(start + t * (end - start))
    w, h = cam.size
    inside = (p[:, 0] >= 0) & (p[:, 0] <= w - 1) & (p[:, 1] >= 0) & (p[:, 1] <= h - 1)
    if inside.sum() < 2:
        return None
    q = p[inside]
    ends = sorted([(float(q[0, 0]), float(q[0, 1])), (float(q[-1, 0]), float(q[-1, 1]))])
    return ends[0], ends[1]


@dataclass(eq=False)
class Seen:
    """What the first view of a board leaves for the next ones: its painted sides and what lies behind."""

    sides: view.Kept
    behind: NDArray[np.floating] | None = None


def _behind(shape: tuple[int, int], px_per_mm: float, rng: np.random.Generator, seen: Seen | None) -> NDArray[np.floating]:
    """What lies behind the board; of later views the first one's, turned over and in another light."""
    if seen is None or seen.behind is None:
        made = surroundings.two_grounds(shape, px_per_mm, float(rng.uniform(0.3, 0.8)), rng)
        if seen is not None:
            seen.behind = made
        return made
    old = seen.behind[::-1 if rng.random() < 0.5 else 1, ::-1 if rng.random() < 0.5 else 1]
    return np.ascontiguousarray(old * np.asarray(np.exp(rng.normal(0, 0.35) + rng.normal(0, 0.06, 3)), np.float32))


def take(build: Build, pose: view.Pose, setting: str, seed: int, rng: np.random.Generator,
         seen: Seen | None = None) -> EdgePicture | None:
    """The board from a pose, light and surroundings drawn at random; None when too little of its edge is in view."""
    cam = view.camera(pose)
    below = pose.elevation < 0
    light = _light(rng, below, build.gloss)
    radius = 0.0 if rng.random() < 0.35 else float(rng.uniform(0.2, 3.0)) * min(1.0, build.size[2] / 18)
    worn = float(rng.uniform(0.2, 0.9)) if rng.random() < 0.25 else 0.0
    arris = view.Arris(radius, bool(rng.random() < 0.3), worn, float(rng.uniform(0.25, 1.2)), build.pale,
                       int(rng.integers(1, 2**30)))
    w, h = cam.size
    shape = (h * view.FINER, w * view.FINER)
    # what lies behind is out of focus more or less: picture resolution will do
    canvas = resize_map(_behind((h, w), pose.px_per_mm, rng, seen), shape[1], shape[0])
    cover = np.zeros(shape, np.float32)
    board = np.zeros((*shape, 3), np.float32)
    half, thick = build.size[0] / 2, build.size[2]
    for side in view.sides(build, -half, half):
        view.paint_side(side, cam, light, arris, board, cover, None if seen is None else seen.sides)
    strip_px = thick * pose.px_per_mm * view.FINER
    canvas = surroundings.shade(canvas * (1 - cover[..., None]) + board, cover, strip_px, rng)
    top, bottom = (0.0, -thick)
    ends = [np.array([s * half, 0.0, z]) for z in (top, bottom) for s in (-1, 1)]
    upper, lower = _in_frame(cam, ends[0], ends[1]), _in_frame(cam, ends[2], ends[3])
    quad = cam.project(np.stack([ends[0], ends[1], ends[3], ends[2]])).astype(np.float32)
    frame = np.array([[0, 0], [w - 1, 0], [w - 1, h - 1], [0, h - 1]], np.float32)
    area, outline = cv2.intersectConvexConvex(quad, frame)
    if area < 50 or outline is None or upper is None or lower is None:
        return None
    middle = np.array([pose.target[0], 0.0, 0.0])
    across = cam.project(np.stack([middle, middle - thick * view.Z]))
    if below:  # the broad side in view is the underside: the arris is where the narrow side meets that
        upper, lower = lower, upper
    direction = np.subtract(upper[1], upper[0])
    normal = np.array([-direction[1], direction[0]]) / max(float(np.hypot(*direction)), 1e-6)
    scale = abs(float((across[1] - across[0]) @ normal)) / thick
    length = float(np.hypot(*direction))
    if length < 110 or np.hypot(*np.subtract(lower[1], lower[0])) < 0.7 * length or scale * thick < 6:
        return None
    pixels = develop(canvas, (w, h), rng, setting=setting)
    truth = Truth(build.name, build.strip_kind, setting, seed, outline.reshape(-1, 2).astype(np.float64), upper, lower, scale,
                  length, _seen_from(build.layers, thick, below=below), build.face_mm, build.face_tone, build.plies, build.seam,
                  build.continuous, build.across, build.groups[0] if build.groups else f"seed {seed}")
    return EdgePicture(pixels, truth)


def _seen_from(layers: tuple[Layer, ...], thick: float, *, below: bool) -> tuple[Layer, ...]:
    """Layers counted from the broad side in view."""
    if not below:
        return layers
    return tuple(Layer(x.kind, thick - x.bottom, thick - x.top, x.tone) for x in reversed(layers))


def make_edge(name: str, setting: str, seed: int, photos: Sequence[Photo] = ()) -> EdgePicture:
    """A picture of the build or trap `name` (kinds.NAMES) in a setting ('close': edge 40 to 170 px high; 'angled': 8 to 30).

    `photos`: real figure for veneered and printed faces, used in about a third of them.
    """
    return make_views(name, setting, seed, photos, 1)[0]


def make_views(name: str, setting: str, seed: int, photos: Sequence[Photo] = (), count: int = 3) -> list[EdgePicture]:
    """`make_edge`'s picture and further ones of the same board, from elsewhere, in other light, by another camera: much
    cheaper than other boards. Up to `count`; at least one."""
    if name not in STRIP_OF or setting not in SETTINGS:
        raise ValueError(f"unknown edge {name!r} or setting {setting!r}")
    for attempt in range(60):
        rng = np.random.default_rng([seed, attempt, *name.encode(), SETTINGS.index(setting)])
        later = [np.random.default_rng([seed, attempt, 7000 + k]) for k in range(1, count)]
        if name in OTHER_TRAPS:
            scene = _trap_scene(name, setting, rng)
            return [_turned(_trap(name, setting, seed, scene, r, again=r is not rng), r) for r in (rng, *later)]
        build = make_board(name, rng, photos)
        seen = Seen({}) if later else None
        pose = _pose(build, setting, rng)
        drawn = take(build, pose, setting, seed, rng, seen)
        if drawn is not None:
            more = [(take(build, _moved(build, pose, setting, r), setting, seed, r, seen), r) for r in later]
            return [_turned(p, r) for p, r in ((drawn, rng), *more) if p is not None]
    raise RuntimeError(f"no view of {name} found for seed {seed}")


def _moved(build: Build, pose: view.Pose, setting: str, rng: np.random.Generator) -> view.Pose:
    """Another pose that sees about the same part of the board at about the same scale."""
    sign = 1 if pose.elevation > 0 else -1
    elevation = sign * float(np.clip(abs(pose.elevation) + rng.normal(0, 9), 12, 52))
    thick, size = build.size[2], pose.size
    low, high = (40, 170) if setting == "close" else (8, 30)
    scale = pose.px_per_mm * float(np.exp(rng.uniform(-0.22, 0.28)))
    per = thick * float(np.cos(np.deg2rad(elevation)))
    scale = float(np.clip(scale, low / per, high / per))
    lift = float(rng.uniform(-0.6, 0.25)) * min(thick, 0.3 * size[1] / scale)
    middle = pose.target[0] + float(rng.uniform(-0.12, 0.12)) * size[0] / scale
    return view.Pose(elevation, float(np.clip(rng.normal(0, 16), -38, 38)), float(rng.normal(0, 4)), scale,
                     (middle, 0.0, lift if sign > 0 else -thick - lift), float(rng.uniform(1.6, 5.0)), size)


Scene = tuple[NDArray[np.float32], NDArray[np.float64]]


def _trap_scene(name: str, setting: str, rng: np.random.Generator) -> Scene:
    """(canvas, outline in its pixels) of a trap."""
    size = SIZES[setting]
    high = float(np.exp(rng.uniform(np.log(40), np.log(170)) if setting == "close" else rng.uniform(np.log(12), np.log(34))))
    large = (size[0] * view.FINER, size[1] * view.FINER)
    canvas, outline = traps.trap_picture(name, large, round(high * view.FINER), rng)
    return np.asarray(canvas, np.float32), np.asarray(outline, np.float64)


def _trap(name: str, setting: str, seed: int, scene: Scene, rng: np.random.Generator, *, again: bool = False) -> EdgePicture:
    """A trap's picture; `again`: turned over or upside down, in a light that falls off, nearer."""
    size = SIZES[setting]
    canvas, outline = scene
    if again:
        canvas, outline = _otherwise(canvas, outline, rng)
    pixels = develop(canvas, size, rng, setting=setting)
    points = np.clip((outline + 0.5) / view.FINER - 0.5, 0, np.array(size) - 1.0)
    truth = Truth(name, "other", setting, seed, points, None, None, 0.0, float(size[0]), (), 0.0, "none", 0, False, None, False,
                  f"seed {seed}")
    return EdgePicture(pixels, truth)


def _otherwise(canvas: NDArray[np.float32], outline: NDArray[np.float64], rng: np.random.Generator) -> Scene:
    h, w = canvas.shape[:2]
    fx, fy = (-1 if rng.random() < 0.5 else 1 for _ in range(2))
    near, turn = float(np.exp(rng.uniform(0.0, 0.25))), float(rng.normal(0, 0.04))
    middle = np.array([(w - 1) / 2, (h - 1) / 2])
    matrix = near * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ np.diag([fx, fy])
    move = np.c_[matrix, middle - matrix @ middle]
    lit = cv2.warpAffine(canvas, move, (w, h), borderMode=cv2.BORDER_REFLECT)
    left, right = (float(v) for v in np.exp(rng.normal(0, 0.3, 2)))
    ramp = np.linspace(left, right, w, dtype=np.float32)[None, :, None]
    points = outline @ matrix.T + move[:, 2]
    if fx * fy < 0:  # the way round stays
        points = points[[1, 0, 3, 2]] if fx < 0 else points[[3, 2, 1, 0]]
    elif fx < 0:
        points = points[[2, 3, 0, 1]]
    return np.asarray(lit * ramp, np.float32), points


def _turned(picture: EdgePicture, rng: np.random.Generator) -> EdgePicture:
    """A quarter of the pictures stand upright, as sides and doors do."""
    if rng.random() >= 0.25:
        return picture
    truth, w = picture.truth, picture.pixels.shape[1]

    def turn(p: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.stack([p[..., 1], w - 1 - p[..., 0]], axis=-1)

    def line(one: Line | None) -> Line | None:
        if one is None:
            return None
        q = turn(np.array(one))
        return (float(q[0, 0]), float(q[0, 1])), (float(q[1, 0]), float(q[1, 1]))

    return EdgePicture(np.ascontiguousarray(np.rot90(picture.pixels)),
                       replace(truth, outline=turn(truth.outline), arris=line(truth.arris), lower=line(truth.lower)))

"""Pictures that must not be taken for a repeat: one front twice, identical hardware, reflections, outlines in outlines.

Surfaces are (h, w, 3) uint8 pictures of figure; what comes back are sheets as the program would make of the photos.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites.camera import SHOTS, Shot, photograph
from training.figure.cuts import saw_board
from training.figure.log import Log
from vision.repeats.find import find_repeats
from vision.repeats.repeat import Repeat
from vision.repeats.sheet import SHEET_PX, Sheet
from vision.resize import fit_within, resize

Pixels = NDArray[np.uint8]
Array = NDArray[np.float64]
#: Size of the photos that panels lie well inside of.
FRAME = (3000, 3000)
#: What may stand between a surface and its picture in a trap: mild to the worst that is to be borne.
DAMAGES = ("none", "light", "gloss", "blur", "scale", "all")


def sheet(pixels: Pixels, photo: str, panel: str, *, at: tuple[float, float] = (0.0, 0.0), frame: tuple[int, int] | None = None,
          mask: NDArray[np.bool_] | None = None) -> Sheet:
    """Sheet of a picture that lies with its top left pixel at `at` on the photo."""
    h, w = pixels.shape[:2]
    width, height = fit_within(w, h, max_side=SHEET_PX)
    sx, sy = w / width, h / height
    to_photo = np.array([[sx, 0, 0.5 * sx - 0.5 + at[0]], [0, sy, 0.5 * sy - 0.5 + at[1]], [0, 0, 1.0]])
    inside = np.ones((height, width), np.bool_)
    if mask is not None:
        inside = cv2.resize(mask.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST) > 0
    return Sheet(photo, panel, resize(pixels, width, height), inside, to_photo, frame)


def alarms(sheets: Sequence[Sheet]) -> list[Repeat]:
    """Repeats found that are not taken for one surface."""
    return [r for r in find_repeats(sheets) if not r.same_surface]


def noisy(pixels: Pixels, seed: int, deviation: float = 3.0) -> Pixels:
    """The picture with noise of its own."""
    noise = np.random.default_rng(seed).normal(0, deviation, pixels.shape)
    return np.clip(pixels + noise, 0, 255).astype(np.uint8)


def shot(name: str, rng: np.random.Generator) -> Shot:
    """Settings of one picture; a change of size is drawn where the damage has one."""
    out = SHOTS[name]
    if name in ("scale", "all"):
        out = replace(out, stretch=float(rng.choice([1 / 1.05, 1.0, 1.05])))
    return out


def board_face(species: str, cut: str, seed: int, width: int = 420, height: int = 220, *, knots: float | None = None) -> Pixels:
    """(height, width, 3) face of a board sawn from a log of its own, grain along x, 1 mm a pixel. `cut`: see cuts.saw_board."""
    log = Log(species, seed, knots=knots)
    board = saw_board(log, cut, np.random.default_rng([seed, 7]))
    along, across = np.arange(width) - width / 2, np.arange(height) - height / 2
    face = log.cut(board.points(along[None, :], across[:, None], np.zeros((1, 1))), texel=1.0)
    return np.asarray(np.clip(np.round(face.rgb * 255), 0, 255), dtype=np.uint8)


# -- hardware ---------------------------------------------------------------------------------------------------------
def hardware(kind: str, size: int, rng: np.random.Generator) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """(rgb (n, m, 3) 0..255, alpha (n, m) 0..1) of one drawn fitting about `size` px large, its shadow with it.

    `kind`: 'knob', 'ring', 'bar', 'cup', 'keyhole', 'hinge' or 'wooden_knob'.
    """
    n, m = 2 * size, (6 * size if kind == "bar" else 2 * size)
    y, x = np.mgrid[0:n, 0:m].astype(np.float32)
    cy, cx = n / 2, m / 2
    u, v = (x - cx) / (size / 2), (y - cy) / (size / 2)
    r = np.hypot(u, v)
    metal = np.array([(190, 188, 182), (196, 160, 90), (58, 54, 50), (225, 222, 215)][int(rng.integers(4))], np.float32)
    if kind == "wooden_knob":
        metal = np.array((140, 92, 55), np.float32) * np.float32(rng.uniform(0.6, 1.3))
    if kind in ("knob", "wooden_knob"):
        shape = np.clip((1.0 - r) * size / 2, 0, 1)
        tone = 0.75 + 0.5 * np.clip(-0.5 * u - 0.6 * v, -1, 1) + 0.9 * np.exp(-((u + 0.35) ** 2 + (v + 0.4) ** 2) / 0.05)
    elif kind == "ring":
        shape = np.clip((0.16 - np.abs(r - 0.75)) * size / 2, 0, 1)
        tone = 0.8 + 0.4 * np.sin(3 * np.arctan2(v, u) + 1.0)
    elif kind == "bar":
        shape = np.clip((0.22 - np.abs(v)) * size / 2, 0, 1) * np.clip((4.6 - np.abs(u)) * size / 2, 0, 1)
        tone = 0.7 + 0.7 * np.exp(-(((v + 0.08) / 0.07) ** 2))
    elif kind == "cup":
        shape = np.clip((1.0 - np.hypot(u, 1.6 * v)) * size / 2, 0, 1) * (v < 0.35)
        tone = 0.6 + 0.8 * np.clip(-v, 0, 1) ** 2
    elif kind == "keyhole":
        plate = np.clip((1.0 - np.hypot(1.6 * u, v)) * size / 2, 0, 1)
        hole = np.maximum(np.clip((0.24 - np.hypot(u, v + 0.2)) * size / 2, 0, 1),
                          np.clip((0.1 - np.abs(u)) * size / 2, 0, 1) * ((v > -0.2) & (v < 0.5)))
        shape, tone = plate, 1.0 - 0.95 * hole
    elif kind == "hinge":
        shape = np.clip((0.45 - np.abs(u)) * size / 2, 0, 1) * np.clip((0.95 - np.abs(v)) * size / 2, 0, 1)
        screws = np.minimum.reduce([np.hypot(u - a, v - b) for a in (-0.25, 0.25) for b in (-0.6, 0.0, 0.6)])
        tone = 0.85 - 0.5 * (screws < 0.12) + 0.3 * (np.abs(u) < 0.06)
    else:
        raise ValueError(f"unknown hardware {kind!r}")
    shadow = cv2.GaussianBlur(np.roll(shape, (size // 6, size // 8), (0, 1)).astype(np.float32), (0, 0), size / 12)
    alpha = np.maximum(shape, 0.55 * shadow)
    rgb = metal * tone[..., None] * np.minimum(1.0, shape / np.maximum(alpha, 1e-6))[..., None]
    return np.clip(rgb, 0, 255).astype(np.float32), np.clip(alpha, 0, 1).astype(np.float32)


KINDS = ("knob", "ring", "bar", "cup", "keyhole", "hinge", "wooden_knob")


def with_fittings(surfaces: list[Pixels], rng: np.random.Generator) -> list[Pixels]:
    """The same fittings at the same places (shares of width and height) on every surface: a pair of one kind, one of another."""
    kinds = [str(k) for k in rng.choice(KINDS, 2, replace=False)]
    pair_x, y = float(rng.uniform(0.15, 0.35)), float(rng.uniform(0.35, 0.65))
    spots = [(kinds[0], pair_x, y), (kinds[0], 1 - pair_x, y), (kinds[1], 0.5, float(rng.uniform(0.2, 0.5)))]
    share, seed = float(rng.uniform(0.1, 0.22)), int(rng.integers(1 << 30))
    out = []
    for surface in surfaces:
        picture = surface.astype(np.float32)
        h, w = surface.shape[:2]
        for kind, sx, sy in spots:
            rgb, alpha = hardware(kind, max(10, int(share * min(h, w))), np.random.default_rng(seed + KINDS.index(kind)))
            n, m = alpha.shape
            x0, y0 = int(sx * w - m / 2), int(sy * h - n / 2)
            left, top, right, low = max(0, x0), max(0, y0), min(w, x0 + m), min(h, y0 + n)
            if right <= left or low <= top:
                continue
            part = np.s_[top - y0 : low - y0, left - x0 : right - x0]
            a = alpha[part][..., None]
            picture[top:low, left:right] = picture[top:low, left:right] * (1 - a) + rgb[part] * a
        out.append(np.clip(picture, 0, 255).astype(np.uint8))
    return out


# -- scenes -----------------------------------------------------------------------------------------------------------
def two_fronts(a: Pixels, b: Pixels, rng: np.random.Generator, damage: str, *, one_photo: bool) -> list[Sheet]:
    """Two fronts with the same fittings, beside each other on one photo or on two photos."""
    out = []
    for k, surface in enumerate(with_fittings([a, b], rng)):
        picture, _ = photograph(surface, shot(damage, rng), rng)
        at = (40.0, 40.0 + (k * 1.1 * max(a.shape[0], b.shape[0]) if one_photo else 0.0))
        out.append(sheet(picture, "photo 1" if one_photo else f"photo {k + 1}", f"front {k + 1}", at=at, frame=FRAME))
    return out


def front_twice(surface: Pixels, rng: np.random.Generator, damage: str) -> list[Sheet]:
    """One front photographed twice, with fittings; outlines up to 4 % wrong, one picture in three only part of it.

    The part is a close view that fills its photo.
    """
    front = with_fittings([surface], rng)[0] if rng.random() < 0.7 else surface
    out = []
    for k in range(2):
        picture, _ = photograph(front, shot(damage, rng), rng)
        h, w = picture.shape[:2]
        if k == 1 and rng.random() < 1 / 3:
            share = rng.uniform(0.55, 0.85)
            x0, y0 = int(rng.uniform(0, 1 - share) * w), int(rng.uniform(0, 1 - share) * h)
            close = np.ascontiguousarray(picture[y0 : y0 + int(share * h), x0 : x0 + int(share * w)])
            out.append(sheet(close, "photo 2", "front", frame=(close.shape[1], close.shape[0])))
            continue
        cut = rng.uniform(0, 0.04, 4)
        x0, y0, x1, y1 = int(cut[0] * w), int(cut[1] * h), int((1 - cut[2]) * w), int((1 - cut[3]) * h)
        out.append(sheet(np.ascontiguousarray(picture[y0:y1, x0:x1]), f"photo {k + 1}", "front", at=(100.0, 100.0),
                         frame=FRAME))
    return out


def nested(surface: Pixels, rng: np.random.Generator, damage: str) -> list[Sheet]:
    """One photo on which the finder gives a panel and a part of it."""
    picture, _ = photograph(surface, shot(damage, rng), rng)
    h, w = picture.shape[:2]
    share = rng.uniform(0.5, 0.9, 2)
    x0, y0 = int(rng.uniform(0, 1 - share[0]) * w), int(rng.uniform(0, 1 - share[1]) * h)
    part = np.ascontiguousarray(picture[y0 : y0 + int(share[1] * h), x0 : x0 + int(share[0] * w)])
    return [sheet(picture, "photo 1", "whole", at=(50.0, 50.0), frame=FRAME),
            sheet(part, "photo 1", "part", at=(50.0 + x0, 50.0 + y0), frame=FRAME)]


def reflected(upright: Pixels, top: Pixels, rng: np.random.Generator, damage: str) -> list[Sheet]:
    """One photo: an upright panel standing on a glossy top that shows its mirror image below, faint, soft and stretched."""
    h, w = upright.shape[:2]
    own = resize(top, w, h).astype(np.float32)
    image = cv2.GaussianBlur(upright[::-1].astype(np.float32), (0, 0), float(rng.uniform(0.8, 4.0)))
    # reflectance of a lacquered top seen from 45 to 80 degrees: 5 to 40 % (Fresnel, n = 1.5)
    strength = float(rng.uniform(0.05, 0.4))
    fade = np.linspace(1.0, float(rng.uniform(0.3, 1.0)), h, dtype=np.float32)[:, None, None]
    shine = strength * fade
    mixed = np.clip(own * (1 - shine) + image * shine + 10 * shine, 0, 255).astype(np.uint8)
    out = []
    for k, surface in enumerate((upright, mixed)):
        picture, _ = photograph(surface, shot(damage, rng), rng)
        out.append(sheet(picture, "photo 1", ("upright", "top")[k], at=(30.0, 30.0 + k * h), frame=FRAME))
    return out


def mirrored_beside(front: Pixels, door: Pixels, rng: np.random.Generator, damage: str) -> list[Sheet]:
    """One photo: a front and, beside it, a glossy door standing at an angle to it in which the front is mirrored sideways.

    The door's own figure shows through; in one case of three it is plain glass. The mirror image is dimmed, soft, drawn
    out towards the far side, and reaches only part of the way across.
    """
    h, w = front.shape[:2]
    glass = rng.random() < 1 / 3
    own = np.full((h, w, 3), float(rng.uniform(20, 60)), np.float32) if glass else resize(door, w, h).astype(np.float32)
    image = cv2.GaussianBlur(np.ascontiguousarray(front[:, ::-1]), (0, 0), float(rng.uniform(0.8, 4.0)))
    # a mirror at 60 to 85 degrees to the front: near edge full height, far edge smaller, lengths shortened
    far, reach, tilt = float(rng.uniform(0.65, 0.95)), float(rng.uniform(0.55, 0.95)) * w, float(rng.uniform(-0.04, 0.04)) * h
    low = 0.5 * (1 - far) * h
    before = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32)
    after = np.array([[0, 0], [reach, low + tilt], [reach, h - low + tilt], [0, h]], np.float32)
    to_door = cv2.getPerspectiveTransform(before, after)
    image = cv2.warpPerspective(image, to_door, (w, h), flags=cv2.INTER_AREA).astype(np.float32)
    shown = cv2.warpPerspective(np.ones((h, w), np.float32), to_door, (w, h))[..., None]
    # silvered glass gives back 60 to 90 %, lacquer at such angles 5 to 40 % (Fresnel, n = 1.5)
    strength = float(rng.uniform(0.6, 0.9) if glass else rng.uniform(0.05, 0.4))
    shine = strength * np.linspace(1.0, float(rng.uniform(0.4, 1.0)), w, dtype=np.float32)[None, :, None] * shown
    mixed = np.clip(own * (1 - shine) + image * shine + 8 * shine, 0, 255).astype(np.uint8)
    if rng.random() < 0.5:  # an outline drawn about the image alone, as if it were a panel
        mixed = np.ascontiguousarray(mixed[:, : int(reach)])
    out = []
    for k, surface in enumerate((front, mixed)):
        picture, _ = photograph(surface, shot(damage, rng), rng)
        out.append(sheet(picture, "photo 1", ("front", "door")[k], at=(30.0 + k * w, 30.0), frame=FRAME))
    return out


def printed_fronts(surface: Pixels, rng: np.random.Generator, damage: str, *, one_photo: bool = False) -> list[Sheet]:
    """No trap but its counterpart: two fronts cut at different places of one print, the same fittings on both."""
    h, w = surface.shape[:2]
    share = 0.72
    width, height = int(share * w), int(0.9 * h)
    shift = rng.uniform(0.12, 0.25) * w
    x0 = int(rng.uniform(0, max(1.0, w - width - shift)))
    y = rng.uniform(0, 1, 2) * (h - height)
    a = surface[int(y[0]) : int(y[0]) + height, x0 : x0 + width]
    b = surface[int(y[1]) : int(y[1]) + height, x0 + int(shift) : x0 + int(shift) + width]
    return two_fronts(np.ascontiguousarray(a), np.ascontiguousarray(b), rng, damage, one_photo=one_photo)

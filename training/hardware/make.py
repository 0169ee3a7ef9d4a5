"""A drawn panel with hardware by seed: the same seed and grounds always give the same picture and truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from training.hardware import grips, things
from training.hardware.glass import draw_glass
from training.hardware.shade import Canvas, capsule, soft, some_light, window
from training.hardware.traps import TRAPS
from vision.hardware.kinds import SEEN
from vision.resize import resize

#: Longer side of a picture and how much finer it is drawn; least radius of a hole that counts, px of the picture.
LONG_PX, FINER, LEAST_HOLE = 512, 1.5, 1.8
#: First seed of each part of the work; none reaches the next one's.
FIRST = {"fit": 100_000, "held_out": 200_000, "report": 300_000}
#: A thing with less contrast than this (grey levels) shows to nobody; label of its place.
LEAST_CONTRAST, UNKNOWN = 5.0, 255
LAYOUTS = ("drawer", "door", "fronts", "screws", "holes", "missing", "glass", "mixed", "nothing")
SHARES = (0.16, 0.17, 0.1, 0.1, 0.07, 0.09, 0.07, 0.1, 0.14)


@dataclass(frozen=True, eq=False)
class HardwarePicture:
    """`pixels`: (h, w, 3) uint8; `labels`: (h, w) uint8, 0, 1 + place in SEEN, or UNKNOWN; `truth`: (kind, (n, 2) hull, px);
    `layout`; `missing`: holes' middles of a missing pull (2, 2) or a row (n, 2), else None; `px_per_mm`; `traps`: names."""

    pixels: NDArray[np.uint8]
    labels: NDArray[np.uint8]
    truth: tuple[tuple[str, NDArray[np.float64]], ...]
    layout: str
    missing: NDArray[np.float64] | None
    px_per_mm: float
    traps: tuple[str, ...]


def ground_for(grounds: Sequence[NDArray[np.uint8]], size: tuple[int, int], rng: np.random.Generator) -> NDArray[np.float32]:
    """(h, w, 3) float 0..1 of a piece of one of the grounds, turned, mirrored, its light and colour changed."""
    h, w = size
    g = grounds[int(rng.integers(len(grounds)))]
    g = np.rot90(g, int(rng.integers(4)))
    if rng.random() < 0.5:
        g = g[:, ::-1]
    gh, gw = g.shape[:2]
    share = float(rng.uniform(0.35, 1.0))
    ch = max(1, min(gh, round(gh * share)))
    cw = max(1, min(gw, round(ch * w / h)))
    ch = max(1, min(gh, round(cw * h / w)))
    y, x = int(rng.integers(gh - ch + 1)), int(rng.integers(gw - cw + 1))
    out = resize(np.ascontiguousarray(g[y : y + ch, x : x + cw]), w, h)
    rgb = np.clip(out.astype(np.float32) / 255, 0, 1)
    rgb = rgb ** np.float32(rng.uniform(0.75, 1.4)) * np.asarray(rng.uniform(0.75, 1.15, 3) ** 0.6, np.float32)
    if rng.random() < 0.12:  # painted over
        coat = np.asarray(rng.uniform(0.05, 0.95) * rng.uniform(0.8, 1.0, 3), np.float32)
        rgb = coat + (rgb - rgb.mean(axis=(0, 1))) * np.float32(rng.uniform(0, 0.3))
    return np.clip(rgb, 0, 1).astype(np.float32)


class _Places:
    """Places where nothing was put yet."""

    def __init__(self) -> None:
        self.taken: list[tuple[float, float, float]] = []

    def free(self, x: float, y: float, reach: float) -> bool:
        if any(np.hypot(x - a, y - b) < reach + r for a, b, r in self.taken):
            return False
        self.taken.append((x, y, reach))
        return True


def _grips(canvas: Canvas, s: float, places: _Places, rng: np.random.Generator, xs: Sequence[float], y: float,
           upright: bool) -> None:
    """The same knob or pull at every x."""
    seed, knob = int(rng.integers(2**31)), rng.random() < 0.45
    for x in xs:
        own = np.random.default_rng(seed)
        if knob and places.free(x, y, 24 * s):
            grips.draw_knob(canvas, x, y, s, own)
        elif not knob and places.free(x, y, 60 * s):
            grips.draw_pull(canvas, x, y, s, own, np.pi / 2 if upright else 0.0)


def _beside(canvas: Canvas, other: NDArray[np.float32], rng: np.random.Generator) -> None:
    """What lies past the panel on one side: another surface, darker or lighter, behind a dark gap."""
    h, w = canvas.shape
    upright = rng.random() < 0.5
    long = w if upright else h
    wide = round(long * float(rng.uniform(0.02, 0.2)))
    first = rng.random() < 0.5
    cut = slice(0, wide) if first else slice(long - wide, long)
    gap = max(1, round(float(rng.uniform(0.5, 5))))
    line = slice(max(0, wide - gap), wide) if first else slice(long - wide, long - wide + gap)
    at, gap_at = ((slice(None), cut), (slice(None), line)) if upright else ((cut, slice(None)), (line, slice(None)))
    canvas.rgb[at] = np.clip(other[at] * np.float32(rng.uniform(0.3, 1.2)), 0, 1)
    canvas.rgb[gap_at] *= np.float32(rng.uniform(0.1, 0.7))


def _fronts(canvas: Canvas, s: float, places: _Places, rng: np.random.Generator) -> None:
    """Several drawers in one view, gaps between them, the same grips on each."""
    h, w = canvas.shape
    rows, columns = int(rng.integers(2, 6)), 2 if rng.random() < 0.3 and w > 640 * s else 1
    seed, gap = int(rng.integers(2**31)), max(1.0, float(rng.uniform(1.5, 5)) * s)
    knob, locks = rng.random() < 0.5, rng.random() < 0.2
    two = rng.random() < 0.5 and w / columns > (200 if knob else 560) * s  # long bars must not reach each other
    for r in range(1, rows):
        line = round(h * r / rows)
        canvas.rgb[line : line + round(gap)] *= np.float32(rng.uniform(0.1, 0.6))
        canvas.rgb[line + round(gap) : line + round(gap) + 2] *= np.float32(rng.uniform(0.9, 1.4))
    for c in range(1, columns):
        line = round(w * c / columns)
        canvas.rgb[:, line : line + round(gap)] *= np.float32(rng.uniform(0.1, 0.6))
    np.clip(canvas.rgb, 0, 1, out=canvas.rgb)
    for r in range(rows):
        for c in range(columns):
            y = h * (r + 0.5 + 0.05 * float(rng.normal())) / rows
            for t in ((0.25, 0.75) if two else (0.5,)):
                x = w * (c + t) / columns
                draw = grips.draw_knob if knob else grips.draw_pull
                if rng.random() < 0.95 and places.free(x, y, 14 * s):
                    draw(canvas, x, y, s, np.random.default_rng(seed))
            if locks and places.free(w * (c + 0.5) / columns, h * (r + 0.3) / rows, 12 * s):
                things.draw_keyhole(canvas, w * (c + 0.5) / columns, h * (r + 0.25) / rows, s, np.random.default_rng(seed))


def _screws(canvas: Canvas, s: float, places: _Places, rng: np.random.Generator, count: int) -> None:
    h, w = canvas.shape
    seed = int(rng.integers(2**31))
    for _ in range(count):
        edge, t, off = int(rng.integers(4)), rng.uniform(0.05, 0.95), rng.uniform(0.02, 0.2)
        x, y = ((t * w, off * h), (t * w, (1 - off) * h), (off * w, t * h), ((1 - off) * w, t * h))[edge]
        if places.free(x, y, 8 * s):
            things.draw_screw(canvas, x, y, s, np.random.default_rng(seed))


def _holes(canvas: Canvas, s: float, places: _Places, rng: np.random.Generator, missing: bool) -> NDArray[np.float64] | None:
    h, w = canvas.shape
    r = max(float(rng.uniform(2.0, 4.5)) * s, LEAST_HOLE * FINER)
    if missing:
        spacing = float(rng.choice(things.PULLS)) * s
        x, y = w / 2 * (1 + rng.normal(0, 0.06)), h * rng.uniform(0.3, 0.7)
        upright = rng.random() < 0.25
        at = [(x, y - spacing / 2), (x, y + spacing / 2)] if upright else [(x - spacing / 2, y), (x + spacing / 2, y)]
    else:
        n, pitch = int(rng.integers(1, 10)), 32.0 * s
        x, y = rng.uniform(0.05, 0.5) * w, rng.uniform(0.1, 0.9) * h
        at = [(x + k * pitch, y + rng.normal(0, 0.3)) for k in range(n)] if rng.random() < 0.6 else [
            (rng.uniform(0.05, 0.95) * w, rng.uniform(0.05, 0.95) * h) for _ in range(n)]
    margin = 2 * r
    if missing and not all(margin < a < w - margin and margin < b < h - margin for a, b in at):
        return None
    if missing and rng.random() < 0.4:  # the coat under the pull kept its colour, or its outline shows
        win = window(canvas, x, y, 3 * float(np.hypot(at[1][0] - at[0][0], at[1][1] - at[0][1])))
        ghost = cv2.GaussianBlur(soft(capsule(win, at[0], at[1], float(rng.uniform(4, 14)) * s)), (0, 0), 1.5)
        canvas.rgb[win.rows, win.columns] *= (1 + float(rng.uniform(-0.2, 0.2)) * ghost)[..., None]
    done = []
    core = np.asarray(rng.uniform(0.2, 0.7) * np.array([1, 0.8, 0.55]), np.float32)
    for a, b in at:
        if margin < a < w - margin and margin < b < h - margin and places.free(a, b, 1.5 * r):
            things.draw_hole(canvas, float(a), float(b), r * float(rng.uniform(0.93, 1.07)), rng, core)
            done.append((a, b))
    return np.array(done) if missing and len(done) == 2 else None


def make(seed: int, grounds: Sequence[NDArray[np.uint8]], layout: str | None = None) -> HardwarePicture:
    """A picture whose longer side has LONG_PX pixels.

    Parameters
    ----------
    grounds : (h, w, 3) uint8 faces without hardware to draw on.
    layout : one of LAYOUTS; None for one by chance.
    """
    rng = np.random.default_rng([seed, 41])
    layout = str(rng.choice(LAYOUTS, p=SHARES)) if layout is None else layout
    aspect = float(np.exp(rng.uniform(np.log(0.28), 0)))
    long, short = round(LONG_PX * FINER), max(round(90 * FINER), round(LONG_PX * FINER * aspect))
    h, w = (short, long) if (layout in ("drawer", "missing") and rng.random() < 0.85) or rng.random() < 0.5 else (long, short)
    canvas = Canvas(ground_for(grounds, (h, w), rng), np.zeros((h, w), np.uint8), some_light(rng))
    wide_mm = float(np.exp(rng.uniform(np.log(220), np.log(1500))))
    if layout in ("screws", "holes", "missing"):
        wide_mm = min(wide_mm, float(rng.uniform(200, 600)))
    elif layout == "fronts":
        wide_mm = float(rng.uniform(420, 1500))
    s = long / wide_mm
    names: list[str] = []
    if rng.random() < 0.25:
        _beside(canvas, ground_for(grounds, (h, w), rng), rng)

    def fool(most: int, only: Sequence[str] | None = None) -> None:
        for _ in range(int(rng.integers(0, most + 1))):
            name = str(rng.choice(list(only or TRAPS)))
            TRAPS[name](canvas, float(rng.uniform(0, w)), float(rng.uniform(0, h)), rng)
            names.append(name)

    # what lies under the hardware; shadows and gleams fall on it afterwards
    fool(6 if layout == "nothing" else 4)
    places, missing = _Places(), None
    if layout == "glass":
        draw_glass(canvas, rng, ground_for(grounds, (256, 256), rng))
    if layout == "drawer" or (layout == "glass" and rng.random() < 0.3):
        xs = [w / 2] if rng.random() < 0.45 else [w * float(q) for q in (lambda a: (a, 1 - a))(rng.uniform(0.12, 0.3))]
        if rng.random() < 0.35 and places.free(w / 2, h * 0.3, 22 * s):
            things.draw_keyhole(canvas, w / 2, h * float(rng.uniform(0.15, 0.4)), s, rng)
        _grips(canvas, s, places, rng, xs, h * float(rng.uniform(0.4, 0.6)), upright=False)
    elif layout == "door":
        side = int(rng.choice([-1, 1]))
        x = 0.0 if side > 0 else float(w)
        both, seed_hinge = rng.random() < 0.2, int(rng.integers(2**31))
        inset = float(rng.uniform(0, 8)) * s if not both else w * 0.4
        for share in (rng.uniform(0.08, 0.25), rng.uniform(0.72, 0.92)):
            if rng.random() < 0.85 and places.free(x + side * inset, h * share, 40 * s):
                things.draw_hinge(canvas, x + side * inset, h * float(share), s, np.random.default_rng(seed_hinge),
                                  0 if both else side)
        far = w * (0.92 if side > 0 else 0.08)
        _grips(canvas, s, places, rng, [far], h * float(rng.uniform(0.25, 0.75)), upright=rng.random() < 0.7)
        if rng.random() < 0.35 and places.free(far, h * 0.85, 22 * s):
            things.draw_keyhole(canvas, far, h * 0.83, s, rng)
    elif layout == "fronts":
        _fronts(canvas, s, places, rng)
    elif layout == "screws":
        _screws(canvas, s, places, rng, int(rng.integers(1, 8)))
    elif layout in ("holes", "missing"):
        missing = _holes(canvas, s, places, rng, layout == "missing")
    elif layout == "mixed":
        for _ in range(int(rng.integers(1, 5))):
            x, y = float(rng.uniform(0.05, 0.95) * w), float(rng.uniform(0.08, 0.92) * h)
            kind = int(rng.integers(5))
            if kind == 0 and places.free(x, y, 26 * s):
                grips.draw_knob(canvas, x, y, s, rng)
            elif kind == 1 and places.free(x, y, 70 * s):
                grips.draw_pull(canvas, x, y, s, rng, float(rng.choice([0.0, np.pi / 2]) + rng.normal(0, 0.1)))
            elif kind == 2 and places.free(x, y, 24 * s):
                things.draw_keyhole(canvas, x, y, s, rng)
            elif kind == 3 and places.free(x, y, 50 * s):
                things.draw_hinge(canvas, x, y, s, rng, int(rng.integers(-1, 2)))
            elif places.free(x, y, 8 * s):
                things.draw_screw(canvas, x, y, s, rng)
    fool(2, ("shadow", "gleam"))
    return _photographed(canvas, layout, missing, s / FINER, tuple(names), rng)


def _contrast(pixels: NDArray[np.uint8], inside: NDArray[np.uint8]) -> float:
    """Grey levels by which a thing differs from what lies about it, or from place to place."""
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    about = (cv2.dilate(inside, np.ones((9, 9), np.uint8)) > 0) & (inside == 0)
    mine, other = grey[inside > 0], grey[about]
    if not len(mine) or not len(other):
        return 0.0
    return float(max(abs(mine.mean() - other.mean()), mine.std() - other.std()))


def _photographed(canvas: Canvas, layout: str, missing: NDArray[np.float64] | None, px_per_mm: float, traps: tuple[str, ...],
                  rng: np.random.Generator) -> HardwarePicture:
    h, w = canvas.shape
    width, height = round(w / FINER), round(h / FINER)
    ys, xs = np.mgrid[0:h, 0:w].astype(np.float32)
    a = rng.uniform(0, 6.3)
    slope = 1 + np.float32(rng.uniform(0, 0.3)) * ((xs / w - 0.5) * np.cos(a) + (ys / h - 0.5) * np.sin(a)).astype(np.float32)
    rgb = np.clip(canvas.rgb * slope[..., None] * np.float32(rng.uniform(0.75, 1.1)), 0, 1)
    image = resize((rgb * 255).astype(np.uint8), width, height).astype(np.float32)
    if rng.random() < 0.6:
        image = np.asarray(cv2.GaussianBlur(image, (0, 0), float(rng.uniform(0.3, 1.5))), np.float32)
    image = image + rng.normal(0, rng.uniform(0.5, 5.0), image.shape).astype(np.float32)
    pixels = np.clip(image, 0, 255).astype(np.uint8)
    _, code = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(50, 96))])
    pixels = np.ascontiguousarray(np.asarray(cv2.imdecode(code, cv2.IMREAD_COLOR), np.uint8)[..., ::-1])
    labels = np.zeros((height, width), np.uint8)
    truth = []
    for kind, hull in canvas.truth:
        points = (hull + 0.5) / FINER - 0.5
        points = np.clip(points, 0, [width - 1, height - 1])
        if np.ptp(points[:, 0]) < 2.2 or np.ptp(points[:, 1]) < 2.2:
            continue
        plain = np.zeros_like(labels)
        cv2.fillConvexPoly(plain, np.round(points * 16).astype(np.int32), 1, cv2.LINE_8, 4)
        clear = _contrast(pixels, plain) >= LEAST_CONTRAST
        labels[plain > 0] = kind if clear else UNKNOWN
        if clear:
            truth.append((SEEN[kind - 1], points))
    at = None if missing is None else (missing + 0.5) / FINER - 0.5
    return HardwarePicture(pixels, labels, tuple(truth), layout, at, px_per_mm, traps)

"""Patterns that alternate as joints do and are none: inlay in bands, stacked drawers, keys, bricks, slats."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from training.joints import stuff
from training.joints.fittings import draw_knob, some_lamp
from training.joints.scenes import Scene, a_sheet
from training.joints.stuff import Image, Sheet


def _soft(cover: np.ndarray) -> np.ndarray:
    return np.asarray(cv2.GaussianBlur(cover.astype(np.float32), (0, 0), 0.6), np.float32)


def inlay(rng: np.random.Generator) -> Scene:
    """A border of alternating pieces let into a face, one to three courses deep, at the edge or a little way in."""
    sheet = a_sheet(rng, float(rng.uniform(90, 420)), float(rng.uniform(0.7, 2.2)))
    ground, one, two = (stuff.surface("wood", sheet, rng) for _ in range(3))
    if rng.random() < 0.4:
        one = ground
    xs, ys = sheet.axes()
    size, courses = float(rng.uniform(4, 25)), int(rng.integers(1, 4))
    long = size * float(rng.uniform(0.6, 2.5))
    at = sheet.height - size * courses - (0.0 if rng.random() < 0.3 else float(rng.uniform(2, 0.4 * sheet.height)))
    u, v = np.floor(xs / long)[None, :], np.floor((ys - at) / size)[:, None]
    inside = (v >= 0) & (v < courses)
    out = stuff.mix(ground, two, _soft(inside & ((u + v) % 2 == 0)))
    out = stuff.mix(out, one, _soft(inside & ((u + v) % 2 == 1)))
    if rng.random() < 0.5:  # strings on both sides
        line = np.asarray(rng.uniform(0.03, 0.9, 3), np.float32)
        for y in (at, at + size * courses):
            out = stuff.mix(out, np.asarray(line, np.float32), sheet.line((0, y), (sheet.width, y), float(rng.uniform(0.6, 2))))
    return Scene(out, sheet)


def drawers(rng: np.random.Generator) -> Scene:
    """Drawer fronts one above the other between stiles, with the dark gaps between them and knobs or none."""
    sheet = a_sheet(rng, float(rng.uniform(300, 1200)), float(rng.uniform(0.5, 1.3)))
    kind = str(rng.choice(["wood", "paint", "melamine", "print"]))
    case, front = stuff.surface(kind, sheet, rng), stuff.surface(kind if rng.random() < 0.6 else "wood", sheet, rng)
    stile = float(rng.uniform(0.0, 0.25)) * sheet.width
    pitch = sheet.height / int(rng.integers(3, 11))
    rail = pitch * float(rng.choice([0.03, rng.uniform(0.05, 0.45)]))
    lamp, out = some_lamp(rng), case
    y = pitch * float(rng.uniform(-0.4, 0.2))
    knob = float(rng.uniform(6, 16)) if rng.random() < 0.5 else 0.0
    seed = int(rng.integers(1, 999))
    while y < sheet.height:
        corners = np.array([[stile, y + rail / 2], [sheet.width - stile * float(rng.random() < 0.6), y + rail / 2],
                            [sheet.width - stile, y + pitch - rail / 2], [stile, y + pitch - rail / 2]])
        corners[1, 0] = corners[2, 0]
        cover = sheet.polygon(corners)
        gap = np.asarray(cv2.GaussianBlur(cover, (0, 0), 1.2), np.float32) - cover
        out = stuff.mix(out * (1 - 0.8 * np.clip(gap, 0, 1))[..., None], front * np.float32(rng.normal(1, 0.04)), cover)
        if knob and 0 < y + pitch / 2 < sheet.height:
            out = draw_knob(out, sheet, sheet.width / 2, y + pitch / 2, min(knob, 0.3 * pitch), lamp, np.random.default_rng(seed))
        y += pitch
    return Scene(np.clip(out, 0, 1).astype(np.float32), sheet)


def keys(rng: np.random.Generator) -> Scene:
    """Pale keys with dark shorter ones between, as on an instrument; or a tone ladder of that kind."""
    sheet = a_sheet(rng, float(rng.uniform(200, 700)), float(rng.uniform(1.2, 3.5)))
    wide = float(rng.uniform(13, 30))
    xs, ys = sheet.axes()
    pale = np.asarray(rng.uniform(0.75, 0.95) * np.array([1, 0.98, 0.92]), np.float32)
    out = np.broadcast_to(pale, (*sheet.shape, 3)).astype(np.float32) * (1 + 0.03 * stuff.clouds(sheet, 7, 30))[..., None]
    seam = (xs / wide) % 1.0
    out = out * (1 - 0.7 * _soft(np.broadcast_to((seam < 0.06)[None, :], sheet.shape)))[..., None]
    even = rng.random() < 0.4
    deep = float(rng.uniform(0.35, 0.68)) * sheet.height
    for k in range(int(sheet.width / wide) + 1):
        if even or k % 7 not in (2, 6):
            x = (k + 1) * wide
            half = 0.3 * wide
            black = sheet.polygon(np.array([[x - half, 0], [x + half, 0], [x + half, deep], [x - half, deep]]))
            out = stuff.mix(np.asarray(out, np.float32), np.asarray([0.04, 0.04, 0.045], np.float32), black)
    top = float(rng.uniform(0, 0.25)) * sheet.height
    case = stuff.surface("paint" if rng.random() < 0.3 else "wood", sheet, rng)
    return Scene(stuff.mix(np.asarray(out, np.float32), case, _soft(np.broadcast_to((ys < top)[:, None], sheet.shape))), sheet)


def bricks(rng: np.random.Generator) -> Scene:
    """Courses of bricks or tiles in bond, two tones or one with pale joints."""
    sheet = a_sheet(rng, float(rng.uniform(200, 900)), float(rng.uniform(0.8, 2.4)))
    xs, ys = sheet.axes()
    high = float(rng.uniform(15, 70))
    long = high * float(rng.uniform(1.0, 3.5))
    row = np.floor(ys / high)[:, None]
    u = xs[None, :] / long + 0.5 * (row % 2)
    tone = np.asarray(rng.normal(1, 0.12, 997), np.float32)[((np.floor(u) * 31 + row * 57) % 997).astype(int)]
    base = np.asarray(rng.uniform(0.2, 0.8) * np.array([1.0, rng.uniform(0.5, 1), rng.uniform(0.4, 1)]), np.float32)
    mortar = np.maximum((u % 1.0) * long < 0.12 * high, (ys[:, None] % high) < 0.12 * high)
    rgb = base * (tone * (1 + 0.1 * stuff.clouds(sheet, int(rng.integers(1, 999)), 9)))[..., None]
    pale = np.full(3, rng.uniform(0.1, 0.85), np.float32)
    return Scene(np.clip(stuff.mix(rgb.astype(np.float32), pale, _soft(mortar)), 0, 1), sheet)


def slats(rng: np.random.Generator) -> Scene:
    """Slats or spindles over a ground that shows between them, ending at a rail: a bed, a crib, a radiator, a blind."""
    sheet = a_sheet(rng, float(rng.uniform(250, 900)), float(rng.uniform(0.7, 2.2)))
    wood = stuff.surface(str(rng.choice(["wood", "paint"])), sheet, rng)
    behind: Image = stuff.surface(str(rng.choice(["paint", "wood", "fibreboard"])), sheet, rng)
    behind = behind * np.float32(rng.uniform(0.15, 1.0))
    xs, ys = sheet.axes()
    pitch, share = float(rng.uniform(15, 80)), float(rng.uniform(0.25, 0.75))
    phase = (xs / pitch) % 1.0
    round_ = 0.7 + 0.3 * np.sqrt(np.clip(1 - (2 * phase / share - 1) ** 2, 0, 1))
    rail = float(rng.uniform(0.08, 0.35)) * sheet.height
    cover = np.broadcast_to((phase < share)[None, :], sheet.shape) & np.broadcast_to((ys > rail)[:, None], sheet.shape)
    out = stuff.mix(behind, np.asarray(wood * round_[None, :, None], np.float32), _soft(cover))
    return Scene(stuff.mix(out, wood, _soft(np.broadcast_to((ys <= rail)[:, None], sheet.shape))), sheet)


def label(rng: np.random.Generator) -> Scene:
    """A sticker with bars of print on a face."""
    sheet: Sheet = a_sheet(rng, float(rng.uniform(80, 300)), float(rng.uniform(0.8, 2.0)))
    out = stuff.surface(str(rng.choice(["wood", "veneer", "melamine"])), sheet, rng)
    wide, high = float(rng.uniform(0.3, 0.7)) * sheet.width, float(rng.uniform(0.25, 0.6)) * sheet.height
    x, y = float(rng.uniform(0, sheet.width - wide)), float(rng.uniform(0, sheet.height - high))
    paper = np.array([[x, y], [x + wide, y], [x + wide, y + high], [x, y + high]])
    out = stuff.mix(out, np.asarray([0.9, 0.9, 0.87], np.float32), sheet.polygon(paper))
    u = x + 0.08 * wide
    while u < x + 0.92 * wide:
        thick = float(rng.choice([1, 2, 3, 4])) * wide / 90
        out = stuff.mix(out, np.asarray([0.08] * 3, np.float32), sheet.polygon(np.array(
            [[u, y + 0.1 * high], [u + thick, y + 0.1 * high], [u + thick, y + 0.7 * high], [u, y + 0.7 * high]])))
        u += thick + float(rng.choice([1, 2, 3])) * wide / 90
    return Scene(out, sheet)


PATTERNS: dict[str, Callable[[np.random.Generator], Scene]] = {
    "inlay": inlay, "drawers": drawers, "keys": keys, "bricks": bricks, "slats": slats, "label": label,
}

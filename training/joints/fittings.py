"""Round and small things on a surface: holes, cam housings, caps, screw heads, dowel ends, nails, staples, knobs, hinges.

Each `draw_*` paints on a (h, w, 3) sRGB 0..1 picture in mm coordinates under one light direction and gives the picture back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.joints import stuff
from training.joints.stuff import Image, Sheet

METALS = {"zinc": (0.66, 0.67, 0.69), "brass": (0.74, 0.58, 0.30), "steel": (0.52, 0.53, 0.55), "rust": (0.36, 0.22, 0.14),
          "bronze": (0.30, 0.23, 0.17), "black": (0.10, 0.10, 0.10), "nickel": (0.78, 0.77, 0.74)}


@dataclass(frozen=True)
class Lamp:
    """Direction on the picture from which light comes (unit vector) and its hardness 0..1."""

    x: float
    y: float
    hard: float


def some_lamp(rng: np.random.Generator) -> Lamp:
    about = rng.uniform(-2.6, -0.5)  # from above in most rooms
    return Lamp(float(np.cos(about)), float(np.sin(about)), float(rng.uniform(0.2, 1.0)))


def _toward(sheet: Sheet, x: float, y: float, radius: float, lamp: Lamp) -> NDArray[np.float32]:
    """(h, w) -1..1: how far a pixel lies on the lamp's side of a middle."""
    xs, ys = sheet.axes()
    return np.clip(((xs[None, :] - x) * lamp.x + (ys[:, None] - y) * lamp.y) / radius, -1.5, 1.5).astype(np.float32)


def _shadow(rgb: Image, sheet: Sheet, x: float, y: float, radius: float, high: float, lamp: Lamp, soft: float) -> Image:
    """Cast shadow of a disc `high` mm proud."""
    reach = high * (0.6 + 0.8 * lamp.hard)
    d = sheet.distance(x - lamp.x * reach, y - lamp.y * reach)
    cover = 1 / (1 + np.exp(np.clip((d - radius) / max(soft, 0.3 * sheet.texel), -30, 30)))
    return np.asarray(rgb * (1 - (0.25 + 0.4 * lamp.hard) * cover)[..., None], np.float32)


def draw_hole(rgb: Image, sheet: Sheet, x: float, y: float, radius: float, lamp: Lamp, rng: np.random.Generator,
              core: tuple[float, float, float] = (0.5, 0.38, 0.25)) -> Image:
    """Bored hole: dark, the wall away from the lamp catches some light, rim a little chipped."""
    xs, ys = sheet.axes()
    angle = np.arctan2(ys[:, None] - y, xs[None, :] - x)
    wobble = 1 + rng.uniform(0, 0.05) * np.cos(angle * int(rng.integers(3, 8)) + rng.uniform(0, 6))
    cover = np.clip((radius * wobble - sheet.distance(x, y)) / sheet.texel + 0.5, 0, 1).astype(np.float32)
    lit = np.clip(-_toward(sheet, x, y, radius, lamp) - 0.25, 0, 1) * (0.2 + 0.6 * lamp.hard)
    floor = np.asarray(core, np.float32) * np.float32(rng.uniform(0.08, 0.28))
    inside = floor + (np.asarray(core, np.float32) - floor) * (0.7 * lit)[..., None]
    rim = np.exp(-0.5 * ((sheet.distance(x, y) - radius) / max(0.35, sheet.texel)) ** 2) * rng.uniform(0, 0.25)
    rgb = rgb * (1 + (rng.choice([-1.0, 1.0]) * rim))[..., None]
    return stuff.mix(np.clip(rgb, 0, 1).astype(np.float32), inside.astype(np.float32), cover)


def _recess(sheet: Sheet, x: float, y: float, radius: float, kind: str, turn: float) -> NDArray[np.float32]:
    """Cover of a drive: 'cross', 'slot' or 'hex'."""
    if kind == "hex":
        corners = np.arange(6) * np.pi / 3 + turn
        return sheet.polygon(np.stack([x + 0.42 * radius * np.cos(corners), y + 0.42 * radius * np.sin(corners)], 1))
    if kind == "none":
        return np.zeros(sheet.shape, np.float32)
    out = np.zeros(sheet.shape, np.float32)
    for k in range(1 if kind == "slot" else 2):
        a = turn + k * np.pi / 2
        reach = (0.92 if kind == "slot" else 0.62) * radius
        d = np.array([np.cos(a), np.sin(a)]) * reach
        out = np.maximum(out, sheet.line((x - d[0], y - d[1]), (x + d[0], y + d[1]), 0.24 * radius))
    return out


def draw_head(rgb: Image, sheet: Sheet, x: float, y: float, radius: float, lamp: Lamp, rng: np.random.Generator, *, metal: str,
              drive: str, sunk: float = 0.0, domed: float = 0.0) -> Image:
    """Metal head of `radius` mm with a drive; `sunk`: width of the dark ring of its seat, mm; `domed`: how round it is."""
    colour = np.asarray(METALS[metal], np.float32) * np.float32(rng.uniform(0.85, 1.1))
    if sunk > 0:
        rgb = draw_hole(rgb, sheet, x, y, radius + sunk, lamp, rng)
    else:
        rgb = _shadow(rgb, sheet, x, y, radius, 0.25 * radius * (0.3 + domed), lamp, 0.25 * radius)
    toward = _toward(sheet, x, y, radius, lamp)
    shade = 1 + (0.12 + 0.4 * domed) * toward + 0.5 * domed * np.exp(-6 * ((toward - 0.45) ** 2)) * lamp.hard
    edge = np.clip(1 - (radius - sheet.distance(x, y)) / max(0.12 * radius, sheet.texel), 0, 1)
    shade = shade - 0.35 * edge
    head = np.clip(colour * shade[..., None] * (1 + 0.05 * stuff.clouds(sheet, int(rng.integers(1, 9999)), 1.5))[..., None], 0, 1)
    rgb = stuff.mix(rgb, head, sheet.disc(x, y, radius))
    turn = float(rng.uniform(0, np.pi))
    inside = _recess(sheet, x, y, radius, drive, turn)
    return stuff.mix(rgb, np.asarray(colour * np.float32(0.22)), inside * np.float32(rng.uniform(0.75, 1.0)))


def draw_cam(rgb: Image, sheet: Sheet, x: float, y: float, lamp: Lamp, rng: np.random.Generator, radius: float = 7.5) -> Image:
    """Cam housing: metal cylinder in a bored hole, flush, with cross or slot and an arrow notch, zinc or nickel."""
    metal = str(rng.choice(["zinc", "nickel", "steel"]))
    rgb = draw_head(rgb, sheet, x, y, radius - 0.25, lamp, rng, metal=metal, drive=str(rng.choice(["cross", "slot"])), sunk=0.45)
    # the notch in the rim towards the joint, and the cast ring
    a = float(rng.uniform(0, 2 * np.pi))
    notch = sheet.line((x + 0.7 * radius * np.cos(a), y + 0.7 * radius * np.sin(a)),
                       (x + radius * np.cos(a), y + radius * np.sin(a)), 0.22 * radius)
    ring = np.exp(-0.5 * ((sheet.distance(x, y) - 0.68 * radius) / (0.05 * radius)) ** 2) * 0.25
    rgb = rgb * (1 - ring)[..., None]
    return stuff.mix(np.asarray(rgb, np.float32), np.asarray([0.08, 0.08, 0.08], np.float32), notch * np.float32(0.8))


def draw_cap(rgb: Image, sheet: Sheet, x: float, y: float, radius: float, lamp: Lamp, rng: np.random.Generator,
             colour: NDArray[np.float32]) -> Image:
    """Plastic cover cap, a little proud and domed, near the colour of the face."""
    rgb = _shadow(rgb, sheet, x, y, radius, 0.9, lamp, 0.5)
    toward = _toward(sheet, x, y, radius, lamp)
    edge = np.clip(1 - (radius - sheet.distance(x, y)) / 1.0, 0, 1)
    shade = 1 + 0.05 * toward + 0.30 * edge * toward - 0.06 * edge
    return stuff.mix(rgb, np.clip(colour * shade[..., None], 0, 1), sheet.disc(x, y, radius))


def draw_dowel(rgb: Image, sheet: Sheet, x: float, y: float, radius: float, rng: np.random.Generator,
               finish: stuff.Finish) -> Image:
    """End of a beech or birch dowel, flush: end grain with a thin dark ring."""
    board = stuff.board_of(("beech_like", "birch_like", "maple_like"), rng)
    patch = Sheet(2 * radius + 2, 2 * radius + 2, sheet.texel)
    end = stuff.dressed(stuff.end_of(board, patch), finish, int(rng.integers(1, 9999)), sheet.texel)
    end = end * np.float32(rng.uniform(0.72, 1.0))
    full = np.zeros_like(rgb)
    top, left = round((y - radius - 1) / sheet.texel), round((x - radius - 1) / sheet.texel)
    y0, x0 = max(0, top), max(0, left)
    y1, x1 = min(rgb.shape[0], top + end.shape[0]), min(rgb.shape[1], left + end.shape[1])
    if y1 <= y0 or x1 <= x0:
        return rgb
    full[y0:y1, x0:x1] = end[y0 - top : y1 - top, x0 - left : x1 - left]
    rgb = stuff.mix(rgb, full, sheet.disc(x, y, radius))
    width = max(0.25, sheet.texel)
    ring = np.exp(-0.5 * ((sheet.distance(x, y) - radius) / width) ** 2) * rng.uniform(0.2, 0.6)
    return np.asarray(rgb * (1 - ring)[..., None], np.float32)


def draw_staple(rgb: Image, sheet: Sheet, p: tuple[float, float], q: tuple[float, float], lamp: Lamp,
                rng: np.random.Generator) -> Image:
    """Crown of a staple: a thin bright wire over its shadow, ends sunk."""
    wire = float(rng.uniform(0.9, 1.4))
    off = (-lamp.x * 0.7 * wire, -lamp.y * 0.7 * wire)
    shade = sheet.line((p[0] + off[0], p[1] + off[1]), (q[0] + off[0], q[1] + off[1]), 1.2 * wire)
    rgb = rgb * (1 - 0.55 * shade)[..., None]
    metal = np.asarray(METALS["nickel" if rng.random() < 0.7 else "rust"], np.float32) * np.float32(rng.uniform(0.9, 1.2))
    rgb = stuff.mix(np.asarray(rgb, np.float32), np.clip(metal, 0, 1), sheet.line(p, q, wire))
    for end in (p, q):
        rgb = rgb * (1 - 0.6 * sheet.disc(*end, 0.6 * wire))[..., None]
    return np.asarray(rgb, np.float32)


def draw_knob(rgb: Image, sheet: Sheet, x: float, y: float, radius: float, lamp: Lamp, rng: np.random.Generator) -> Image:
    """Turned or cast knob seen from the front: shaded dome with an inner ring and a long soft shadow."""
    wood = rng.random() < 0.45
    colour = (np.asarray(rng.uniform(0.2, 0.75) * np.array([1.0, 0.68, 0.45]), np.float32) if wood
              else np.asarray(METALS[str(rng.choice(["brass", "nickel", "black", "bronze"]))], np.float32))
    if not wood and rng.random() < 0.2:
        colour = np.asarray([0.9, 0.9, 0.87], np.float32)
    rgb = _shadow(rgb, sheet, x, y, radius, float(rng.uniform(0.5, 1.1)) * radius, lamp, 0.22 * radius)
    d = sheet.distance(x, y) / radius
    xs, ys = sheet.axes()
    nz = np.sqrt(np.clip(1 - np.minimum(d, 1) ** 2, 0, 1))
    side = ((xs[None, :] - x) * lamp.x + (ys[:, None] - y) * lamp.y) / radius
    shade = 0.55 + 0.35 * nz + 0.4 * side
    gloss = rng.uniform(0.1, 0.7) * np.exp(-18 * ((xs[None, :] - x - 0.35 * radius * lamp.x) ** 2
                                                   + (ys[:, None] - y - 0.35 * radius * lamp.y) ** 2) / radius**2)
    ring = 0.15 * np.exp(-0.5 * ((d - rng.uniform(0.5, 0.75)) / 0.05) ** 2)
    body = np.clip(colour * (shade - ring)[..., None] + gloss[..., None], 0, 1).astype(np.float32)
    return stuff.mix(rgb, body, sheet.disc(x, y, radius))


def draw_plate(rgb: Image, sheet: Sheet, corners: NDArray[np.float64], lamp: Lamp, metal: str, rng: np.random.Generator) -> Image:
    """Flat metal plate (hinge leaf, escutcheon) a little proud."""
    colour = np.asarray(METALS[metal], np.float32) * np.float32(rng.uniform(0.85, 1.1))
    shade = sheet.polygon(corners - np.array([lamp.x, lamp.y]) * 0.8)
    rgb = rgb * (1 - 0.4 * shade)[..., None]
    tone = 1 + 0.06 * stuff.clouds(sheet, int(rng.integers(1, 9999)), 8)
    plate = np.clip(colour * tone[..., None], 0, 1).astype(np.float32)
    return stuff.mix(np.asarray(rgb, np.float32), plate, sheet.polygon(corners))

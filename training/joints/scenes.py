"""One picture of each kind that `kinds.SHOWN` lists: what is drawn, on which surface, at which scale, and its truth in mm."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from training.joints import fittings, stuff, tails
from training.joints.fittings import METALS, some_lamp
from training.joints.kinds import CAM_MM, PERFORATED, PULLS, SYSTEM_HOLE, SYSTEM_PITCH
from training.joints.stuff import Image, Sheet
from training.joints.truth import GapTruth, RoundTruth, TailTruth


@dataclass(frozen=True, eq=False)
class Scene:
    """A drawn picture and its truth; places in mm of the sheet."""

    rgb: Image
    sheet: Sheet
    tails: TailTruth | None = None
    rounds: tuple[RoundTruth, ...] = ()
    strokes: NDArray[np.float64] | None = None
    gap: GapTruth | None = None
    pitch_mm: float = 0.0
    other: TailTruth | None = None
    extra: dict[str, float] = field(default_factory=dict)


#: Pixels of the longer side of the finished picture, and how much finer it is drawn.
LONG_PX, FINER = (260, 640), 1.5


def a_sheet(rng: np.random.Generator, long_mm: float, aspect: float, *, least_px_mm: float = 0.0) -> Sheet:
    """A sheet whose finished picture has LONG_PX pixels along its longer side, and at least so many pixels a mm."""
    px = float(rng.uniform(*LONG_PX))
    long_mm = min(long_mm, LONG_PX[1] / least_px_mm) if least_px_mm > 0 else long_mm
    px = max(px, least_px_mm * long_mm)
    return Sheet(long_mm, long_mm / aspect, long_mm / px / FINER)


def dovetail(rng: np.random.Generator, *, half_blind: bool) -> Scene:
    return _joint(tails.dovetail_plan(rng, half_blind=half_blind, hand=bool(rng.random() < 0.5)), rng)


def square(rng: np.random.Generator, *, fingers: bool) -> Scene:
    return _joint(tails.square_plan(rng, fingers=fingers), rng)


def _joint(plan: tails.Plan, rng: np.random.Generator) -> Scene:
    reach = plan.height * float(rng.uniform(0.25, 2.6)) if rng.random() < 0.7 else plan.depth * float(rng.uniform(0.5, 2.0))
    past = 0.0 if rng.random() < 0.6 else float(rng.uniform(0.5, 0.25 * plan.height))
    long_mm = max(plan.height, reach + plan.depth + plan.lap + past)
    px = float(rng.uniform(*LONG_PX))
    # a joint under ten pixels deep shows nothing to anybody
    px = min(max(px, 10.0 / plan.depth * long_mm), 640.0)
    rgb, sheet, truth = tails.draw(plan, rng, reach=reach, past=past, texel=long_mm / px / FINER)
    return Scene(rgb, sheet, tails=truth)


def corner(rng: np.random.Generator) -> Scene:
    """A dovetailed corner seen from outside: tails on one face, pins on the other, both running away from the arris."""
    plan = tails.dovetail_plan(rng, half_blind=False, hand=bool(rng.random() < 0.6))
    woods = tails.some_woods(rng)
    pins = tails.other_face(plan, float(rng.uniform(8, 18)))
    least = min(plan.depth, pins.depth)
    texel = max(plan.height / 640.0, min(plan.height / float(rng.uniform(300, 640)), least / 14.0)) / FINER
    reach = [float(rng.uniform(0.15, 1.6)) * plan.height for _ in range(2)] if rng.random() < 0.5 else [least, least]
    one, _, truth = tails.draw(plan, rng, reach=reach[0], past=0.0, texel=texel, woods=woods)
    turned = tails.Woods(woods.other, woods.side, woods.finish, woods.seed + 2)
    two, _, pin_truth = tails.draw(pins, rng, reach=reach[1], past=0.0, texel=texel, woods=turned)
    shrink = rng.uniform(0.5, 0.95, 2)
    far = rng.uniform(0.78, 0.98, 2)
    h = one.shape[0]
    ground = np.asarray(rng.uniform(0.1, 0.7) * (1 + rng.normal(0, 0.05, 3)), np.float32)
    faces, matrices = [], []
    for k, image in enumerate((one, two[:, ::-1])):
        w = image.shape[1]
        wide = max(16, round(w * shrink[k]))
        low = 0.5 * h * (1 - far[k])
        source = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32) - 0.5
        near, away = (wide, 0) if k == 0 else (0, wide)  # the arris is the right side of the first face, the left of the second
        aim = {near: (0.0, float(h)), away: (low, h - low)}
        target = np.array([[0, aim[0][0]], [wide, aim[wide][0]], [wide, aim[wide][1]], [0, aim[0][1]]], np.float32) - 0.5
        matrix = cv2.getPerspectiveTransform(source, target)
        faces.append(cv2.warpPerspective(np.ascontiguousarray(image), matrix, (wide, h), flags=cv2.INTER_AREA,
                                         borderMode=cv2.BORDER_CONSTANT, borderValue=tuple(float(v) for v in ground)))
        matrices.append(np.asarray(matrix, np.float64))
    dark = int(rng.integers(0, 2))
    faces[dark] = faces[dark] * np.float32(rng.uniform(0.45, 0.9))  # one face is turned from the light
    rgb = np.concatenate(faces, axis=1)
    sheet = Sheet(rgb.shape[1] * texel, h * texel, texel)

    def at(points: NDArray[np.float64], k: int) -> NDArray[np.float64]:
        p = points.reshape(-1, 2) / texel - 0.5
        if k:  # the second face was mirrored and stands beside the first
            p = np.stack([two.shape[1] - 1 - p[:, 0], p[:, 1]], axis=1)
        q = np.c_[p, np.ones(len(p))] @ matrices[k].T
        on = q[:, :2] / q[:, 2:] + 0.5 + np.array([faces[0].shape[1] * k, 0])
        return np.asarray(on * texel).reshape(points.shape)

    # slanted views change angles on the picture: none is true of it
    seen = [TailTruth(at(t.sides, k), at(t.pins, k), float("nan"), t.angles, t.hand, t.whole_tails)
            for k, t in enumerate((truth, pin_truth))]
    return Scene(np.clip(rgb, 0, 1).astype(np.float32), sheet, tails=seen[0], other=seen[1])


def _spots(sheet: Sheet, rng: np.random.Generator, inset: tuple[float, float],
           count: tuple[int, int]) -> list[tuple[float, float]]:
    """Places along one or two edges, `inset` mm from them, unevenly or evenly spread."""
    out: list[tuple[float, float]] = []
    for edge in rng.permutation(4)[: int(rng.integers(1, 3))]:
        n = int(rng.integers(count[0], count[1] + 1))
        off = float(rng.uniform(*inset))
        t = np.linspace(rng.uniform(0.06, 0.2), rng.uniform(0.8, 0.94), n) if n > 1 else np.array([rng.uniform(0.2, 0.8)])
        for s in t + rng.normal(0, 0.004, n):
            x, y = ((s * sheet.width, off), (s * sheet.width, sheet.height - off),
                    (off, s * sheet.height), (sheet.width - off, s * sheet.height))[int(edge)]
            if all(np.hypot(x - a, y - b) > 3 * inset[0] for a, b in out):
                out.append((float(x), float(y)))
    return out


def dowels(rng: np.random.Generator) -> Scene:
    radius = float(rng.choice([3.0, 4.0, 5.0, 6.0]))
    sheet = a_sheet(rng, float(rng.uniform(110, 320)), float(rng.uniform(0.7, 2.4)), least_px_mm=4.0 / radius)
    finish = stuff.some_finish(rng, bare=0.5)
    board = stuff.board_of(stuff.PRIMARY + stuff.SECONDARY, rng)
    rgb = stuff.dressed(stuff.face(board, sheet, upright=bool(rng.random() < 0.5)), finish, 5, sheet.texel)
    found = _spots(sheet, rng, (8.0, 14.0), (2, 5))
    for x, y in found:
        rgb = fittings.draw_dowel(rgb, sheet, x, y, radius, rng, finish)
    return Scene(rgb, sheet, rounds=tuple(RoundTruth("dowel", x, y, radius, 2 * radius) for x, y in found))


def board_fittings(rng: np.random.Generator, *, kind: str) -> Scene:
    """Cam housings, cover caps or connector screws near the edges of a board."""
    radius = {"cam": CAM_MM / 2, "cap": float(rng.uniform(7.5, 10.0)), "screw": float(rng.uniform(4.8, 5.4))}[kind]
    sheet = a_sheet(rng, float(rng.uniform(180, 700)), float(rng.uniform(0.6, 2.6)), least_px_mm=4.0 / radius)
    stuff_kind = str(rng.choice(["melamine", "print", "particle", "veneer", "wood"], p=[0.4, 0.35, 0.05, 0.1, 0.1]))
    rgb = stuff.surface(stuff_kind, sheet, rng)
    lamp = some_lamp(rng)
    colour = np.asarray(np.median(rgb.reshape(-1, 3), axis=0) * rng.uniform(0.75, 1.15) + rng.normal(0, 0.02, 3), np.float32)
    if rng.random() < 0.25:
        colour = np.asarray(METALS["black"] if rng.random() < 0.5 else (0.9, 0.89, 0.86), np.float32)
    found = _spots(sheet, rng, (24.0, 36.0) if kind == "cam" else (8.0, 11.0), (2, 4))
    for x, y in found:
        if kind == "cam":
            rgb = fittings.draw_cam(rgb, sheet, x, y, lamp, rng)
        elif kind == "cap":
            rgb = fittings.draw_cap(rgb, sheet, x, y, radius, lamp, rng, colour)
        else:
            rgb = fittings.draw_head(rgb, sheet, x, y, radius, lamp, rng, metal=str(rng.choice(["zinc", "nickel", "brass"])),
                                     drive="hex", sunk=float(rng.uniform(0, 0.4)))
    return Scene(rgb, sheet, rounds=tuple(RoundTruth(kind, x, y, radius, 2 * radius) for x, y in found))


def screws(rng: np.random.Generator) -> Scene:
    radius = float(rng.uniform(2.8, 4.8))
    sheet = a_sheet(rng, float(rng.uniform(90, 320)), float(rng.uniform(0.6, 2.6)), least_px_mm=4.0 / radius)
    rgb = stuff.surface(str(rng.choice(["wood", "ply", "paint", "hardboard", "fibreboard", "veneer"])), sheet, rng)
    lamp = some_lamp(rng)
    metal, drive = str(rng.choice(["zinc", "brass", "steel", "rust", "black"])), str(rng.choice(["cross", "slot"]))
    found = _spots(sheet, rng, (8.0, 25.0), (1, 5))
    for x, y in found:
        rgb = fittings.draw_head(rgb, sheet, x, y, radius, lamp, rng, metal=metal, drive=drive, sunk=float(rng.uniform(0, 0.5)),
                                 domed=0.0 if drive == "slot" or rng.random() < 0.6 else 0.6)
    return Scene(rgb, sheet, rounds=tuple(RoundTruth("screw", x, y, radius, 2 * radius) for x, y in found))


def nails(rng: np.random.Generator) -> Scene:
    radius = float(rng.uniform(1.2, 3.2))
    sheet = a_sheet(rng, float(rng.uniform(60, 220)), float(rng.uniform(0.6, 2.6)), least_px_mm=2.2 / radius)
    rgb = stuff.surface(str(rng.choice(["wood", "ply", "hardboard", "paint"], p=[0.45, 0.2, 0.25, 0.1])), sheet, rng)
    lamp = some_lamp(rng)
    metal = str(rng.choice(["rust", "steel", "zinc", "black"]))
    found = _spots(sheet, rng, (4.0, 10.0), (3, 8))
    for x, y in found:
        if metal == "rust":  # iron stains the wood about it
            halo = np.exp(-((sheet.distance(x, y) / (2.4 * radius)) ** 2)) * rng.uniform(0.1, 0.5)
            rgb = np.asarray(rgb * (1 - halo)[..., None], np.float32)
        rgb = fittings.draw_head(rgb, sheet, x, y, radius, lamp, rng, metal=metal, drive="none", sunk=float(rng.uniform(0, 0.3)),
                                 domed=float(rng.uniform(0, 0.5)))
    return Scene(rgb, sheet, rounds=tuple(RoundTruth("nail", x, y, radius, 2 * radius) for x, y in found))


def staples(rng: np.random.Generator) -> Scene:
    sheet = a_sheet(rng, float(rng.uniform(90, 300)), float(rng.uniform(0.7, 2.6)), least_px_mm=1.5)
    rgb = stuff.surface(str(rng.choice(["hardboard", "ply", "fibreboard"], p=[0.55, 0.25, 0.2])), sheet, rng)
    lamp = some_lamp(rng)
    crown = float(rng.choice([6.0, 10.0, 11.0, 12.0]))
    strokes, off, edge, n = [], float(rng.uniform(4, 9)), int(rng.integers(0, 4)), int(rng.integers(3, 9))
    along = sheet.width if edge < 2 else sheet.height
    lean = float(rng.choice([0.0, np.pi / 2, 0.5])) + float(rng.normal(0, 0.1))
    for s in np.linspace(0.08, 0.92, n) + rng.normal(0, 0.012, n):
        x, y = ((s * along, off), (s * along, sheet.height - off), (off, s * along), (sheet.width - off, s * along))[edge]
        a = lean + rng.normal(0, 0.12) + (np.pi / 2 if edge >= 2 else 0)
        d = np.array([np.cos(a), np.sin(a)]) * crown / 2
        p, q = (float(x - d[0]), float(y - d[1])), (float(x + d[0]), float(y + d[1]))
        rgb = fittings.draw_staple(rgb, sheet, p, q, lamp, rng)
        strokes.append((p, q))
    return Scene(rgb, sheet, strokes=np.array(strokes))


def shelf_holes(rng: np.random.Generator) -> Scene:
    n = int(rng.integers(5, 22))
    long_mm = SYSTEM_PITCH * (n + float(rng.uniform(0, 4)))
    sheet = a_sheet(rng, long_mm, float(rng.uniform(0.8, 3.0)), least_px_mm=0.85)
    n = min(n, int(sheet.width / SYSTEM_PITCH) - 1)
    rgb = stuff.surface(str(rng.choice(["melamine", "print", "veneer", "wood"], p=[0.4, 0.35, 0.15, 0.1])), sheet, rng)
    lamp = some_lamp(rng)
    start = float(rng.uniform(0.5, 1.0)) * SYSTEM_PITCH
    rows = [37.0, sheet.height - 37.0] if sheet.height > 130 else [0.5 * sheet.height]
    found = []
    for y in rows[: int(rng.integers(1, 3))]:
        found += [(start + k * SYSTEM_PITCH, float(y)) for k in range(n)]
    for x, y in found:
        rgb = fittings.draw_hole(rgb, sheet, x, y, SYSTEM_HOLE / 2, lamp, rng)
    holes = tuple(RoundTruth("hole", x, y, SYSTEM_HOLE / 2, SYSTEM_HOLE) for x, y in found)
    return Scene(rgb, sheet, rounds=holes, pitch_mm=SYSTEM_PITCH)


def missing_pull(rng: np.random.Generator) -> Scene:
    spacing = float(rng.choice(PULLS))
    radius = float(rng.uniform(2.0, 3.2))
    sheet = a_sheet(rng, spacing * float(rng.uniform(2.0, 4.5)), float(rng.uniform(1.6, 4.0)), least_px_mm=1.9 / radius)
    rgb = stuff.surface(str(rng.choice(["wood", "veneer", "print", "paint", "melamine"])), sheet, rng)
    lamp = some_lamp(rng)
    cx, cy = sheet.width / 2 * (1 + rng.normal(0, 0.012)), sheet.height * float(rng.uniform(0.35, 0.6))
    found = [(float(cx + s * spacing / 2), float(cy + rng.normal(0, 0.3))) for s in (-1, 1)]
    if rng.random() < 0.4:  # the finish under the pull kept its colour
        ghost = sheet.line((found[0][0], cy), (found[1][0], cy), float(rng.uniform(10, 26)))
        rgb = np.clip(rgb * (1 + rng.choice([-0.12, 0.10]) * cv2.GaussianBlur(ghost, (0, 0), 2.0))[..., None], 0, 1)
    for x, y in found:
        rgb = fittings.draw_hole(np.asarray(rgb, np.float32), sheet, x, y, radius, lamp, rng)
    return Scene(np.asarray(rgb, np.float32), sheet, rounds=tuple(RoundTruth("hole", x, y, radius, 2 * radius) for x, y in found),
                 pitch_mm=spacing)


def perforated(rng: np.random.Generator) -> Scene:
    pitch, width = PERFORATED[int(rng.integers(0, len(PERFORATED)))]
    sheet = a_sheet(rng, pitch * float(rng.uniform(6, 18)), float(rng.uniform(0.8, 2.2)), least_px_mm=3.6 / width)
    rgb = stuff.surface("hardboard" if rng.random() < 0.7 else "paint", sheet, rng)
    lamp = some_lamp(rng)
    x0, y0 = rng.uniform(0.2, 0.9, 2) * pitch
    found = [(float(x), float(y)) for x in np.arange(x0, sheet.width, pitch) for y in np.arange(y0, sheet.height, pitch)]
    for x, y in found:
        rgb = fittings.draw_hole(rgb, sheet, x, y, width / 2, lamp, rng, core=(0.3, 0.2, 0.12))
    return Scene(rgb, sheet, rounds=tuple(RoundTruth("hole", x, y, width / 2, width) for x, y in found), pitch_mm=pitch)


def knobs(rng: np.random.Generator) -> Scene:
    radius = float(rng.uniform(12, 21))
    sheet = a_sheet(rng, float(rng.uniform(260, 800)), float(rng.uniform(1.6, 4.2)), least_px_mm=5.0 / radius)
    rgb = stuff.surface(str(rng.choice(["wood", "veneer", "print", "paint"])), sheet, rng)
    lamp = some_lamp(rng)
    y = sheet.height / 2
    xs = [sheet.width / 2] if sheet.width < 350 or rng.random() < 0.3 else [0.2 * sheet.width, 0.8 * sheet.width]
    for x in xs:
        rgb = fittings.draw_knob(rgb, sheet, x, y, radius, lamp, np.random.default_rng(int(rng.integers(1, 9))))
    return Scene(rgb, sheet, rounds=tuple(RoundTruth("knob", float(x), y, radius, 2 * radius) for x in xs))


def keyhole(rng: np.random.Generator) -> Scene:
    sheet = a_sheet(rng, float(rng.uniform(120, 500)), float(rng.uniform(1.4, 3.5)), least_px_mm=1.0)
    rgb = stuff.surface(str(rng.choice(["wood", "veneer"])), sheet, rng)
    lamp = some_lamp(rng)
    x, y = sheet.width / 2, sheet.height * float(rng.uniform(0.25, 0.45))
    if rng.random() < 0.55:
        a = np.linspace(0, 2 * np.pi, 40)
        shape = np.stack([x + rng.uniform(8, 12) * np.cos(a), y + 3 + rng.uniform(13, 20) * np.sin(a)], 1)
        rgb = fittings.draw_plate(rgb, sheet, shape, lamp, str(rng.choice(["brass", "bronze", "nickel"])), rng)
    r = float(rng.uniform(2.4, 3.6))
    slot = np.array([[x - 0.45 * r, y], [x + 0.45 * r, y], [x + 0.65 * r, y + 3.4 * r], [x - 0.65 * r, y + 3.4 * r]])
    cover = np.maximum(sheet.disc(x, y, r), sheet.polygon(slot))
    return Scene(stuff.mix(rgb, np.asarray([0.05, 0.04, 0.03], np.float32), cover), sheet)


def hinge(rng: np.random.Generator) -> Scene:
    sheet = a_sheet(rng, float(rng.uniform(130, 420)), float(rng.uniform(0.6, 2.2)), least_px_mm=1.0)
    rgb = stuff.surface(str(rng.choice(["wood", "veneer", "melamine", "paint"])), sheet, rng)
    lamp, metal = some_lamp(rng), str(rng.choice(["brass", "nickel", "steel", "black"]))
    middle = sheet.height * float(rng.uniform(0.3, 0.7))
    long, wide = float(rng.uniform(38, 70)), float(rng.uniform(12, 22))
    plate = np.array([[0, middle - long / 2], [wide, middle - long / 2], [wide, middle + long / 2], [0, middle + long / 2]])
    rgb = fittings.draw_plate(rgb, sheet, plate, lamp, metal, rng)
    for k in range(3):
        rgb = fittings.draw_head(rgb, sheet, wide * 0.55, middle + (k - 1) * 0.34 * long, 2.8, lamp, rng, metal=metal,
                                 drive="slot" if rng.random() < 0.5 else "cross")
    barrel = sheet.line((0, middle - long / 2), (0, middle + long / 2), 6.0)
    rgb = stuff.mix(rgb, np.asarray(METALS[metal], np.float32) * np.float32(1.1), barrel)
    for k in range(1, 5):
        y = middle + (k / 5 - 0.5) * long
        rgb = np.asarray(rgb * (1 - 0.6 * sheet.line((0, y), (3, y), 0.5))[..., None], np.float32)
    return Scene(rgb, sheet)


def gap(rng: np.random.Generator) -> Scene:
    """Two boards that meet at a joint which has opened towards one end."""
    sheet = a_sheet(rng, float(rng.uniform(110, 400)), float(rng.uniform(0.7, 1.8)), least_px_mm=1.0)
    wood = str(rng.choice(["wood", "paint"], p=[0.75, 0.25]))
    rgb, other = stuff.surface(wood, sheet, rng), stuff.surface(wood, sheet, rng)
    x, lean = sheet.width * float(rng.uniform(0.3, 0.7)), float(rng.normal(0, 0.01))
    top, bottom = (x, 0.0), (x + lean * sheet.height, sheet.height)
    right = np.array([top, (sheet.width, 0), (sheet.width, sheet.height), bottom])
    rgb = stuff.mix(rgb, other if wood == "wood" else rgb, sheet.polygon(right))
    wide = float(rng.uniform(1.6, 5.0))
    closed = float(rng.uniform(0.0, 0.45)) * sheet.height
    p = np.array([top[0] + lean * closed, closed])
    cover = sheet.polygon(np.array([p, [bottom[0] - wide / 2, bottom[1]], [bottom[0] + wide / 2, bottom[1]]]))
    rgb = np.asarray(rgb * (1 - 0.5 * sheet.line(top, bottom, 0.25))[..., None], np.float32)
    inside = np.asarray(np.array([0.10, 0.075, 0.05]) * rng.uniform(0.3, 1.6), np.float32)
    line = np.array([p, [bottom[0], bottom[1]]])
    return Scene(stuff.mix(rgb, inside, cover), sheet, gap=GapTruth(line, wide))


def relief(rng: np.random.Generator) -> Scene:
    """Flutes, beads or a turned roundel cut into wood: shading follows the shape, figure runs through it."""
    sheet = a_sheet(rng, float(rng.uniform(90, 300)), float(rng.uniform(0.8, 2.4)), least_px_mm=1.2)
    rgb = stuff.surface("wood", sheet, rng)
    lamp = some_lamp(rng)
    xs, ys = sheet.axes()
    height = np.zeros(sheet.shape)
    if rng.random() < 0.6:
        pitch, depth = float(rng.uniform(7, 18)), float(rng.uniform(1.2, 4.0))
        across = ys[:, None] if rng.random() < 0.5 else xs[None, :] * np.ones((len(ys), 1))
        start, n = 0.2 * float(np.max(across)), int(rng.integers(3, 8))
        inside = (across > start) & (across < start + n * pitch)
        height = np.where(inside, depth * np.abs(np.sin(np.pi * (across - start) / pitch)), 0.0) * np.ones(sheet.shape)
    else:
        radius, depth = float(rng.uniform(16, 0.45 * sheet.height)), float(rng.uniform(1.5, 4.0))
        d = sheet.distance(sheet.width * float(rng.uniform(0.35, 0.65)), sheet.height / 2)
        height = np.where(d < radius, depth * np.sin(d / radius * np.pi * int(rng.integers(2, 4))) ** 2, 0.0)
    smooth = cv2.GaussianBlur(height.astype(np.float32), (0, 0), max(1.0, 0.5 / sheet.texel))
    gy, gx = np.gradient(smooth, sheet.texel)
    shade = 1 + (0.35 + 0.5 * lamp.hard) * np.clip(-(gx * lamp.x + gy * lamp.y), -0.9, 0.9)
    return Scene(np.clip(rgb * shade[..., None], 0, 1).astype(np.float32), sheet)


SCENES: dict[str, Callable[[np.random.Generator], Scene]] = {
    "dovetail_through": lambda r: dovetail(r, half_blind=False), "dovetail_half_blind": lambda r: dovetail(r, half_blind=True),
    "dovetail_corner": corner,
    "dovetail_pins": lambda r: square(r, fingers=False), "finger_joint": lambda r: square(r, fingers=True),
    "dowels": dowels, "staples": staples, "nails": nails, "screws": screws,
    "cams": lambda r: board_fittings(r, kind="cam"), "covers": lambda r: board_fittings(r, kind="cap"),
    "connector_screws": lambda r: board_fittings(r, kind="screw"), "shelf_holes": shelf_holes, "keyhole": keyhole,
    "missing_pull": missing_pull, "knobs": knobs, "hinge": hinge, "gap": gap, "perforated": perforated, "relief": relief,
}

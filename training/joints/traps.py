"""Pictures without joints or fittings: plain and knotty boards, raw backs, and patterns that look like joints."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from training.joints import stuff, tails
from training.joints.scenes import Scene, a_sheet
from training.joints.stuff import Sheet
from vision.resize import resize_map


def plain(rng: np.random.Generator) -> Scene:
    sheet = a_sheet(rng, float(rng.uniform(120, 900)), float(rng.uniform(0.6, 3.0)))
    return Scene(stuff.surface(str(rng.choice(["wood", "veneer", "print", "paint", "melamine"])), sheet, rng), sheet)


def knots(rng: np.random.Generator) -> Scene:
    sheet = a_sheet(rng, float(rng.uniform(200, 600)), float(rng.uniform(0.8, 2.4)))
    board = stuff.board_of(("pine_like", "spruce_like", "fir_like"), rng, knots=float(rng.uniform(8, 22)))
    return Scene(stuff.dressed(stuff.face(board, sheet), stuff.some_finish(rng), 3, sheet.texel), sheet)


def boards(rng: np.random.Generator) -> Scene:
    """Staves glued side by side and end to end, staggered: joints everywhere, none of them a corner joint."""
    sheet = a_sheet(rng, float(rng.uniform(200, 700)), float(rng.uniform(0.8, 2.4)))
    out = np.zeros((*sheet.shape, 3), np.float32)
    wide, finish, y = float(rng.uniform(25, 60)), stuff.some_finish(rng), 0.0
    names = (str(rng.choice(stuff.SECONDARY)),)
    while y < sheet.height:
        x = -float(rng.uniform(0, 250))
        while x < sheet.width:
            long = float(rng.uniform(120, 420))
            x0, x1 = round(max(0.0, x) / sheet.texel), round(min(sheet.width, x + long) / sheet.texel)
            y0, y1 = round(y / sheet.texel), min(out.shape[0], round((y + wide) / sheet.texel))
            if x1 > x0 + 1 and y1 > y0 + 1:
                part = Sheet((x1 - x0) * sheet.texel, (y1 - y0) * sheet.texel, sheet.texel)
                rgb = stuff.dressed(stuff.face(stuff.board_of(names, rng), part), finish, 3, sheet.texel)
                rgb = resize_map(rgb, x1 - x0, y1 - y0) * np.float32(rng.normal(1, 0.05))
                rgb[:, 0] *= 0.85
                rgb[0] *= 0.88
                out[y0:y1, x0:x1] = rgb[:, : max(0, out.shape[1] - x0)]
            x += long
        y += wide
    return Scene(np.clip(out, 0, 1), sheet)


def plies(rng: np.random.Generator) -> Scene:
    from training.figure.cores import plywood_edge

    count = int(rng.choice([5, 7, 9, 11, 13]))
    thick = count * 1.38
    sheet = a_sheet(rng, thick * float(rng.uniform(4, 9)), float(rng.uniform(3.5, 8)))
    texel = sheet.texel * thick / sheet.height
    rgb = plywood_edge(sheet.shape, texel, count, int(rng.integers(1, 2**30)), face_grain_along=bool(rng.random() < 0.5)).rgb
    return Scene(np.asarray(rgb, np.float32), sheet)


def books(rng: np.random.Generator) -> Scene:
    sheet = a_sheet(rng, float(rng.uniform(200, 450)), float(rng.uniform(0.8, 2.0)))
    out = np.full((*sheet.shape, 3), 0.06, np.float32)
    x = 0.0
    while x < sheet.width:
        wide, high = float(rng.uniform(9, 40)), float(rng.uniform(0.6, 0.98)) * sheet.height
        colour = np.asarray(rng.uniform(0.1, 0.85, 3), np.float32)
        cover = sheet.polygon(np.array([[x, sheet.height - high], [x + wide, sheet.height - high], [x + wide, sheet.height + 5],
                                        [x, sheet.height + 5]]))
        xs, _ = sheet.axes()
        round_back = 0.6 + 0.4 * np.sqrt(np.clip(1 - ((xs - x - wide / 2) / (0.5 * wide)) ** 2, 0, 1))[None, :]
        out = stuff.mix(out, np.asarray(colour * round_back[..., None] * np.ones((sheet.shape[0], 1, 1)), np.float32), cover)
        for _ in range(int(rng.integers(0, 4))):
            y = sheet.height - high * float(rng.uniform(0.1, 0.95))
            band = sheet.line((x + 2, y), (x + wide - 2, y), float(rng.uniform(1, 8)))
            out = stuff.mix(out, np.asarray(rng.uniform(0.2, 0.95, 3), np.float32), band)
        x += wide + float(rng.uniform(0.3, 1.5))
    return Scene(out, sheet)


def louvre(rng: np.random.Generator) -> Scene:
    sheet = a_sheet(rng, float(rng.uniform(200, 500)), float(rng.uniform(0.6, 2.0)))
    rgb = stuff.surface(str(rng.choice(["wood", "paint"])), sheet, rng)
    _, ys = sheet.axes()
    pitch = float(rng.uniform(14, 35))
    phase = (ys / pitch) % 1.0
    shade = 0.45 + 0.6 * np.clip(phase * 1.3, 0, 1)
    shade[phase < 0.14] = 0.18
    stile = float(rng.uniform(20, 45))
    out = rgb * shade[:, None, None]
    out[:, : round(stile / sheet.texel)] = rgb[:, : round(stile / sheet.texel)]
    return Scene(np.asarray(out, np.float32), sheet)


def shadow(rng: np.random.Generator) -> Scene:
    """A board with the shadow of a lattice, slats or a plant across it."""
    sheet = a_sheet(rng, float(rng.uniform(200, 600)), float(rng.uniform(0.8, 2.4)))
    rgb = stuff.surface("wood", sheet, rng)
    cover = np.zeros(sheet.shape, np.float32)
    pitch = float(rng.uniform(15, 60))
    for k in range(int(sheet.width / pitch) + 2):
        x, lean = k * pitch, float(rng.uniform(-0.2, 0.2)) * pitch
        end = (x + lean, sheet.height * float(rng.uniform(0.2, 1.0)))
        cover = np.maximum(cover, sheet.line((x, 0), end, pitch * float(rng.uniform(0.3, 0.55))))
    soft = cv2.GaussianBlur(cover, (0, 0), float(rng.uniform(0.5, 5)) / sheet.texel)
    return Scene(np.asarray(rgb * (1 - rng.uniform(0.25, 0.6) * soft)[..., None], np.float32), sheet)


def printed_joint(rng: np.random.Generator) -> Scene:
    """A film or label printed with a joint as decoration: flat colours in the middle of a panel, no end grain."""
    plan = tails.dovetail_plan(rng, half_blind=False, hand=False) if rng.random() < 0.5 else tails.square_plan(rng, fingers=True)
    sheet = Sheet(plan.height * float(rng.uniform(0.9, 1.8)), plan.height, plan.height / float(rng.uniform(260, 480)) / 1.5)
    rgb = stuff.surface("print", sheet, rng)
    x = 0.5 * (sheet.width - plan.depth)
    dark = np.asarray(rgb.mean(axis=(0, 1)) * rng.uniform(0.5, 0.8), np.float32)
    strip = sheet.polygon(np.array([[x, 0], [x + plan.depth, 0], [x + plan.depth, plan.height], [x, plan.height]]))
    cover = np.zeros(sheet.shape, np.float32)
    for f in tails.fingers_of(plan):
        cover = np.maximum(cover, sheet.polygon(f + np.array([x, 0.0])))
    return Scene(stuff.mix(rgb, dark, strip * (1 - cover)), sheet)


def _tiles(rng: np.random.Generator) -> tuple[Sheet, np.ndarray, np.ndarray]:
    """A sheet, and two woods laid over all of it."""
    sheet = a_sheet(rng, float(rng.uniform(120, 400)), float(rng.uniform(0.8, 2.4)))
    return sheet, stuff.surface("wood", sheet, rng), stuff.surface("wood", sheet, rng)


def checker(rng: np.random.Generator) -> Scene:
    sheet, one, two = _tiles(rng)
    xs, ys = sheet.axes()
    size = float(rng.uniform(8, 40))
    odd = ((np.floor(xs / size)[None, :] + np.floor(ys / size)[:, None]) % 2).astype(np.float32)
    if rng.random() < 0.4:  # a band of it as inlay
        top = sheet.height * float(rng.uniform(0.05, 0.6))
        odd *= ((ys > top) & (ys < top + size * int(rng.integers(1, 4))))[:, None]
    return Scene(stuff.mix(one, two, np.asarray(cv2.GaussianBlur(odd, (0, 0), 0.5), np.float32)), sheet)


def zigzag(rng: np.random.Generator) -> Scene:
    sheet, one, two = _tiles(rng)
    xs, ys = sheet.axes()
    pitch, high = float(rng.uniform(12, 40)), float(rng.uniform(8, 30))
    top = sheet.height * float(rng.uniform(0.02, 0.6))
    wave = np.abs((xs / pitch) % 1.0 - 0.5) * 2 * high
    level = ys[:, None] - top
    inside = np.clip(np.minimum(level - wave[None, :], high - level) / sheet.texel + 0.5, 0, 1) * (level > 0)
    return Scene(stuff.mix(one, two, inside.astype(np.float32)), sheet)


def weave(rng: np.random.Generator) -> Scene:
    sheet = a_sheet(rng, float(rng.uniform(80, 260)), float(rng.uniform(0.8, 2.0)))
    xs, ys = sheet.axes()
    pitch = float(rng.uniform(6, 22))
    u, v = xs[None, :] / pitch * np.ones((len(ys), 1)), ys[:, None] / pitch * np.ones((1, len(xs)))
    over = (np.floor(u) + np.floor(v)) % 2 == 0
    across, along = np.where(over, u % 1.0, v % 1.0), np.where(over, v % 1.0, u % 1.0)
    shade = np.sqrt(np.clip(1 - (2 * across - 1) ** 2, 0, 1)) * (0.65 + 0.35 * np.sin(np.pi * along))
    base = np.asarray([0.72, 0.56, 0.36], np.float32) * np.float32(rng.uniform(0.5, 1.2))
    tone = (0.2 + 0.8 * shade) * (1 + 0.08 * stuff.clouds(sheet, int(rng.integers(1, 9999)), 4))
    return Scene(np.clip(base * tone[..., None], 0, 1).astype(np.float32), sheet)


def plain_back(rng: np.random.Generator) -> Scene:
    sheet = a_sheet(rng, float(rng.uniform(200, 900)), float(rng.uniform(0.7, 2.0)))
    return Scene(stuff.surface(str(rng.choice(["hardboard", "fibreboard", "particle"])), sheet, rng), sheet)


def ply_bottom(rng: np.random.Generator) -> Scene:
    sheet = a_sheet(rng, float(rng.uniform(200, 600)), float(rng.uniform(0.7, 2.0)))
    return Scene(stuff.surface("ply", sheet, rng), sheet)


TRAPS: dict[str, Callable[[np.random.Generator], Scene]] = {
    "plain": plain, "knots": knots, "boards": boards, "plies": plies, "books": books, "louvre": louvre, "shadow": shadow,
    "printed_joint": printed_joint, "checker": checker, "zigzag": zigzag, "weave": weave, "plain_back": plain_back,
    "ply_bottom": ply_bottom,
}

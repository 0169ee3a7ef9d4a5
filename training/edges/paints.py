"""Fills for the sides of a board: each is asked for columns x and rows y in mm and gives colours (rows, cols, 3) 0..1."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from training.figure import cores
from training.figure.cuts import Board, cut_leaves, lay_leaves, saw_board
from training.figure.finish import STAINS, Finish, apply_finish, paint_coat
from training.figure.log import Log
from training.figure.noise import value_noise
from training.figure.prints import PrintDesign
from training.figure.slabs import LumberSlab
from training.figure.species import SPECIES

Floats = NDArray[np.floating]
Colours = NDArray[np.float32]
#: fn(x, y, texel): x (cols,) along the arris, y (rows,) away from it or down from the face, both mm.
Fill = Callable[[NDArray[np.float64], NDArray[np.float64], float], Colours]

CUTS = ("flat", "rift", "quarter")


def back_and_forth(v: NDArray[np.float64], reach: float) -> NDArray[np.float64]:
    """Coordinates folded into +-`reach` as by mirrors, so that a board of limited width fills any span."""
    return np.asarray(np.abs((v - reach) % (4 * reach) - 2 * reach) - reach)


def any_log(rng: np.random.Generator, among: tuple[str, ...] | None = None) -> Log:
    """A made-up tree of a random species."""
    return Log(str(rng.choice(among or tuple(SPECIES))), int(rng.integers(1, 2**31 - 1)))


def any_board(log: Log, rng: np.random.Generator) -> Board:
    return saw_board(log, str(rng.choice(CUTS, p=[0.5, 0.25, 0.25])), rng)


def any_finish(rng: np.random.Generator) -> Finish:
    stain = str(rng.choice(list(STAINS))) if rng.random() < 0.45 else "none"
    return Finish(stain=stain, strength=float(rng.uniform(0.4, 0.95)) if stain != "none" else 0.0,
                  depth=float(rng.uniform(0, 1)), age=float(rng.uniform(0, 0.6)), wear=float(rng.uniform(0, 0.9)),
                  filled=bool(rng.random() < 0.3))


def solid(rng: np.random.Generator, size: tuple[float, float, float], boards: int, finish: Finish) -> LumberSlab:
    """A solid slab of one or several boards of one species (different logs), joints uneven."""
    species = any_log(rng).species.name
    cut = [any_board(Log(species, int(rng.integers(1, 2**31 - 1))), rng) for _ in range(boards)]
    inner = np.linspace(-size[1] / 2, size[1] / 2, boards + 1)[1:-1]
    inner = inner + rng.uniform(-0.25, 0.25, boards - 1) * size[1] / max(boards, 1)
    return LumberSlab(size=size, finish=finish, seed=int(rng.integers(1, 2**31 - 1)), boards=tuple(cut),
                      joints=tuple(float(v) for v in inner))


def leaf_face(board: Board, finish: Finish, rng: np.random.Generator, width: float, *, across: bool) -> Fill:
    """Veneer of one or several leaves; `across`: its grain runs away from the arris instead of along it."""
    layout = str(rng.choice(["single", "single", "book", "slip", "running"]))
    leaves = lay_leaves(width, float(rng.uniform(90, 220)), layout, rng, int(rng.integers(0, 60)))
    shift, salt = float(rng.uniform(-200, 200)), int(rng.integers(1, 2**30))

    def fill(x: NDArray[np.float64], y: NDArray[np.float64], texel: float) -> Colours:
        if across:
            figure = cut_leaves(board, leaves, y + shift, np.clip(x, -width / 2, width / 2), texel=texel, seam=0.2)
            return _turned(apply_finish(figure, finish, salt, texel).rgb)
        figure = cut_leaves(board, leaves, x + shift, np.clip(y - width / 2, -width / 2, width / 2), texel=texel, seam=0.2)
        return np.asarray(apply_finish(figure, finish, salt, texel).rgb, np.float32)

    return fill


def _turned(rgb: Colours) -> Colours:
    return np.ascontiguousarray(rgb.transpose(1, 0, 2), dtype=np.float32)


def printed(design: PrintDesign, rng: np.random.Generator, *, across: bool) -> Fill:
    """A face cut from a printed web."""
    a0, b0 = float(rng.uniform(300, 1200)), float(rng.uniform(0, 300))

    def fill(x: NDArray[np.float64], y: NDArray[np.float64], texel: float) -> Colours:
        shape = (len(x), len(y)) if across else (len(y), len(x))
        lead, side = (y[0], x[0]) if across else (x[0], y[0])
        rgb = design.face(a0 + 2000 + lead, b0 + 1000 + side, shape, texel).rgb
        return _turned(rgb) if across else np.asarray(rgb, np.float32)

    return fill


def any_print(rng: np.random.Generator) -> PrintDesign:
    source = any_board(any_log(rng), rng)
    return PrintDesign(source, any_finish(rng), float(rng.uniform(900, 1500)), 500.0, scan_mm=float(rng.uniform(0.15, 0.5)),
                       inks=int(rng.choice([0, 0, 24, 40])), chroma=float(rng.uniform(0.2, 0.8)),
                       contrast=float(rng.uniform(0.7, 1.2)), seed=int(rng.integers(1, 2**30)))


def photographed(pixels: NDArray[np.uint8], across_mm: float, *, across: bool) -> Fill:
    """A real face as figure, grain along its rows, `across_mm` wide; beyond its border it runs back as in a mirror."""
    scale = pixels.shape[0] / across_mm

    def fill(x: NDArray[np.float64], y: NDArray[np.float64], texel: float) -> Colours:
        a, b = (y, x) if across else (x, y)
        blur = max(0.0, 0.5 * texel * scale)
        source = cv2.GaussianBlur(pixels, (0, 0), blur) if blur > 0.6 else pixels
        u = ((a + 500.0) * scale).astype(np.float32)[None, :]
        v = ((b + across_mm / 2) * scale).astype(np.float32)[:, None]
        w, h = pixels.shape[1] - 1, pixels.shape[0] - 1
        u, v = np.abs((u + w) % (2 * w) - w), np.abs((v + h) % (2 * h) - h)
        mx, my = (np.ascontiguousarray(np.broadcast_to(m, (len(b), len(a)))) for m in (u, v))
        rgb = np.asarray(cv2.remap(source, mx, my, cv2.INTER_LINEAR), np.float32) / np.float32(255)
        return _turned(rgb) if across else rgb

    return fill


def plain(colour: tuple[float, float, float], kind: str, salt: int) -> Fill:
    """A solid colour: paint or plastic."""
    def fill(x: NDArray[np.float64], y: NDArray[np.float64], texel: float) -> Colours:
        return np.asarray(paint_coat((len(y), len(x)), colour, kind, salt, texel).rgb, np.float32)

    return fill


def worn_paint(fill: Fill, under: Fill, salt: int, amount: float) -> Fill:
    """Paint chipped off in spots, more of them near the arris (small y)."""
    def worn(x: NDArray[np.float64], y: NDArray[np.float64], texel: float) -> Colours:
        gx, gy = np.meshgrid(x.astype(np.float32), y.astype(np.float32))
        near = np.exp(-gy / 2.0)
        level = value_noise(salt, gx / 14, gy / 5) + 0.5 * value_noise(salt + 1, gx / 3.1, gy / 2.2)
        bare = np.clip((level + 0.5 * amount * near - 1.15 + 0.4 * amount) / 0.06, 0, 1)[..., None]
        return np.asarray(fill(x, y, texel) * (1 - bare) + under(x, y, texel) * bare, np.float32)

    return worn


def fibre_face(salt: int) -> Fill:
    return lambda x, y, texel: np.asarray(cores.fibre_face((len(y), len(x)), texel, salt).rgb, np.float32)


def particle_face(salt: int) -> Fill:
    return lambda x, y, texel: np.asarray(cores.particle_face((len(y), len(x)), texel, salt).rgb, np.float32)


def along_grain(board: Board, depth: float, finish: Finish, salt: int, *, tone: float = 1.0) -> Fill:
    """Long grain along the arris whatever the side: a wood banding or lipping."""
    def fill(x: NDArray[np.float64], y: NDArray[np.float64], texel: float) -> Colours:
        figure = board.log.cut(board.points(x[None, :], y[:, None], np.full((1, 1), depth)), texel=texel)
        return np.asarray(np.clip(apply_finish(figure, finish, salt, texel).rgb * tone, 0, 1), np.float32)

    return fill


def end_of(board: Board, finish: Finish, salt: int, at: float) -> Fill:
    """A cross-section: what a picture of end grain on plastic shows."""
    def fill(x: NDArray[np.float64], y: NDArray[np.float64], texel: float) -> Colours:
        figure = board.log.cut(board.points(np.full((1, 1), at), x[None, :], y[:, None]), texel=texel, end=1.0)
        rgb = apply_finish(figure, finish, salt, texel).rgb
        return np.asarray(cv2.GaussianBlur(rgb, (0, 0), max(0.3, 0.3 / texel)), np.float32)

    return fill

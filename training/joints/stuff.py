"""Surfaces that joints and fittings sit on, laid out in millimetres: boards of one log in space, coats, raw boards."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from training.figure import cores
from training.figure.cuts import Board, Peeled, saw_board
from training.figure.finish import PAINTS, STAINS, Finish, apply_finish, paint_coat
from training.figure.log import Figure, Log
from training.figure.noise import fractal
from vision.resize import resize

Image = NDArray[np.float32]
Plane = NDArray[np.float32]
PRIMARY: Final = ("mahogany_like", "walnut_like", "cherry_like", "red_oak_like", "white_oak_like", "maple_like", "teak_like",
                  "beech_like", "birch_like")
SECONDARY: Final = ("pine_like", "poplar_like", "white_oak_like", "maple_like", "beech_like", "birch_like", "ash_like",
                    "spruce_like", "mahogany_like")


@dataclass(frozen=True)
class Sheet:
    """A flat stretch of `width` by `height` mm, `texel` mm a pixel."""

    width: float
    height: float
    texel: float

    @property
    def shape(self) -> tuple[int, int]:
        return max(8, round(self.height / self.texel)), max(8, round(self.width / self.texel))

    def axes(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """x of the columns and y of the rows, mm from the top left corner."""
        h, w = self.shape
        return np.asarray((np.arange(w) + 0.5) * self.texel, float), np.asarray((np.arange(h) + 0.5) * self.texel, float)

    def polygon(self, points: NDArray[np.float64]) -> Plane:
        """(h, w) cover 0..1 of a polygon given in mm."""
        # filled four times as large: fillPoly also covers its outline, which would widen everything by a pixel
        h, w = self.shape
        out = np.zeros((4 * h, 4 * w), np.uint8)
        cv2.fillPoly(out, [np.round((np.asarray(points) / self.texel * 4 - 0.5) * 16).astype(np.int32)], 255, cv2.LINE_8, 4)
        return resize(out, w, h).astype(np.float32) / np.float32(255)

    def distance(self, x: float, y: float) -> Plane:
        """(h, w) distance of every pixel to a point, mm."""
        xs, ys = self.axes()
        return np.hypot(xs[None, :] - x, ys[:, None] - y).astype(np.float32)

    def disc(self, x: float, y: float, radius: float) -> Plane:
        """(h, w) cover 0..1 of a disc, mm."""
        return np.clip((radius - self.distance(x, y)) / self.texel + 0.5, 0, 1).astype(np.float32)

    def line(self, p: tuple[float, float], q: tuple[float, float], width: float) -> Plane:
        """(h, w) cover of a stroke with round ends, mm; thinner than a pixel it covers its share."""
        xs, ys = self.axes()
        d = np.subtract(q, p)
        n2 = max(float(d @ d), 1e-9)
        t = np.clip(((xs[None, :] - p[0]) * d[0] + (ys[:, None] - p[1]) * d[1]) / n2, 0, 1)
        away = np.hypot(xs[None, :] - p[0] - t * d[0], ys[:, None] - p[1] - t * d[1])
        wide = max(width, self.texel)
        return (np.clip((wide / 2 - away) / self.texel + 0.5, 0, 1) * min(1.0, width / self.texel)).astype(np.float32)


def board_of(names: tuple[str, ...], rng: np.random.Generator, *, knots: float | None = None) -> Board:
    """A board sawn at random from a new log of one of the species."""
    log = Log(str(rng.choice(names)), int(rng.integers(1, 2**30)), knots=knots)
    return saw_board(log, str(rng.choice(["flat", "rift", "quarter"], p=[0.5, 0.2, 0.3])), rng)


def face(board: Board, sheet: Sheet, *, upright: bool = False, at: tuple[float, float] = (0.0, 0.0)) -> Figure:
    """Broad side, grain along x (`upright`: along y)."""
    xs, ys = sheet.axes()
    if upright:
        points = board.points(ys[:, None] + at[0], xs[None, :] - sheet.width / 2 + at[1], np.full((1, 1), 9.0))
    else:
        points = board.points(xs[None, :] + at[0], ys[:, None] - sheet.height / 2 + at[1], np.full((1, 1), 9.0))
    return board.log.cut(points, texel=sheet.texel)


def end_of(board: Board, sheet: Sheet) -> Figure:
    """End of a board whose width runs along y and whose thickness runs along x; its grain runs into the picture."""
    xs, ys = sheet.axes()
    points = board.points(np.zeros((1, 1)), ys[:, None] - sheet.height / 2, xs[None, :])
    return board.log.cut(points, texel=sheet.texel, end=1.0)


def some_finish(rng: np.random.Generator, *, bare: float = 0.4) -> Finish:
    """A finish as used furniture has it; `bare`: how often there is none."""
    if rng.random() < bare:
        return Finish(age=float(rng.uniform(0, 0.9)), wear=float(rng.uniform(0, 1.0)))
    return Finish(str(rng.choice(list(STAINS))), float(rng.uniform(0.2, 0.8)), float(rng.uniform(0, 0.8)),
                  age=float(rng.uniform(0, 0.7)), wear=float(rng.uniform(0, 0.8)))


def dressed(figure: Figure, finish: Finish, seed: int, texel: float) -> Image:
    return np.asarray(apply_finish(figure, finish, seed, texel).rgb, dtype=np.float32)


def surface(kind: str, sheet: Sheet, rng: np.random.Generator) -> Image:
    """(h, w, 3) sRGB 0..1 of 'wood', 'veneer', 'print', 'melamine', 'paint', 'hardboard', 'fibreboard', 'particle' or 'ply'."""
    seed = int(rng.integers(1, 2**30))
    if kind in ("wood", "veneer", "print"):
        figure = face(board_of(PRIMARY if kind != "wood" else PRIMARY + SECONDARY, rng, knots=None if kind == "wood" else 0.2),
                      sheet, upright=bool(rng.random() < 0.4), at=(float(rng.uniform(-300, 300)), 0.0))
        rgb = dressed(figure, some_finish(rng, bare=0.3), seed, sheet.texel)
        if kind == "print":  # a film keeps less of the finest detail and of the colour range
            soft = np.asarray(cv2.GaussianBlur(rgb, (0, 0), max(0.3, 0.35 / sheet.texel)), np.float32)
            rgb = soft * np.float32(0.85) + np.float32(0.15) * soft.mean(axis=(0, 1))
        return np.asarray(rgb, dtype=np.float32)
    if kind in ("melamine", "paint"):
        pale = ("white", "cream", "grey", "beige") if kind == "melamine" else tuple(PAINTS)
        coat = "melamine" if kind == "melamine" else str(rng.choice(["smooth", "brushed", "roller"]))
        figure = paint_coat(sheet.shape, PAINTS[str(rng.choice(pale))], coat, seed, sheet.texel)
        return dressed(figure, Finish(wear=float(rng.uniform(0, 1))), seed, sheet.texel)
    if kind in ("hardboard", "fibreboard"):
        return dressed(cores.fibre_face(sheet.shape, sheet.texel, seed, hard=kind == "hardboard"),
                       Finish(wear=float(rng.uniform(0, 1))), seed, sheet.texel)
    if kind == "particle":
        return np.asarray(cores.particle_face(sheet.shape, sheet.texel, seed).rgb, dtype=np.float32)
    if kind == "ply":
        xs, ys = sheet.axes()
        log = Log(str(rng.choice(["birch_like", "poplar_like", "pine_like", "mahogany_like"])), seed % 100003, knots=0.5)
        peeled = Peeled(log, float(rng.uniform(90, 190)), float(rng.uniform(-900, 900)))
        points = peeled.points(xs[None, :], (ys + 900)[:, None], np.zeros((1, 1)))
        return dressed(log.cut(points, texel=sheet.texel), some_finish(rng, bare=0.7), seed, sheet.texel)
    raise ValueError(f"unknown surface {kind!r}")


def clouds(sheet: Sheet, seed: int, size: float) -> Plane:
    """(h, w) slow noise -1..1 with spots of `size` mm."""
    xs, ys = (v.astype(np.float32) / np.float32(size) for v in sheet.axes())
    return fractal(seed, *np.meshgrid(xs, ys), octaves=3).astype(np.float32)


def mix(below: Image, above: Image | NDArray[np.floating], cover: Plane) -> Image:
    """`above` laid over `below` where `cover` is 1."""
    return np.asarray(below + (np.asarray(above, np.float32) - below) * cover[..., None], dtype=np.float32)

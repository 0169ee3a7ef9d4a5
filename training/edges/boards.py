"""One board of each build: fills for its face, the narrow side at its arris, the other narrow side and its underside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from training.composites.figures import Figure as Photo
from training.edges import paints
from training.edges.finishing import (
    RGB,
    as_rgb,
    coated,
    glue_line,
    glued,
    layered_fill,
    lowered,
    sawn,
    with_stringing,
)
from training.edges.kinds import PLYWOOD, STRIP_OF
from training.edges.paints import Colours, Fill
from training.figure import cores
from training.figure.cuts import Board
from training.figure.finish import PAINTS, Finish, apply_finish
from training.figure.slabs import LumberSlab


@dataclass(frozen=True)
class Layer:
    """A layer of the thickness, `top` and `bottom` mm below the face. `kind`: 'veneer', 'laminate', 'ply', 'cross',
    'core', 'band', 'solid', 'paint'; `tone`: 'wood', 'dark', 'white' or 'other'."""

    kind: str
    top: float
    bottom: float
    tone: str = "wood"


@dataclass(frozen=True, eq=False)
class Build:
    """`size`: (along the arris, into the face, thickness) mm. `across`: the face's grain runs into the arris.
    `face_mm`: thickness of a foreign face layer seen on the narrow side, 0 for none. `seam`: something is glued on at the
    arris. `continuous`: face and narrow side are one piece of wood; None where that means nothing (bare board, paint, plain
    plastic). `groups`: photographers of real figure used."""

    name: str
    size: tuple[float, float, float]
    face: Fill
    strip: Fill
    third: Fill
    under: Fill
    across: bool
    layers: tuple[Layer, ...]
    continuous: bool | None
    face_mm: float = 0.0
    face_tone: str = "none"
    seam: bool = False
    groups: tuple[str, ...] = ()
    gloss: float = 0.2
    pale: tuple[float, float, float] = (0.85, 0.74, 0.56)

    @property
    def strip_kind(self) -> str:
        return STRIP_OF[self.name]

    @property
    def plies(self) -> int:
        """Layers of a plywood, its face veneers counted as the trade does; 0 for any other build."""
        cross_laid = sum(layer.kind == "ply" for layer in self.layers)
        return cross_laid + sum(layer.kind == "veneer" for layer in self.layers) if cross_laid else 0


def _raw(core: str, thickness: float, rng: np.random.Generator, *, end: bool, plies: int = 7, ply_face: float = 1.2) -> tuple[
        Fill, NDArray[np.float64]]:
    """Bare narrow side of a core `thickness` mm thick and the heights of its ply boundaries (empty without plies)."""
    salt = int(rng.integers(1, 2**30))
    species = str(rng.choice(["birch_like", "birch_like", "poplar_like", "spruce_like", "beech_like", "mahogany_like"]))
    bounds = np.zeros(0)
    true = np.zeros(0)
    if core == "plywood":
        even = cores.ply_bounds(thickness, plies, ply_face)
        bounds, true = even, even.copy()
        inner = np.diff(even)[1:-1] * np.exp(rng.normal(0, 0.07, plies - 2))
        true[1:-1] = ply_face + np.r_[0.0, np.cumsum(inner)] * (thickness - 2 * ply_face) / inner.sum()
    tint = as_rgb(np.array((0.77, 0.65, 0.48)) * rng.uniform(0.85, 1.12))

    def fill(x: NDArray[np.float64], y: NDArray[np.float64], texel: float) -> Colours:
        fine = thickness / max(8, round(thickness / texel))
        rows, cols = round(thickness / fine), len(x)
        if core == "plywood":
            figure = cores.plywood_edge((rows, cols), fine, plies, salt, face_grain_along=not end, face_mm=ply_face,
                                        species=species)
        elif core == "particle_board":
            figure = cores.particle_edge((rows, cols), fine, salt, tint=tint)
        elif core == "fibreboard":
            figure = cores.fibre_edge((rows, cols), fine, salt)
        else:
            figure = cores.lumber_core_edge((rows, cols), fine, salt, end=end)
        at = np.interp(y, true, bounds) if core == "plywood" else y
        return np.asarray(figure.rgb[np.clip((at / fine).astype(int), 0, rows - 1)], np.float32)

    return coated(glued(fill, true, rng) if core == "plywood" else fill, rng), true


def _slab_sides(slab: LumberSlab, *, end: bool) -> tuple[Fill, Fill, Fill, Fill]:
    """(face, narrow side at the arris, other narrow side, underside) of a solid slab; `end`: the arris is an end's."""
    length, width, thick = slab.size

    def view(side: str, u: NDArray[np.float64], v: NDArray[np.float64], texel: float) -> Colours:
        return np.asarray(apply_finish(slab.raw(side, u, v, texel), slab.finish, slab.seed, texel).rgb, np.float32)

    def broad(side: str) -> Fill:
        def fill(x: NDArray[np.float64], y: NDArray[np.float64], texel: float) -> Colours:
            if end:
                a, b = y - length / 2, np.clip(x, -width / 2, width / 2 - 1e-6)
                return np.ascontiguousarray(view(side, a, b, texel).transpose(1, 0, 2))
            return view(side, x, np.clip(y - width / 2, -width / 2, width / 2 - 1e-6), texel)

        return fill

    def narrow(side: str) -> Fill:
        return lambda x, y, texel: view(side, np.clip(x, -width / 2, width / 2 - 1e-6) if side == "left" else x,
                                        thick / 2 - y, texel)

    def other(x: NDArray[np.float64], y: NDArray[np.float64], texel: float) -> Colours:
        # x runs into the face here
        if end:
            return view("front", x - length / 2, thick / 2 - y, texel)
        return view("left", np.clip(x - width / 2, -width / 2, width / 2 - 1e-6), thick / 2 - y, texel)

    return broad("face"), narrow("left" if end else "front"), other, broad("under")


def _solid(name: str, rng: np.random.Generator) -> Build:
    thick = float(rng.uniform(15, 34))
    end = name in ("solid_end", "glued_end")
    count = int(rng.integers(2, 6)) if name == "glued_end" else int(rng.choice([1, 1, 2, 3])) if name == "solid_edge" else 1
    width = float(rng.uniform(80, 170) if count > 1 else rng.uniform(90, 300)) * count if end else float(rng.uniform(120, 420))
    length = float(rng.uniform(350, 900)) if end else float(rng.uniform(500, 1600))
    slab = paints.solid(rng, (length, width, thick), count, paints.any_finish(rng))
    face, strip, third, under = _slab_sides(slab, end=end)
    if end and rng.random() < 0.5:
        strip = sawn(strip, rng)
    if name == "stringing":
        face = with_stringing(face, rng)
    species = slab.boards[0].log.species
    return Build(name, (width, length, thick) if end else (length, width, thick), face, strip, third, under, end,
                 (Layer("solid", 0.0, thick),), True, gloss=float(rng.uniform(0, 0.6)), pale=species.sap)


def _face(rng: np.random.Generator, photos: Sequence[Photo], size: tuple[float, float], *, across: bool, print_: bool,
          flitch: Board, finish: Finish) -> tuple[Fill, tuple[str, ...]]:
    """A veneer or printed face over (along, into) mm, now and then of real figure."""
    if photos and rng.random() < 0.35:
        photo = photos[int(rng.integers(len(photos)))]
        return paints.photographed(photo.pixels, float(rng.uniform(140, 320)), across=across), (photo.group,)
    if print_:
        return paints.printed(paints.any_print(rng), rng, across=across), ()
    return paints.leaf_face(flitch, finish, rng, size[0] if across else size[1], across=across), ()


def _face_layer(name: str, rng: np.random.Generator, log_colour: RGB) -> tuple[float, str, RGB]:
    """(mm, tone, colour) of the face sheet where it is seen on the narrow side."""
    if name.startswith("laminate"):
        tone = str(rng.choice(["dark", "dark", "white"]))
        colour = rng.uniform(0.08, 0.2) * np.array([1.1, 0.9, 0.75]) if tone == "dark" else rng.uniform(0.82, 0.95) * np.ones(3)
        return float(rng.uniform(0.6, 1.3)), tone, as_rgb(colour)
    mm = float(rng.uniform(0.5, 0.9) if rng.random() < 0.7 else rng.uniform(1.0, 3.0))
    return mm, "wood", as_rgb(np.array(log_colour) * rng.uniform(0.75, 1.05))


def _cored(name: str, rng: np.random.Generator, photos: Sequence[Photo]) -> Build:
    core = {"plywood": "plywood", "particle": "particle_board", "fibre": "fibreboard"}.get(name.split("_")[1], "lumber")
    surface = name.split("_")[0]
    end = name.endswith("_end") if core == "lumber" else bool(rng.random() < 0.5)
    plies, thick = PLYWOOD[int(rng.integers(len(PLYWOOD)))] if core == "plywood" else (0, float(rng.uniform(12, 30)))
    size = (float(rng.uniform(400, 1400)), float(rng.uniform(200, 600)), thick)
    finish, flitch = paints.any_finish(rng), paints.any_board(paints.any_log(rng), rng)
    log = flitch.log.species
    ply_face = float(rng.uniform(0.75, 1.0) * thick / plies) if plies else 0.0
    mm, tone, colour = _face_layer(name, rng, log.late if rng.random() < 0.5 else log.early)
    if core == "plywood":
        mm = min(mm, 0.12 * thick)
    if surface == "bare":
        mm, tone = 0.0, "none"
    inner, inner_mm, inner_end = plies, thick, end
    if core == "plywood" and mm:
        # a face veneer is itself a ply, laid across the one below; laminate is glued on a whole plywood
        inner = max(3, plies - 2) if surface == "veneer" else plies
        inner_mm, inner_end = thick - 2 * mm, not end if surface == "veneer" else end
    raw, bounds = _raw(core, inner_mm, rng, end=inner_end, plies=inner, ply_face=ply_face)
    if inner_mm < thick:
        raw, bounds = lowered(raw, mm), bounds + mm
    groups: tuple[str, ...] = ()
    if surface == "bare":
        salt = int(rng.integers(1, 2**30))
        face = (paints.fibre_face(salt) if core == "fibreboard" else paints.particle_face(salt) if core == "particle_board"
                else paints.leaf_face(paints.any_board(paints.any_log(rng, ("birch_like", "poplar_like", "spruce_like")), rng),
                                      replace(finish, stain="none", strength=0.0), rng, size[0] if end else size[1], across=end))
    else:
        face, groups = _face(rng, photos, size[:2], across=end, print_=surface == "laminate", flitch=flitch, finish=finish)
    if mm:
        sheet: Fill = paints.plain(colour, "smooth", int(rng.integers(1, 2**30)))
        if tone == "wood":  # the sheet's own cut edge: grain along, or its end grain
            sheet = (paints.end_of(flitch, finish, 3, 40.0) if end else paints.along_grain(flitch, 0.0, finish, 3, tone=0.9))
        strip = layered_fill(raw, (0.0, mm, thick - mm, thick + 1), (sheet, None, sheet))
    else:
        strip = raw
    layers = [Layer("veneer" if tone == "wood" else "laminate", 0.0, mm, tone)] if mm else []
    if core == "lumber" and rng.random() < 0.55:  # five-ply lumber core: a cross band below the face veneer
        band = float(rng.uniform(1.2, 2.6))
        cross = paints.any_board(paints.any_log(rng, ("poplar_like", "birch_like", "beech_like")), rng)
        plain_finish = Finish(age=0.2)
        crossing = (paints.along_grain(cross, 0.0, plain_finish, 5) if end else paints.end_of(cross, plain_finish, 5, 10.0))
        strip = layered_fill(strip, (mm, mm + band, thick - mm - band, thick - mm), (crossing, None, crossing))
        low = thick - mm - band
        layers += [Layer("cross", mm, mm + band), Layer("core", mm + band, low), Layer("cross", low, thick - mm)]
    elif core == "plywood":
        layers += [Layer("ply", float(a), float(b)) for a, b in pairwise(bounds)]
    else:
        layers.append(Layer("core", mm, thick - mm))
    if mm:
        layers.append(Layer("veneer" if tone == "wood" else "laminate", thick - mm, thick, tone))
    other, _ = _raw(core, thick, rng, end=not end, plies=plies, ply_face=ply_face)
    continuous = None if surface == "bare" and core != "plywood" else False
    return Build(name, size, face, strip, other, face, end, tuple(layers), continuous, face_mm=mm, face_tone=tone,
                 groups=groups, gloss=float(rng.uniform(0, 0.7)), pale=(0.80, 0.67, 0.48))


def _banded(name: str, rng: np.random.Generator, photos: Sequence[Photo]) -> Build:
    end = bool(rng.random() < 0.55) if name != "band_end_print" else True
    thick = float(rng.uniform(14, 34))
    size = (float(rng.uniform(400, 1200)), float(rng.uniform(200, 600)), thick)
    finish, flitch = paints.any_finish(rng), paints.any_board(paints.any_log(rng), rng)
    salt = int(rng.integers(1, 2**30))
    print_ = name in ("band_print", "band_laminate", "band_end_print") or (name == "band_plain" and rng.random() < 0.8)
    face, groups = _face(rng, photos, size[:2], across=end, print_=print_, flitch=flitch, finish=finish)
    seen = float(rng.uniform(0.3, 0.6)) if name in ("band_wood", "book_arris") else float(rng.uniform(0.4, 2.2))
    continuous: bool | None = False
    if name == "band_wood":
        # banding of the face's own species, often another tree, stained alike
        board = paints.any_board(type(flitch.log)(flitch.log.species.name, int(rng.integers(1, 2**31 - 1))), rng)
        strip = paints.along_grain(board, 0.0, finish, salt, tone=float(rng.uniform(0.85, 1.12)))
        rim = strip
    elif name == "lipping":
        board = paints.any_board(type(flitch.log)(flitch.log.species.name, int(rng.integers(1, 2**31 - 1))), rng)
        seen = float(rng.uniform(3, 22))
        strip = lambda x, y, t: np.asarray(  # noqa: E731
            apply_finish(board.log.cut(board.points(x[None, :], np.zeros((1, 1)), -y[:, None]), texel=t), finish, salt, t).rgb)
        rim = lambda x, y, t: np.asarray(  # noqa: E731
            apply_finish(board.log.cut(board.points(x[None, :], y[:, None], np.zeros((1, 1))), texel=t), finish, salt, t).rgb)
        continuous = bool(rng.random() < 0.5)
    elif name == "band_end_print":
        boards = [paints.any_board(paints.any_log(rng), rng) for _ in range(2)]
        strip = paints.end_of(boards[0], finish, salt, 50.0)
        rim = paints.plain(as_rgb(np.array(boards[0].log.species.late) * 0.8), "melamine", salt)
    elif name == "band_plain":
        colour = as_rgb(np.array(PAINTS[str(rng.choice(list(PAINTS)))]) + rng.normal(0, 0.03, 3))
        if rng.random() < 0.5:
            face = paints.plain(colour, "melamine", salt + 1)
            groups, continuous = (), None
        strip = rim = paints.plain(colour, "melamine", salt)
    else:  # printed plastic or laminate strip of the face's kind of print
        design = paints.any_print(rng)
        strip = paints.printed(design, rng, across=False)
        shade = 0.12 if name == "band_laminate" else float(rng.uniform(0.6, 1.0))
        rim = paints.plain(as_rgb(np.array(design.source.log.species.early) * shade), "melamine", salt)
    if name == "book_arris":
        # a leaf opened over the arris: the narrow side shows the face's figure mirrored at the arris
        plain_face = face
        strip = lambda x, y, t: plain_face(x, y + 0.5, t)  # noqa: E731
        rim, groups = plain_face, groups
    face_b = layered_fill(face, (0.0, seen), (rim,)) if name != "book_arris" else face
    if name not in ("book_arris", "lipping") or not continuous:
        face_b = glue_line(face_b, seen, float(rng.uniform(0.05, 0.3)), float(rng.uniform(0.1, 0.6)))
    if name == "lipping" and not continuous:  # the veneer runs over the lipping and shows as a line
        mm, _, _ = _face_layer("veneer", rng, (0, 0, 0))
        under = strip
        strip = layered_fill(under, (0.0, mm), (paints.along_grain(flitch, 0.0, finish, 3, tone=0.9),))
        return Build(name, size, face, strip, strip, face, end, (Layer("veneer", 0.0, mm), Layer("solid", mm, thick)), False,
                     face_mm=mm, face_tone="wood", groups=groups, gloss=float(rng.uniform(0, 0.6)))
    layers = (Layer("solid", 0.0, thick),) if name == "lipping" else (Layer("band", 0.0, thick, "other"),)
    return Build(name, size, face_b, strip, strip, face, end, layers, continuous, seam=True, groups=groups,
                 gloss=float(rng.uniform(0, 0.8)))


def _painted(rng: np.random.Generator) -> Build:
    core = str(rng.choice(["lumber", "fibreboard", "plywood", "particle_board"], p=[0.35, 0.35, 0.15, 0.15]))
    plies, thick = PLYWOOD[int(rng.integers(len(PLYWOOD)))] if core == "plywood" else (0, float(rng.uniform(12, 32)))
    size = (float(rng.uniform(400, 1200)), float(rng.uniform(200, 600)), thick)
    end, salt = bool(rng.random() < 0.5), int(rng.integers(1, 2**30))
    colour = as_rgb(np.array(PAINTS[str(rng.choice(list(PAINTS)))]) + rng.normal(0, 0.02, 3))
    kind = str(rng.choice(["smooth", "brushed", "roller"]))
    under, _ = _raw(core, thick, rng, end=end, plies=plies, ply_face=thick / plies if plies else 1.0)
    coat = paints.plain(colour, kind, salt)
    # what lies below telegraphs a little through a thin coat
    show = float(rng.uniform(0, 0.06))

    def strip(x: NDArray[np.float64], y: NDArray[np.float64], texel: float) -> Colours:
        below = under(x, np.clip(y, 0, thick), texel)
        relief = 1 + show * (below / max(float(below.mean()), 0.05) - 1)
        return np.asarray(np.clip(coat(x, y, texel) * relief, 0, 1), np.float32)

    face: Fill = paints.plain(colour, kind, salt + 1)
    if rng.random() < 0.5:
        amount, wood = float(rng.uniform(0, 0.9)), paints.plain((0.72, 0.58, 0.40), "brushed", salt + 4)
        face, worn = paints.worn_paint(face, wood, salt + 2, amount), paints.worn_paint(strip, wood, salt + 2, amount)
    else:
        worn = strip
    return Build("painted", size, face, worn, worn, face, end, (Layer("paint", 0.0, thick, "other"),), None,
                 gloss=float(rng.uniform(0, 0.5)))


def make_board(name: str, rng: np.random.Generator, photos: Sequence[Photo] = ()) -> Build:
    """A board of the build `name` (a key of kinds.BUILDS or kinds.EDGE_TRAPS)."""
    if name in ("solid_edge", "solid_end", "glued_end", "stringing"):
        return _solid(name, rng)
    if name == "painted":
        return _painted(rng)
    if name.startswith(("band_", "lipping", "book_arris")):
        return _banded(name, rng, photos)
    return _cored(name, rng, photos)

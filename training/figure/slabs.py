"""A furniture part as a slab: length along the grain (a), width (b), thickness (c), each side with its honest figure.

Sides: 'face' and 'under' (a, b), 'front' and 'rear' (edges, a by c), 'left' and 'right' (ends, b by c). Pictures have the
first axis along columns and the second along rows, both growing from the negative end.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from training.figure import cores
from training.figure.cuts import Board, Leaf, Peeled, cut_leaves
from training.figure.finish import Finish, Place, apply_finish, paint_coat
from training.figure.log import Figure
from training.figure.patterned import Pattern, cut_pattern
from training.figure.prints import PrintDesign, emboss

SIDES: Final = ("face", "under", "front", "rear", "left", "right")
Window = tuple[float, float, float, float]
WHOLE: Final[Window] = (0.0, 1.0, 0.0, 1.0)
VIEW_OF: Final = {"face": "face", "under": "face", "front": "edge", "rear": "edge", "left": "end", "right": "end"}


def texel_window(n: int, m: int, window: Window) -> tuple[int, int, int, int]:
    """Column and row ranges (left, right, low, high) of an n by m texture that cover `window` (shares 0..1)."""
    left = min(max(int(np.floor(window[0] * n)), 0), n - 2)
    low = min(max(int(np.floor(window[2] * m)), 0), m - 2)
    return left, max(left + 2, min(n, int(np.ceil(window[1] * n)))), low, max(low + 2, min(m, int(np.ceil(window[3] * m))))


@dataclass(frozen=True, eq=False)
class Slab:
    """Common part: `size` (length, width, thickness) mm, `core` key of the core, `edging` what covers the narrow sides."""

    size: tuple[float, float, float]
    finish: Finish = field(default_factory=Finish)
    seed: int = 0

    face_class: str = "solid_wood"
    core: str = "lumber"
    edging: str = "self"

    def span(self, side: str) -> tuple[float, float]:
        """(columns, rows) extent of a side in mm."""
        length, width, thick = self.size
        return {"face": (length, width), "under": (length, width), "front": (length, thick), "rear": (length, thick),
                "left": (width, thick), "right": (width, thick)}[side]

    def axes(self, side: str, texel: float, window: Window = WHOLE) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
        """Centred coordinates of texel centres along columns and rows inside `window`, and the texel actually used.

        `window`: (left, right, low, high) shares 0..1 of the side; the grid is the same whatever part of it is asked for.
        """
        cols, rows = self.span(side)
        n, m = max(2, round(cols / texel)), max(2, round(rows / texel))
        left, right, low, high = texel_window(n, m, window)
        u = ((np.arange(left, right) + 0.5) / n - 0.5) * cols
        v = ((np.arange(low, high) + 0.5) / m - 0.5) * rows
        return u, v, cols / n

    def place(self, side: str, u: NDArray[np.float64], v: NDArray[np.float64]) -> Place:
        """Where texel centres (as `axes` gives them) lie on a side."""
        cols, rows = self.span(side)
        return Place(float(u[0]) + cols / 2, float(v[0]) + rows / 2, (cols, rows))

    def texture(self, side: str, texel: float, window: Window = WHOLE) -> Figure:
        raise NotImplementedError

    def facts(self) -> dict[str, Any]:
        """What the ground truth says of this slab."""
        coat = {"coat": self.finish.name, "stain": self.finish.stain, "crackled": self.finish.crackle > 0}
        return {"face": self.face_class, "core": self.core, "edging": self.edging, **coat}


@dataclass(frozen=True, eq=False)
class LumberSlab(Slab):
    """Boards edge-glued across the width (one board: a plain plank). `joints`: b at which boards meet."""

    boards: tuple[Board, ...] = ()
    joints: tuple[float, ...] = ()

    def texture(self, side: str, texel: float, window: Window = WHOLE) -> Figure:
        u, v, used = self.axes(side, texel, window)
        return apply_finish(self.raw(side, u, v, used), self.finish, self.seed, used, self.place(side, u, v))

    def raw(self, side: str, u: NDArray[np.float64], v: NDArray[np.float64], texel: float) -> Figure:
        """Unfinished figure at column coordinates u and row coordinates v of a side."""
        length, width, thick = self.size
        limits = (-width / 2, *self.joints, width / 2)
        if side in ("front", "rear"):
            k = 0 if side == "front" else len(self.boards) - 1
            b = -width / 2 if side == "front" else width / 2
            pts = self.boards[k].points(u[None, :], np.full((1, 1), b - _middle(limits, k)), v[:, None])
            return self.boards[k].log.cut(pts, texel=texel)
        across = v if side in ("face", "under") else u
        out: Figure | None = None
        for k, board in enumerate(self.boards):
            pick = np.flatnonzero((across >= limits[k]) & (across < limits[k + 1] + (1e9 if k == len(self.boards) - 1 else 0)))
            if not len(pick):
                continue
            local = across[pick] - _middle(limits, k)
            if side in ("face", "under"):
                c = thick / 2 if side == "face" else -thick / 2
                cut = board.log.cut(board.points(u[None, :], local[:, None], np.full((1, 1), c)), texel=texel)
                where: tuple = (pick, slice(None))
            else:
                a = -length / 2 if side == "left" else length / 2
                cut = board.log.cut(board.points(np.full((1, 1), a), local[None, :], v[:, None]), texel=texel, end=1.0)
                where = (slice(None), pick)
            if out is None:
                shape = (len(v), len(u))
                out = Figure(np.zeros((*shape, 3), np.float32), np.zeros(shape, np.float32), np.zeros(shape, np.float32))
            out.rgb[where], out.relief[where], out.ring[where] = cut.rgb, cut.relief, cut.ring
            if k:
                line = (pick[0], slice(None)) if side in ("face", "under") else (slice(None), pick[0])
                out.rgb[line] *= np.float32(1 - 0.22 * min(1.0, 0.2 / texel))
        assert out is not None
        return out

    def facts(self) -> dict[str, Any]:
        return {**super().facts(), "layout": "boards" if len(self.boards) > 1 else "plank", "joints_mm": list(self.joints),
                **self.boards[0].log.facts()}


def _middle(limits: tuple[float, ...], k: int) -> float:
    return 0.5 * (limits[k] + limits[k + 1])


def core_figure(core: str, shape: tuple[int, int], texel: float, seed: int, *, end: bool, plies: int, face_mm: float,
                ply_species: str) -> Figure:
    """Bare narrow side of a core."""
    if core == "plywood":
        return cores.plywood_edge(shape, texel, plies, seed, face_grain_along=not end, face_mm=face_mm, species=ply_species)
    if core == "particle_board":
        return cores.particle_edge(shape, texel, seed)
    if core == "fibreboard":
        return cores.fibre_edge(shape, texel, seed)
    return cores.lumber_core_edge(shape, texel, seed, end=end)


@dataclass(frozen=True, eq=False)
class CoredSlab(Slab):
    """A core with something over it: shared parts of veneered, printed, painted and bare slabs.

    `edging`: 'raw', 'veneer_band', 'lipping', 'print_band', 'plain_band' or 'painted'. `skin_mm`: thickness of the face.
    """

    plies: int = 7
    ply_face_mm: float = 0.9
    ply_species: str = "birch_like"
    skin_mm: float = 0.0
    band_source: Board | None = None
    band_colour: tuple[float, float, float] = (0.8, 0.8, 0.78)
    band_design: PrintDesign | None = None

    def narrow(self, side: str, texel: float, window: Window = WHOLE) -> Figure:
        """Texture of an edge or end."""
        # the layers of an edge need its whole thickness: only the length is cut to the window
        u, v, used = self.axes(side, texel, (window[0], window[1], 0.0, 1.0))
        shape = (len(v), len(u))
        end = side in ("left", "right")
        salt = self.seed + SIDES.index(side) * 7
        if self.edging == "raw":
            fig = core_figure(self.core, shape, used, salt, end=end, plies=self.plies, face_mm=self.ply_face_mm,
                              ply_species=self.ply_species)
            return self._skins(fig, used, end)
        if self.edging in ("veneer_band", "lipping") and self.band_source is not None:
            depth = float(np.random.default_rng([salt, 3]).uniform(-30, 30))
            pts = self.band_source.points(u[None, :], v[:, None], np.full((1, 1), depth))
            fig = self.band_source.log.cut(pts, texel=used)
            return apply_finish(fig, self.finish, salt, used, self.place(side, u, v))
        if self.edging == "print_band" and self.band_design is not None:
            rng = np.random.default_rng([salt, 4])
            return self.band_design.face(float(rng.uniform(0, 900)), float(rng.uniform(0, 300)), shape, used)
        return paint_coat(shape, self.band_colour, "melamine", salt, used)

    def _skins(self, fig: Figure, texel: float, end: bool) -> Figure:
        """The face layer as a thin line along both faces of a raw edge."""
        if self.skin_mm <= 0:
            return fig
        rows = fig.rgb.shape[0]
        cover = np.clip(self.skin_mm / texel - np.minimum(np.arange(rows), rows - 1 - np.arange(rows)), 0, 1).astype(np.float32)
        colour = np.array(self.skin_colour(end), dtype=np.float32)
        rgb = fig.rgb * (1 - cover[:, None, None]) + colour * cover[:, None, None]
        return Figure(rgb.astype(np.float32), fig.relief, fig.ring)

    def skin_colour(self, end: bool) -> tuple[float, float, float]:
        return self.band_colour

    def facts(self) -> dict[str, Any]:
        extra = {"plies": self.plies} if self.core == "plywood" else {}
        return {**super().facts(), **extra}


@dataclass(frozen=True, eq=False)
class VeneerSlab(CoredSlab):
    """Leaves of one flitch on a core, side by side or laid to a `pattern`; `peeled`: one rotary-cut sheet instead (a plywood's
    own face)."""

    flitch: Board | None = None
    leaves: tuple[Leaf, ...] = ()
    layout: str = "single"
    peeled: Peeled | None = None
    pattern: Pattern | None = None
    peel_start: float = 0.0
    along: float = 0.0
    face_class: str = "veneer"

    def texture(self, side: str, texel: float, window: Window = WHOLE) -> Figure:
        if VIEW_OF[side] != "face":
            return self.narrow(side, texel, window)
        u, v, used = self.axes(side, texel, window)
        under = side == "under"
        if self.peeled is not None:
            start = self.peel_start + (900.0 if under else 0.0)
            pts = self.peeled.points(u[None, :], (v + start + self.size[1])[:, None], np.zeros((1, 1)))
            fig = self.peeled.log.cut(pts, texel=used)
        elif self.pattern is not None and not under:
            assert self.flitch is not None
            fig = cut_pattern(self.flitch, self.pattern, self.size[:2], u, v, used)
        else:
            assert self.flitch is not None
            fig = cut_leaves(self.flitch, self.leaves, u + self.along + (150.0 if under else 0.0), v, texel=used, seam=0.25)
        return apply_finish(fig, self.finish, self.seed + under, used, self.place(side, u, v))

    def skin_colour(self, end: bool) -> tuple[float, float, float]:
        log = self.flitch.log if self.flitch is not None else self.peeled.log  # type: ignore[union-attr]
        rgb = np.array(log.species.late) * (0.8 if end else 0.95)
        return float(rgb[0]), float(rgb[1]), float(rgb[2])

    def facts(self) -> dict[str, Any]:
        log = self.flitch.log if self.flitch is not None else self.peeled.log  # type: ignore[union-attr]
        leaves = [[round(x.start, 1), round(x.end, 1), x.depth, x.mirror] for x in self.leaves]
        layout = "rotary" if self.peeled is not None else self.pattern.name if self.pattern is not None else self.layout
        framed = self.pattern is not None and self.pattern.inset > 0
        return {**super().facts(), "layout": layout, "leaves": leaves, "framed": framed, "leaf_mm": 0.6,
                **log.facts()}


@dataclass(frozen=True, eq=False)
class PrintSlab(CoredSlab):
    """A printed face cut from the web at `origin` (mm along, across)."""

    design: PrintDesign | None = None
    origin: tuple[float, float] = (0.0, 0.0)
    embossed: float = 0.0
    face_class: str = "printed"

    def texture(self, side: str, texel: float, window: Window = WHOLE) -> Figure:
        if VIEW_OF[side] != "face":
            return self.narrow(side, texel, window)
        assert self.design is not None
        u, v, used = self.axes(side, texel, window)
        a0, b0 = self.origin
        if side == "under":
            a0, b0 = a0 + 377.0, b0 + 211.0
        a0, b0 = a0 + u[0] + self.size[0] / 2, b0 + v[0] + self.size[1] / 2
        fig = self.design.face(a0, b0, (len(v), len(u)), used)
        worn = apply_finish(fig, Finish(wear=self.finish.wear), self.seed, used, self.place(side, u, v))
        relief = emboss((len(v), len(u)), used, self.seed, self.embossed) if self.embossed else worn.relief
        return Figure(worn.rgb, relief, worn.ring)

    def facts(self) -> dict[str, Any]:
        assert self.design is not None
        return {**super().facts(), "layout": "print",
                "print_repeat_mm": self.design.repeat_mm, "print_width_mm": self.design.width_mm,
                "print_origin_mm": list(self.origin), "plank_mm": self.design.plank_mm,
                **self.design.source.log.facts()}


@dataclass(frozen=True, eq=False)
class PaintSlab(CoredSlab):
    """A covering coat over any core; `coat`: kind of `paint_coat`; `under`: boards whose pores telegraph through."""

    colour: tuple[float, float, float] = (0.9, 0.9, 0.88)
    coat: str = "smooth"
    under: LumberSlab | None = None
    face_class: str = "opaque"

    def texture(self, side: str, texel: float, window: Window = WHOLE) -> Figure:
        if VIEW_OF[side] != "face" and self.edging != "painted":
            return self.narrow(side, texel, window)
        u, v, used = self.axes(side, texel, window)
        below = self.under.raw(side, u, v, used) if self.under is not None and used < 0.8 else None
        fig = paint_coat((len(v), len(u)), self.colour, self.coat, self.seed + SIDES.index(side), used, below)
        return apply_finish(fig, Finish(wear=self.finish.wear, age=self.finish.age), self.seed, used, self.place(side, u, v))


@dataclass(frozen=True, eq=False)
class BareSlab(CoredSlab):
    """Raw board: fibreboard, hardboard, particle board or strand board (`kind`)."""

    kind: str = "fibreboard"
    face_class: str = "bare_board"
    edging: str = "raw"

    def texture(self, side: str, texel: float, window: Window = WHOLE) -> Figure:
        if VIEW_OF[side] != "face":
            return self.narrow(side, texel, window)
        u, v, used = self.axes(side, texel, window)
        shape = (len(v), len(u))
        if self.kind in ("fibreboard", "hardboard"):
            fig = cores.fibre_face(shape, used, self.seed, hard=self.kind == "hardboard")
        else:
            fig = cores.particle_face(shape, used, self.seed, coarse=self.kind == "strand_board")
        return apply_finish(fig, Finish(wear=self.finish.wear), self.seed, used, self.place(side, u, v))

    def facts(self) -> dict[str, Any]:
        return {**super().facts(), "layout": "bare", "board": self.kind}

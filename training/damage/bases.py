"""Sound surfaces that damage is drawn on: real figure, made-up wood, veneer, prints, paint, raw boards and narrow edges.

Making wood takes long, so a bank keeps what it made; one raw surface serves several panels, each with its own cut, finish,
light and damage. Raw surfaces depend on their seed alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.composites.figures import Figure
from training.damage.fields import Floats, cloud
from training.damage.real_bases import RealPanel
from training.figure import cores
from training.figure.cuts import cut_leaves, lay_leaves, saw_board
from training.figure.finish import PAINTS, STAINS, Finish
from training.figure.log import Log
from training.figure.prints import PrintDesign
from training.figure.species import SPECIES
from vision.resize import resize

#: Base surface -> how often it is drawn.
BASES = {
    "solid": 0.16,
    "veneer": 0.13,
    "photographed": 0.20,
    "real": 0.20,
    "printed": 0.13,
    "painted": 0.13,
    "board": 0.07,
    "edge_plywood": 0.07,
    "edge_particle": 0.035,
    "edge_fibre": 0.03,
    "edge_banded": 0.07,
}
FACE_OF = {"solid": "solid_wood", "veneer": "veneer", "printed": "printed", "painted": "opaque", "board": "bare_board"}
#: Size of a raw face, pixels (rows, columns), and how many a bank keeps.
RAW, KEPT = (470, 700), 90
CORES = ("lumber", "plywood", "particle_board", "fibreboard")


@dataclass(frozen=True, eq=False)
class Raw:
    """Unfinished colour (h, w, 3) float32 0..1 with grain along x, relief (h, w) in mm, and what it was made of."""

    colour: Floats
    relief: Floats
    mm: float
    group: str
    layout: str = "plain"


@dataclass(frozen=True, eq=False)
class Base:
    """A sound panel. `name`: key of BASES; `face`, `core`: keys of the registry; `colour` finished, `bare` unfinished,
    (h, w, 3) float32 0..1; `relief` px; `gloss` 0..1; `mm`: mm a pixel; `film`: a continuous skin (print or paint) lies on
    top; `sound_only`: no damage is drawn on it."""

    name: str
    face: str
    core: str
    colour: Floats
    bare: Floats
    relief: Floats
    gloss: float
    mm: float
    group: str
    film: bool
    layout: str = "plain"
    sound_only: bool = False

    @property
    def shape(self) -> tuple[int, int]:
        return int(self.colour.shape[0]), int(self.colour.shape[1])

    @property
    def edge(self) -> bool:
        return self.name.startswith("edge")


class Bank:
    """Makes and keeps raw surfaces. `figures`, `panels`: real figure and real sound panels of one part only; `rendered`: panels
    of rendered furniture, for teaching only; with them come look-alikes that no report draws."""

    def __init__(
        self,
        figures: Sequence[Figure] = (),
        salt: int = 0,
        panels: Sequence[RealPanel] = (),
        rendered: Sequence[RealPanel] = (),
    ) -> None:
        self.figures = tuple(figures)
        self.panels = tuple(panels)
        self.rendered = tuple(rendered)
        self.salt = salt
        self._kept: dict[tuple[str, int], Raw] = {}

    def raw(self, name: str, seed: int) -> Raw:
        """The raw surface of a kind and seed."""
        key = (name, seed)
        if key not in self._kept:
            if len(self._kept) >= KEPT:
                self._kept.pop(next(iter(self._kept)))
            self._kept[key] = self._make(name, np.random.default_rng([seed, self.salt, 901]), seed)
        return self._kept[key]

    def _make(self, name: str, rng: np.random.Generator, seed: int) -> Raw:
        mm = float(np.exp(rng.uniform(np.log(0.35), np.log(2.2))))
        if name == "photographed" and self.figures:
            return _photographed(self.figures[int(rng.integers(len(self.figures)))], rng)
        group = f"made {self.salt} {name} {seed}"
        if name in ("solid", "photographed"):
            return _boards(rng, mm, group)
        if name == "veneer":
            return _leaves(rng, mm, group)
        if name == "printed":
            return _printed(rng, mm, group)
        raise ValueError(f"no raw surface {name!r}")


def _photographed(figure: Figure, rng: np.random.Generator) -> Raw:
    pixels = figure.pixels
    h, w = pixels.shape[:2]
    scale = max(RAW[0] / h, RAW[1] / w) if min(h / RAW[0], w / RAW[1]) < 1 else float(rng.uniform(max(0.4, RAW[0] / h), 1.0))
    scale = min(scale, 1.5)
    if abs(scale - 1) > 0.02:
        pixels = resize(pixels, round(w * scale), round(h * scale))
    across = float(rng.uniform(160, 420))
    colour = pixels.astype(np.float32) / 255
    return Raw(colour, np.zeros(colour.shape[:2], np.float32), across / pixels.shape[0], figure.group)


def _axes(mm: float) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    return np.arange(RAW[1]) * mm, (np.arange(RAW[0]) - RAW[0] / 2) * mm


def _boards(rng: np.random.Generator, mm: float, group: str) -> Raw:
    """Glued-up boards of one species, joints nearly unseen, or one board."""
    species = str(rng.choice(list(SPECIES)))
    a, b = _axes(mm)
    count = int(np.clip(rng.poisson(RAW[0] * mm / 140), 1, 7))
    at = np.sort(rng.integers(20, RAW[0] - 20, count - 1))
    colour, relief = np.zeros((*RAW, 3), np.float32), np.zeros(RAW, np.float32)
    for low, high in zip([0, *at], [*at, RAW[0]], strict=True):
        if high <= low:
            continue
        board = saw_board(Log(species, int(rng.integers(1, 2**30))), str(rng.choice(["flat", "rift", "quarter"])), rng)
        cut = board.log.cut(board.points(a[None, :], b[low:high, None] - b[low], np.zeros((1, 1))), texel=mm)
        colour[low:high], relief[low:high] = cut.rgb * np.float32(rng.normal(1, 0.03)), cut.relief
        if low:
            colour[low] *= np.float32(rng.uniform(0.75, 1.0))
    return Raw(np.clip(colour, 0, 1), relief, mm, group, "boards" if count > 1 else "plain")


def _leaves(rng: np.random.Generator, mm: float, group: str) -> Raw:
    a, b = _axes(mm)
    layout = str(rng.choice(["single", "book", "slip", "running", "random"]))
    flitch = saw_board(
        Log(str(rng.choice(list(SPECIES))), int(rng.integers(1, 2**30))), str(rng.choice(["flat", "quarter"])), rng
    )
    leaves = lay_leaves(RAW[0] * mm + 2, float(rng.uniform(90, 260)), layout, rng)
    cut = cut_leaves(flitch, leaves, a, b, texel=mm, seam=float(rng.uniform(0, 0.3)))
    return Raw(cut.rgb, cut.relief, mm, group, layout)


def _printed(rng: np.random.Generator, mm: float, group: str) -> Raw:
    source = saw_board(
        Log(str(rng.choice(list(SPECIES))), int(rng.integers(1, 2**30))), str(rng.choice(["flat", "quarter"])), rng
    )
    stain = str(rng.choice(list(STAINS)))
    design = PrintDesign(
        source,
        Finish(stain=stain, strength=float(rng.uniform(0.3, 0.9))),
        float(rng.uniform(1300, 1500)),
        1200.0,
        scan_mm=float(rng.uniform(0.15, 0.5)),
        inks=int(rng.choice([0, 0, 24])),
        chroma=float(rng.uniform(0.2, 0.8)),
        contrast=float(rng.uniform(0.7, 1.2)),
        plank_mm=float(rng.choice([0, 0, 0, 120])),
        seed=int(rng.integers(1, 2**30)),
    )
    figure = design.face(float(rng.uniform(0, 500)), float(rng.uniform(0, 300)), RAW, mm)
    return Raw(figure.rgb, figure.relief, mm, group)


def finished(bare: Floats, relief: Floats, rng: np.random.Generator) -> tuple[Floats, float]:
    """(colour, gloss) of bare wood under stain, clear coat and age."""
    out = bare
    if rng.random() < 0.5:
        tint = np.asarray(STAINS[str(rng.choice(list(STAINS)))], np.float32)
        take = np.float32(rng.uniform(0.3, 0.95)) * (1 + 3 * np.clip(-relief, 0, 0.12))
        out = out * (1 - take[..., None] * (1 - tint))
    if rng.random() < 0.7:
        grey = out.mean(axis=2, keepdims=True)
        out = (grey + (out - grey) * np.float32(rng.uniform(1.0, 1.3))) * np.float32(rng.uniform(0.86, 1.0))
    if rng.random() < 0.5:
        out = out * (1 - np.float32(rng.uniform(0, 0.6)) * np.array([0.02, 0.10, 0.26], np.float32))
    gloss = float(rng.choice([0.05, 0.2, 0.45, 0.8])) * float(rng.uniform(0.7, 1.2))
    return np.asarray(np.clip(out, 0, 1), np.float32), min(1.0, gloss)


def make_base(name: str, seed: int, bank: Bank, rng: np.random.Generator) -> Base:
    """A sound panel cut from raw surface `seed` of its kind, finished by `rng`."""
    if name.startswith("edge"):
        return _edge(name, seed, rng)
    h, w = _size(rng)
    if name == "real":
        if bank.panels:
            return real_base(bank.panels[int(np.random.default_rng([seed, 31]).integers(len(bank.panels)))], rng)
        name = "solid"
    if name == "painted":
        return _painted(seed, h, w, rng)
    if name == "board":
        return _raw_board(seed, h, w, rng)
    raw = bank.raw(name, seed)
    h, w = min(h, raw.colour.shape[0]), min(w, raw.colour.shape[1])
    y0, x0 = int(rng.integers(raw.colour.shape[0] - h + 1)), int(rng.integers(raw.colour.shape[1] - w + 1))
    bare, relief = raw.colour[y0 : y0 + h, x0 : x0 + w], raw.relief[y0 : y0 + h, x0 : x0 + w]
    if rng.random() < 0.5:
        bare, relief = bare[::-1], relief[::-1]
    if rng.random() < 0.5:
        bare, relief = bare[:, ::-1], relief[:, ::-1]
    bare, relief = np.ascontiguousarray(bare, np.float32), np.ascontiguousarray(relief, np.float32)
    if name == "printed":
        return Base(
            name,
            "printed",
            str(rng.choice(["particle_board", "particle_board", "fibreboard", "plywood"])),
            bare,
            bare,
            relief,
            float(rng.uniform(0.1, 0.8)),
            raw.mm,
            raw.group,
            True,
        )
    if name == "photographed":
        colour = np.asarray(np.clip(bare * np.float32(rng.uniform(0.75, 1.1)), 0, 1), np.float32)
        bare = np.asarray(np.clip(0.55 * bare.mean(axis=(0, 1)) + 0.25 + 0.5 * (bare - bare.mean(axis=(0, 1))), 0, 1), np.float32)
        face = str(rng.choice(["solid_wood", "veneer"]))
        gloss = float(rng.choice([0.05, 0.3, 0.7]))
    else:
        colour, gloss = finished(bare, relief, rng)
        face = FACE_OF[name]
    core = "lumber" if face == "solid_wood" else str(rng.choice(CORES))
    return Base(name, face, core, colour, bare, relief * 0.4 / raw.mm, gloss, raw.mm, raw.group, False, raw.layout)


def real_base(panel: RealPanel, rng: np.random.Generator) -> Base:
    """A real panel, whole or cut, smaller or at its size; what lies under its face is made up to suit its label."""
    pixels = panel.pixels
    h, w = pixels.shape[:2]
    if rng.random() < 0.5 and min(h, w) > 160:
        ch, cw = int(h * rng.uniform(0.45, 1)), int(w * rng.uniform(0.45, 1))
        y0, x0 = int(rng.integers(h - ch + 1)), int(rng.integers(w - cw + 1))
        pixels = pixels[y0 : y0 + ch, x0 : x0 + cw]
    h, w = pixels.shape[:2]
    scale = min(640 / w, 460 / h, 1.6) * float(np.exp(rng.uniform(np.log(0.6), 0)))
    if rng.random() < 0.5:
        pixels = pixels[:, ::-1]
    small = resize(np.ascontiguousarray(pixels), max(32, round(w * scale)), max(32, round(h * scale)))
    colour = np.asarray(np.clip(small.astype(np.float32) / 255 * np.float32(rng.uniform(0.85, 1.1)), 0, 1), np.float32)
    mean = colour.mean(axis=(0, 1))
    bare = np.asarray(np.clip(0.55 * mean + 0.25 + 0.5 * (colour - mean), 0, 1), np.float32)
    face = panel.face if not panel.sound_only else "not_wood"
    core = panel.core if panel.core in CORES else "lumber" if face == "solid_wood" else str(rng.choice(CORES))
    if face == "opaque" and core in ("particle_board", "fibreboard"):
        bare = _plain_board(core, (colour.shape[0], colour.shape[1]), 0.8, rng)
    mm = float(rng.uniform(160, 420)) / min(colour.shape[:2])
    relief = np.zeros(colour.shape[:2], np.float32)
    gloss = float(rng.choice([0.0, 0.0, 0.2, 0.5]))
    film = face in ("opaque", "printed")
    return Base("real", face, core, colour, bare, relief, gloss, mm, panel.group, film, sound_only=panel.sound_only)


def _size(rng: np.random.Generator) -> tuple[int, int]:
    w = int(rng.integers(200, 641))
    h = int(np.clip(w * np.exp(rng.uniform(np.log(0.35), np.log(1.2))), 150, 460))
    return h, w


def _painted(seed: int, h: int, w: int, rng: np.random.Generator) -> Base:
    mm = float(np.exp(rng.uniform(np.log(0.35), np.log(2.2))))
    paint = np.asarray(PAINTS[str(rng.choice(list(PAINTS)))], np.float32) * np.float32(rng.uniform(0.85, 1.05))
    tone = 1 + 0.02 * cloud((h, w), 200, 200, rng) * float(rng.uniform(0.3, 1.5))
    relief = np.zeros((h, w), np.float32)
    kind = str(rng.choice(["plain", "brushed", "roller"]))
    if kind == "brushed":
        relief += 0.06 * cloud((h, w), 2.0 / mm, 120 / mm, rng)
    elif kind == "roller":
        relief += 0.07 * cloud((h, w), 2.0 / mm, 2.0 / mm, rng)
    core = str(rng.choice(["lumber", "lumber", "plywood", "particle_board", "fibreboard", "fibreboard"]))
    pale = np.asarray(SPECIES[str(rng.choice(["pine_like", "birch_like", "beech_like", "poplar_like"]))].early, np.float32)
    bare = grainy((h, w), pale, mm, rng) if core in ("lumber", "plywood") else _plain_board(core, (h, w), mm, rng)
    colour = np.asarray(np.clip(paint * (tone + 0.06 * relief)[..., None], 0, 1), np.float32)
    return Base(
        "painted", "opaque", core, colour, bare, relief * 0.3, float(rng.uniform(0.05, 0.8)), mm, f"made paint {seed}", True
    )


def _raw_board(seed: int, h: int, w: int, rng: np.random.Generator) -> Base:
    mm = float(np.exp(rng.uniform(np.log(0.35), np.log(1.6))))
    core = str(rng.choice(["particle_board", "fibreboard", "fibreboard"]))
    colour = _plain_board(core, (h, w), mm, rng)
    return Base("board", "bare_board", core, colour, colour, np.zeros((h, w), np.float32), 0.03, mm, f"made board {seed}", False)


def _plain_board(core: str, shape: tuple[int, int], mm: float, rng: np.random.Generator) -> Floats:
    """Even particle or fibre texture, quick to make."""
    low, high = ((0.61, 0.47, 0.32), (0.76, 0.62, 0.46)) if core == "fibreboard" else ((0.70, 0.58, 0.42), (0.82, 0.70, 0.53))
    t = rng.uniform(0, 1)
    base = np.array(low, np.float32) * np.float32(1 - t) + np.array(high, np.float32) * np.float32(t)
    fine = 0.6 if core == "fibreboard" else 1.6
    tone = (
        1
        + (0.035 if core == "fibreboard" else 0.08) * cloud(shape, fine / mm, 1.6 * fine / mm, rng)
        + 0.02 * cloud(shape, 60, 60, rng)
    )
    if core == "particle_board":
        specks = np.clip(cloud(shape, 1.2 / mm, 2.5 / mm, rng, 1) - 1.2, 0, 1)
        tone = tone - 0.25 * specks
    return np.asarray(np.clip(base * tone[..., None], 0, 1), np.float32)


def grainy(
    shape: tuple[int, int], colour: NDArray[np.floating], mm: float, rng: np.random.Generator, *, across: bool = False
) -> Floats:
    """Simple long-grain wood of a colour, or wood seen with its grain across x."""
    size = (3.5 / mm, 160 / mm)
    wide, fine = (
        cloud(shape, *(size[::-1] if across else size), rng),
        cloud(shape, *((14 / mm, 0.5 / mm) if across else (0.5 / mm, 14 / mm)), rng),
    )
    tone = 1 + 0.06 * wide + 0.035 * fine
    return np.asarray(
        np.clip(np.asarray(colour, np.float32) * tone[..., None] ** np.array([0.8, 1.0, 1.3], np.float32), 0, 1), np.float32
    )


def _edge(name: str, seed: int, rng: np.random.Generator) -> Base:
    """A narrow side along x, rows through the thickness."""
    thick = float(rng.uniform(11, 28))
    h, w = int(rng.integers(44, 116)), int(rng.integers(300, 641))
    mm, salt = thick / h, seed % 99991 + 1
    film, gloss, face, core = False, 0.05, "bare_board", "plywood"
    if name == "edge_plywood":
        plies = int(rng.choice([3, 5, 7, 9, 11]))
        rgb = cores.plywood_edge(
            (h, w),
            mm,
            plies,
            salt,
            face_grain_along=bool(rng.random() < 0.5),
            species=str(rng.choice(["birch_like", "poplar_like", "spruce_like"])),
        ).rgb
        face = "veneer"
    elif name == "edge_particle":
        rgb, core = cores.particle_edge((h, w), mm, salt).rgb, "particle_board"
    elif name == "edge_fibre":
        rgb, core = cores.fibre_edge((h, w), mm, salt).rgb, "fibreboard"
    else:
        core = str(rng.choice(["particle_board", "particle_board", "fibreboard"]))
        film, gloss, face = True, float(rng.uniform(0.1, 0.7)), "printed"
        tone = np.asarray(PAINTS[str(rng.choice(["white", "cream", "grey", "black", "beige", "tan"]))], np.float32)
        if rng.random() < 0.6:
            tone = np.asarray(SPECIES[str(rng.choice(list(SPECIES)))].early, np.float32)
            rgb = grainy((h, w), tone, mm, rng) * np.float32(rng.uniform(0.7, 1.05))
        else:
            rgb = np.broadcast_to(tone, (h, w, 3)) * np.float32(1)
    dark = 1.0 if film else float(rng.uniform(0.65, 1.02))
    dirt = 1 + float(rng.uniform(0.0, 0.05)) * cloud((h, w), 30, 80, rng)
    colour = np.asarray(np.clip(rgb * dark * dirt[..., None], 0, 1), np.float32)
    bare = (
        cores.particle_edge((h, w), mm, salt).rgb
        if core == "particle_board" and film
        else cores.fibre_edge((h, w), mm, salt).rgb
        if film
        else colour
    )
    return Base(
        name,
        face,
        core,
        colour,
        np.asarray(bare, np.float32),
        np.zeros((h, w), np.float32),
        gloss,
        mm,
        f"made {name} {seed}",
        film,
    )

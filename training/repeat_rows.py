"""Measurements of registered pairs with known truth, for fitting the likelihoods of repeats.

Pairs of panels (training.composites, part 'tune' only) go through the same search as photos do; each registered move gives
a row of measurements and its case: copy, leaf or chance. A quarter of the figures are boards of rendered logs, for copies as
well as for leaves and strangers, so that nothing but the change from one showing to the other tells the cases apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites.figures import Figure, load
from training.composites.pairs import Pair, make_pair, make_rendered_pair
from training.figure.cuts import saw_board
from training.figure.log import Log
from training.figure.species import SPECIES
from vision.repeats.candidates import moves_between
from vision.repeats.describe import describe
from vision.repeats.likelihood import CASES, inputs_of
from vision.repeats.measure import measure
from vision.repeats.register import register
from vision.repeats.sheet import SHEET_PX, Sheet
from vision.resize import fit_within, resize

#: Kind of pair and case; the kinds come in turn.
CASE = {"copy": "copy", "copy_turned": "copy", "slip": "leaf", "book": "leaf", "rotary": "leaf", "none": "chance"}
KINDS = ("copy", "none", "slip", "copy_turned", "none", "book", "copy", "none", "rotary", "slip")
DAMAGES = ("none", "jpeg40", "scale", "perspective", "light", "gloss", "blur", "small", "all", "all")
#: A registration counts as the true one within this share of the sheet's longer side (rms over the shared part).
TRUE_WITHIN = 0.02
#: Share of pairs cut from rendered logs.
RENDERED = 0.2
#: A picture that shows part of itself a second time, turned by half a turn (46 features agree): its parts are no strangers.
TURNED_WITHIN = ("Scopia.sh3f!scopia_box_room_mohogany_light.jpg",)
#: Share of strangers that are two parts of one board: the closest strangers there are.
ONE_BOARD = 0.4
#: Moves registered of a pair at most.
MOVES = 4


@dataclass(frozen=True)
class Row:
    """One registered move. `case`: of CASES; `group`: author(s); `pair`: number of the pair; `inputs`: (inputs,)."""

    case: str
    kind: str
    damage: str
    group: str
    pair: int
    inputs: tuple[float, ...]
    along_sd: float
    across_sd: float
    motion: str
    leaves: int = 0


@dataclass(frozen=True)
class Made:
    """What one pair gave: its kind and damage, and the rows of its moves (none where nothing was registered)."""

    kind: str
    damage: str
    rows: tuple[Row, ...]

    @property
    def led(self) -> bool:
        """Whether the pair led to a registration of its own case."""
        return any(r.case == CASE[self.kind] for r in self.rows)


def sheet_from(pixels: NDArray[np.uint8], name: str) -> tuple[Sheet, NDArray[np.float64]]:
    """The sheet of a rectified picture, and the 3x3 from picture to sheet pixels."""
    h, w = pixels.shape[:2]
    width, height = fit_within(w, h, max_side=SHEET_PX)
    sx, sy = width / w, height / h
    to_sheet = np.array([[sx, 0, 0.5 * sx - 0.5], [0, sy, 0.5 * sy - 0.5], [0, 0, 1.0]])
    small = np.ascontiguousarray(resize(pixels, width, height))
    return Sheet(name, name, small, np.ones((height, width), dtype=bool), np.linalg.inv(to_sheet)), to_sheet


def registration_error(truth: NDArray[np.float64], found: NDArray[np.float64], a: Sheet, b: Sheet) -> float:
    """Rms distance (share of b's longer side) between true and found place over the part of a that lies on b."""
    gx, gy = np.meshgrid(np.linspace(0.03, 0.97, 12) * a.width, np.linspace(0.03, 0.97, 12) * a.height)
    p = np.stack([gx.ravel(), gy.ravel(), np.ones(gx.size)])
    t, f = truth @ p, found @ p
    t, f = t[:2] / t[2], f[:2] / f[2]
    on = (t[0] > 0) & (t[0] < b.width) & (t[1] > 0) & (t[1] < b.height)
    if not on.any():
        return float("inf")
    return float(np.sqrt(((t - f)[:, on] ** 2).sum(axis=0).mean()) / max(b.width, b.height))


def pair_rows(pair: Pair, number: int) -> list[Row]:
    """Rows of the weightiest moves of a pair: of strangers all, of a related pair the first that is right.

    What misses the truth of a related pair may still be likeness of the same wood, and counts neither way.
    """
    (a, to_a), (b, to_b) = sheet_from(pair.a, "a"), sheet_from(pair.b, "b")
    da, db = describe(a), describe(b)
    truth = None if pair.truth is None else to_b @ pair.truth @ np.linalg.inv(to_a)
    group = "+".join(dict.fromkeys(_author(g) for g in pair.groups))
    out = []
    for move in moves_between(da, db)[:MOVES]:
        laid = register(da.figure, db.figure, move.transform)
        if laid is None or (truth is not None and registration_error(truth, laid.transform, a, b) > TRUE_WITHIN):
            continue
        measured = measure(laid, move.votes)
        if measured is None:
            continue
        out.append(Row(CASE[pair.kind], pair.kind, pair.damage, group, number, tuple(inputs_of(measured.values)),
                       measured.values["along_sd"], measured.values["across_sd"], move.motion, pair.leaves))
        if truth is not None:
            break
    return out


def _author(group: str) -> str:
    """Rendered logs of one species count as one author."""
    return " ".join(group.split()[:2]) if group.startswith("log ") else group


def rendered_figure(rng: np.random.Generator) -> Figure:
    """A board of a rendered log as a figure to cut copies from: 960 x 600 px at 1 to 2.5 px a millimetre."""
    name, seed = str(rng.choice(sorted(SPECIES))), int(rng.integers(2**31))
    log = Log(name, seed)
    cut = str(rng.choice(["flat", "rift", "quarter"]))
    scale = float(rng.uniform(1.0, 2.5))
    along, across = (np.arange(960) - 480) / scale, (np.arange(600) - 300) / scale
    cut_face = log.cut(saw_board(log, cut, rng).points(along[None, :], across[:, None], np.zeros((1, 1))), texel=1 / scale)
    pixels = np.asarray(np.clip(np.round(cut_face.rgb * 255), 0, 255), dtype=np.uint8)
    return Figure(pixels, f"log {name} {seed}", f"{name} {cut}", "straight" if cut == "quarter" else "plain")


def tuned_pair(figures: Sequence[Figure], number: int, seed: int) -> Pair:
    """Pair `number` of a seed: kinds in turn, damages by lot, authors drawn before their figures."""
    rng = np.random.default_rng([seed, number])
    kind, damage = KINDS[number % len(KINDS)], DAMAGES[int(rng.integers(len(DAMAGES)))]
    groups = rng.permutation(sorted({f.group for f in figures}))
    one, two = (_any_of([f for f in figures if f.group == g], rng) for g in groups[:2])
    if rng.random() < RENDERED:
        if CASE[kind] == "copy":
            return make_pair(rendered_figure(rng), kind, rng, damage)
        return make_rendered_pair(kind, rng, damage)
    if kind == "none" and one.name not in TURNED_WITHIN and rng.random() < ONE_BOARD:
        return make_pair(one, kind, rng, damage)
    return make_pair([one, two], kind, rng, damage)


def _any_of(figures: Sequence[Figure], rng: np.random.Generator) -> Figure:
    return figures[int(rng.integers(len(figures)))]


_FIGURES: list[Figure] = []


def _start(photos: Path, textures: Path | None) -> None:
    cv2.setNumThreads(1)
    _FIGURES[:] = load(photos, textures, "tune")


def _work(number: int, seed: int) -> Made:
    pair = tuned_pair(_FIGURES, number, seed)
    return Made(pair.kind, pair.damage, tuple(pair_rows(pair, number)))


def composite_rows(photos: Path, textures: Path | None, pairs: int, seed: int, workers: int = 1) -> list[Made]:
    """What `pairs` pairs of the tuning part gave, in order whatever the number of workers."""
    work: Any = partial(_work, seed=seed)
    _start(photos, textures)
    if workers <= 1:
        return [work(k) for k in range(pairs)]
    with get_context("spawn").Pool(workers, initializer=_start, initargs=(photos, textures)) as pool:
        return list(pool.imap(work, range(pairs), chunksize=8))


def seen(made: Sequence[Made]) -> dict[str, float]:
    """Share of the pairs of each case that led to a registration of their case."""
    return {c: float(np.mean([m.led for m in made if CASE[m.kind] == c] or [False])) for c in CASES}

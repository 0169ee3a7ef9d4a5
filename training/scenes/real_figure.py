"""Which parts of a piece wear real figure: strips of one picture, laid out so that no place of it is shown twice by accident.

The rule is the same for solid wood, veneer and print, so that the figure says nothing of the face: a part gets it while the
strips are long enough for it and unused width is left. On solid wood every board takes a window of its own; veneer opens or slips
leaves of one strip; a print comes back after its repeat, along and across.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training.figure.cuts import lay_leaves
from training.figure.log import Log
from training.figure.pictures import PictureBoard, PictureLog, Strip, picture_board
from training.figure.prints import PrintDesign
from training.figure.slabs import LumberSlab, PrintSlab, Slab, VeneerSlab

#: Share of pieces that wear real figure where its parts are covered.
SHARE = 1 / 3
#: A strip is at most so much longer in the scene than its picture says: rings stretch along the grain unnoticed.
STRETCH = 1.6
#: Room left at a strip's sides for leaves that drift, mm.
_DRIFT = 24.0


def load_figures(folder: Path) -> list[list[Strip]]:
    """The prepared pictures (training.scenes.figure_folder), the strips of one picture together."""
    sets: dict[str, list[Strip]] = {}
    for row in json.loads((folder / "figures.json").read_text(encoding="utf-8")):
        picture = cv2.imread(str(folder / row["file"]))
        if picture is None:
            raise OSError(f"{folder / row['file']} could not be read")
        pixels = np.ascontiguousarray(picture[..., ::-1], dtype=np.uint8)
        sets.setdefault(row["picture"], []).append(Strip(pixels, (row["mm"], row["mm"]), row["hash"]))
    return [sets[k] for k in sorted(sets)]


@dataclass(eq=False)
class Pool:
    """The real figure of one piece: `logs` of the strips of one picture, and how much of each one's width is used."""

    logs: list[PictureLog]
    rng: np.random.Generator
    used: list[float]

    @staticmethod
    def of(figures: list[list[Strip]], seed: int, base: Log) -> Pool | None:
        """The pool of a piece; None for the two pieces in three that wear made figure only."""
        rng = np.random.default_rng([seed, 206])
        if not figures or rng.random() >= SHARE:
            return None
        area = np.array([np.sqrt(sum(s.extent[0] * s.extent[1] for s in strips)) for strips in figures])
        strips = figures[int(rng.choice(len(figures), p=area / area.sum()))]
        stretch, grow = float(rng.uniform(1.1, STRETCH)), float(rng.uniform(0.9, 1.15))
        mean = np.mean([s.pixels.reshape(-1, 3).mean(axis=0) for s in strips], axis=0)
        laid = [Strip(_toned(s.pixels, seed, mean), (s.mm[0] * stretch * grow, s.mm[1] * grow), s.name) for s in strips]
        logs = [PictureLog(laid[int(k)], base) for k in rng.permutation(len(laid))]
        return Pool(logs, rng, [0.0] * len(logs))

    def take(self, length: float, widths: list[float]) -> list[PictureBoard] | None:
        """A window of its own for each of `widths` mm by `length`; None, and nothing used, where they are not to be had."""
        used, boards = list(self.used), []
        for width in widths:
            for k, log in enumerate(self.logs):
                along, across = log.strip.extent
                if along >= length + 4 and across - used[k] >= width + 2:
                    slack = along - length
                    at = 0.5 * along + float(self.rng.uniform(-0.5, 0.5)) * (slack - 4)
                    boards.append(picture_board(log, at, used[k] + 1 + width / 2, flip=bool(self.rng.random() < 0.5)))
                    used[k] += width + 2
                    break
            else:
                return None
        self.used = used
        return boards

    def flitch(self, length: float) -> tuple[PictureBoard, float, float] | None:
        """(middle of the strip that veneer is sliced from and prints are taken of, most width of a leaf, slack along)."""
        along, across = self.logs[0].strip.extent
        if along < length + 4 or across < 2.5 * _DRIFT:
            return None
        return picture_board(self.logs[0], along / 2, across / 2), across - _DRIFT, along - length

    def staves(self, width: float) -> list[float]:
        """Equal boards that the widest strip can give for a part so wide."""
        most = max(log.strip.extent[1] for log in self.logs) - 2
        count = max(1, int(np.ceil(width / most)))
        return [width / count] * count


def _toned(pixels: NDArray[np.uint8], seed: int, mean: NDArray[np.float64]) -> NDArray[np.uint8]:
    """The picture most of the way towards a lightness drawn for the piece, a little warmer or cooler, no gaudier than wood."""
    rng = np.random.default_rng([seed, 207])
    grey = float(mean.mean())
    gain = (float(rng.uniform(90, 175)) / max(grey, 1.0)) ** 0.7 * np.exp(rng.normal(0, 0.025, 3))
    vivid = float((mean.max() - mean.min()) / max(float(mean.max()), 1.0))
    kept = min(1.0, float(rng.uniform(0.25, 0.6)) / max(vivid, 1e-3))
    even = pixels.mean(axis=2, keepdims=True)
    return np.clip((even + kept * (pixels - even)) * gain + 0.5, 0, 255).astype(np.uint8)


def clad(slab: Slab, pool: Pool, design: PrintDesign) -> Slab:
    """The slab in real figure where the pool covers it; paint, bare board, patterned and peeled veneer stay as they are."""
    length, width, _ = slab.size
    if not isinstance(slab, LumberSlab | VeneerSlab | PrintSlab):
        return slab
    if isinstance(slab, VeneerSlab) and (slab.peeled is not None or slab.pattern is not None):
        return slab
    widths = pool.staves(width)
    found = pool.flitch(length)
    boards = pool.take(length, widths) if found is not None else None
    if boards is None or found is None:
        return slab
    flitch, leaf, slack = found
    if isinstance(slab, LumberSlab):
        joints = np.cumsum(widths)[:-1] - width / 2
        return replace(slab, boards=tuple(boards), joints=tuple(float(x) for x in joints))
    rng = np.random.default_rng([slab.seed, 208])
    along = float(rng.uniform(-0.5, 0.5)) * (slack - 4)
    if isinstance(slab, VeneerSlab):
        layout = slab.layout if slab.layout in ("book", "slip") else str(rng.choice(["book", "slip"]))
        first = slab.leaves[0].depth if slab.leaves else 0
        leaves = lay_leaves(width, width, "single", rng, first)
        if width > leaf:
            count = int(np.ceil(width / leaf))
            leaves = lay_leaves(width, width / max(2, count) - 1e-6, layout, rng, first)
        else:
            layout = "single"
        band = slab.band_source and boards[0]
        return replace(slab, flitch=flitch, leaves=leaves, layout=layout, along=along, band_source=band)
    return replace(slab, design=printed(design, pool), origin=(float(rng.uniform(0, 900)), float(rng.uniform(0, 400))))


def printed(design: PrintDesign, pool: Pool) -> PrintDesign:
    """The piece's print taken of the strip that its veneer would be sliced from; the repeat is what the strip can give."""
    along, across = pool.logs[0].strip.extent
    share = float(np.random.default_rng([design.seed, 209]).uniform(0.7, 1.0))
    board = picture_board(pool.logs[0], along / 2, across / 2)
    return replace(design, source=board, repeat_mm=share * (along - 70.0), width_mm=across - 8.0, plank_mm=0.0)

"""Real wood figure as a substance to saw, slice and print: strips of pictures that stand in for a trunk where they cover a part.

A strip has the grain along x. A board cut from it reads (along, across) off the picture; depth moves the reading across, so that
figure runs on over an arris and drifts from leaf to leaf. Ends are those of a made-up trunk, toned to the picture.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.figure.cuts import Board
from training.figure.log import Figure, Log
from training.figure.noise import Floats, value_noise
from vision.resize import resize

#: Depth is read back and forth over so many millimetres.
_FOLD = 40.0


@dataclass(frozen=True, eq=False)
class Strip:
    """One board's worth of real figure: `pixels` (h, w, 3) uint8 sRGB, `mm` a pixel (along, across), `name` a hash."""

    pixels: NDArray[np.uint8]
    mm: tuple[float, float]
    name: str

    @property
    def extent(self) -> tuple[float, float]:
        """Millimetres (along, across)."""
        return self.pixels.shape[1] * self.mm[0], self.pixels.shape[0] * self.mm[1]


class PictureLog(Log):
    """A strip in place of a trunk; `base` gives what the picture does not show. Places are (across, depth, along) mm."""

    def __init__(self, strip: Strip, base: Log) -> None:
        self.__dict__.update(base.__dict__)
        self.strip, self.base = strip, base
        pictures = [strip.pixels]
        while min(pictures[-1].shape[:2]) > 16:
            h, w = pictures[-1].shape[:2]
            pictures.append(resize(pictures[-1], w // 2, h // 2))
        levels = [p.astype(np.float32) / np.float32(255) for p in pictures]
        self.levels = levels
        mean = levels[0].reshape(-1, 3).mean(axis=0)
        made = 0.5 * (np.array(base.species.early) + np.array(base.species.late))
        self.gain = (mean / made).astype(np.float32)
        dark = tuple(float(v) for v in np.quantile(levels[0].reshape(-1, 3), 0.15, axis=0))
        self.species = replace(base.species, name="real_figure", late=(dark[0], dark[1], dark[2]))

    def facts(self) -> dict[str, Any]:
        """What the truth says of it."""
        return {"species": "real_figure", "ring_mm": None, "figured": "straight", "figure_source": "real",
                "figure_hash": self.strip.name}

    def cut(self, p: NDArray[np.floating], *, texel: float, end: float = 0.0) -> Figure:
        if end > 0:
            made = self.base.cut(np.asarray(p) + np.array([60.0, 90.0, 0.0], np.float32), texel=texel, end=end)
            return Figure(np.clip(made.rgb * self.gain, 0, 1), made.relief, made.ring)
        p = np.asarray(p, dtype=np.float32)
        depth = np.abs((p[..., 1] + _FOLD / 2) % (2 * _FOLD) - _FOLD) - np.float32(_FOLD / 2)
        fine = min(self.strip.mm)
        level = int(np.clip(np.floor(np.log2(max(texel / fine, 1.0))), 0, len(self.levels) - 1))
        picture = self.levels[level]
        sx = picture.shape[1] / self.strip.extent[0]
        sy = picture.shape[0] / self.strip.extent[1]
        x = np.ascontiguousarray(p[..., 2] * np.float32(sx) - np.float32(0.5))
        y = np.ascontiguousarray((p[..., 0] - depth) * np.float32(sy) - np.float32(0.5))
        how = cv2.INTER_CUBIC if texel < fine else cv2.INTER_LINEAR
        rgb = np.asarray(cv2.remap(picture, x, y, how, borderMode=cv2.BORDER_REFLECT_101), dtype=np.float32)
        if texel < 0.8 * fine:  # nearer than the picture was: fibres that every wood has, alike on whatever it is laid
            fibre = value_noise(self.seed + 4, p[..., 0] / 0.4, p[..., 1] / 0.4, p[..., 2] / 14)
            rgb = rgb * (1 + np.float32(0.05 * min(1.0, fine / texel - 1)) * fibre)[..., None]
        grey = np.ascontiguousarray(rgb.mean(axis=2))
        calm = cv2.GaussianBlur(grey, (0, 0), float(np.clip(2.5 / texel, 0.8, 25)))
        relief = np.float32(0.8) * np.clip(grey - calm, -0.12, 0)
        return Figure(np.clip(rgb, 0, 1), relief.astype(np.float32), np.zeros_like(grey))


@dataclass(frozen=True, eq=False)
class PictureBoard(Board):
    """A board whose middle lies `across` mm from the strip's first row and `z` mm from its first column."""

    across: float = 0.0

    def points(self, a: Floats, b: Floats, c: Floats) -> NDArray[np.float32]:
        sign = np.float32(-1.0 if self.flip else 1.0)
        a, b, c = (np.asarray(v, dtype=np.float32) for v in (a, b, c))
        parts = np.broadcast_arrays(b * sign + np.float32(self.across), c, a + np.float32(self.z))
        return np.stack(parts, axis=-1)


def picture_board(log: PictureLog, along: float, across: float, *, flip: bool = False) -> PictureBoard:
    """A board with its middle at (along, across) mm of the strip."""
    return PictureBoard(log, 0.0, 0.0, 0.0, (0.0, 0.0), along, flip, across)

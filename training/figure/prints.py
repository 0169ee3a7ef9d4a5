"""Printed faces: a picture taken of the same wood that boards and leaves are cut from, then printed again and again.

The print is flat (no pore relief of its own), made of few inks, at the scan's resolution, and comes back exactly after
one turn of the print cylinder.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from training.figure.cuts import Board, cut_leaves, lay_leaves
from training.figure.finish import Finish, apply_finish
from training.figure.log import Figure
from training.figure.noise import Floats, cell_hash, value_noise

#: cross-fade that closes the picture on itself, mm
_JOIN_MM = 60.0


@dataclass(frozen=True, eq=False)
class PrintDesign:
    """A design: `source` board seen by the scanner, `repeat_mm` along the grain, `width_mm` across before it comes back,
    `scan_mm` blur of scan and print, `inks` tone steps per ink (0: none), `chroma` 0..1 how much of the wood's own colour
    variety survives the few inks, `plank_mm` width of printed boards (0: one wide figure), `screen` halftone strength."""

    source: Board
    finish: Finish
    repeat_mm: float
    width_mm: float
    scan_mm: float = 0.2
    inks: int = 0
    chroma: float = 0.6
    plank_mm: float = 0.0
    screen: float = 0.0
    contrast: float = 1.0
    seed: int = 0

    def period(self, texel: float) -> int:
        """Whole texels in one repeat."""
        return max(1, round(self.repeat_mm / texel))

    def face(self, a0: float, b0: float, shape: tuple[int, int], texel: float) -> Figure:
        """Face of a sheet cut from the web: `a0`, `b0` mm along and across where it starts; rows across, cols along.

        Columns that are a whole number of repeats apart are equal to the last bit.
        """
        n, m = self.period(texel), max(1, round(self.width_mm / texel))
        cols = (round(a0 / texel) + np.arange(shape[1])) % n
        rows = (round(b0 / texel) + np.arange(shape[0])) % m
        wanted, back = np.unique(cols, return_inverse=True)
        across, back_rows = np.unique(rows, return_inverse=True)
        rgb = self._scan(wanted, across, texel)
        rgb = rgb[back_rows][:, back]
        return Figure(rgb, np.zeros(shape, dtype=np.float32), np.zeros(shape, dtype=np.float32))

    def _scan(self, cols: NDArray[np.int64], rows: NDArray[np.int64], texel: float) -> Floats:
        span = self.period(texel) * texel
        b = rows * texel
        out = np.zeros((len(rows), len(cols), 3), dtype=np.float32)
        for chunk in np.split(np.arange(len(cols)), np.flatnonzero(np.diff(cols) > 1) + 1):
            a = cols[chunk] * texel
            out[:, chunk] = self._wood(a, b, texel)
            near = np.flatnonzero(a < _JOIN_MM)
            if len(near):
                w = (a[near] / _JOIN_MM).astype(np.float32)[None, :, None]
                w = w * w * (3 - 2 * w)
                out[:, chunk[near]] = out[:, chunk[near]] * w + self._wood(a[near] + span, b, texel) * (1 - w)
        return self._inked(out, cols, rows, texel)

    def _wood(self, a: NDArray[np.floating], b: NDArray[np.floating], texel: float) -> Floats:
        # the scan cannot carry more than its own resolution: the field is read at that pitch and no finer detail exists
        pitch = max(texel, self.scan_mm)
        leaves = _planks(self.width_mm, self.plank_mm, self.seed)
        fig = cut_leaves(self.source, leaves, a - self.repeat_mm / 2, b - self.width_mm / 2, texel=pitch,
                         leaf_mm=0.6, seam=0.35 if self.plank_mm else 0.0)
        return apply_finish(fig, self.finish, self.seed, texel).rgb

    def _inked(self, rgb: Floats, cols: NDArray[np.int64], rows: NDArray[np.int64], texel: float) -> Floats:
        if self.scan_mm > 0.5 * texel:
            sigma = max(0.3, 0.5 * self.scan_mm / texel)
            rgb = np.asarray(cv2.GaussianBlur(rgb, (0, 0), sigma, borderType=cv2.BORDER_REFLECT), dtype=rgb.dtype)
        tone = rgb.mean(axis=2, keepdims=True)
        # few inks: colour becomes a function of tone alone, save for the share `chroma`
        centred = tone - tone.mean()
        middle = rgb.mean(axis=(0, 1), keepdims=True)
        slope = (centred * (rgb - middle)).mean(axis=(0, 1), keepdims=True) / (float((centred**2).mean()) + 1e-9)
        ramp = middle + centred * slope
        rgb = ramp + self.chroma * (rgb - ramp)
        mean = rgb.mean(axis=(0, 1), keepdims=True)
        rgb = mean + (rgb - mean) * self.contrast
        x, y = (cols * texel).astype(np.float32)[None, :], (rows * texel).astype(np.float32)[:, None]
        if self.inks:
            grain = cell_hash(self.seed + 5, cols[None, :].astype(np.int32), rows[:, None].astype(np.int32)) - 0.5
            step = 1.0 / self.inks
            rgb = np.floor(rgb / step + 0.5 + 0.5 * grain[..., None]) * step
        if self.screen > 0:
            pitch = 0.17
            if texel < 0.5 * pitch:
                dots = np.cos(6.2832 * (x + y) / (pitch * 1.4142)) * np.cos(6.2832 * (x - y) / (pitch * 1.4142))
            else:
                dots = np.broadcast_to(0.5 * (value_noise(self.seed + 6, *np.broadcast_arrays(x / 0.5, y / 0.5))), rgb.shape[:2])
            rgb = rgb * (1 + 0.10 * self.screen * dots[..., None])
        return np.clip(rgb, 0, 1).astype(np.float32)


@lru_cache(maxsize=64)
def _planks(width: float, plank: float, seed: int) -> tuple:
    rng = np.random.default_rng([seed, 51])
    if plank <= 0:
        return lay_leaves(width, width, "single", rng)
    return lay_leaves(width, plank, "random", rng)


def emboss(shape: tuple[int, int], texel: float, seed: int, strength: float) -> Floats:
    """Pressed-in pore ticks, out of register with the print; relief in mm."""
    yy, xx = np.meshgrid(*(np.arange(n, dtype=np.float32) * np.float32(texel) for n in shape), indexing="ij")
    ticks = value_noise(seed + 61, xx / 7.0, yy / 0.5)
    return (-0.05 * strength * np.clip(ticks - 0.25, 0, 1)).astype(np.float32)

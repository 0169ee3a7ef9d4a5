"""The strip under the picture that explains what occurs in it, and nothing else."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from vision.evidence.bands import draw_band
from vision.evidence.grain_strokes import draw_strokes
from vision.evidence.palette import BED, PAPER, Band
from vision.evidence.placement import Box
from vision.evidence.tags import draw_number, text_width, write

Sample = Callable[[NDArray[np.uint8], float, float], None]


def legend(
    width: int, size: int, bands: Sequence[Band], *, grain: bool, numbers: bool, extra: Sequence[str] = (), basis: str = ""
) -> NDArray[np.uint8]:
    """(h, width, 3) uint8 strip: one entry a band, one for grain strokes, one for numbers, then lines of text.

    `extra`: full-width lines (panels whose tag had to be cut to its name); `basis`: what the percentages rest on.
    """
    sample = 2.6 * size
    entries: list[tuple[Sample, str]] = [(_band_sample(b, sample, size), b.words) for b in bands]
    if grain:
        entries.append((_grain_sample(sample, size), "grain direction"))
    if numbers:
        entries.append((_number_sample(sample, size), "evidence, see the list"))
    pad, gap, row = round(0.6 * size), round(0.5 * size), round(1.75 * size)
    places, x, y = [], pad, pad
    for draw, words in entries:
        needed = round(sample) + gap + text_width(words, size)
        if x > pad and x + needed > width - pad:
            x, y = pad, y + row
        places.append((draw, words, x, y + row / 2))
        x += needed + 2 * gap
    texts = [*extra, f"Percentages: {basis}."] if basis else list(extra)
    lines = [piece for text in texts for piece in wrapped(text, size, width - 2 * pad)]
    top = y + (row if entries else 0)
    strip = np.full((top + round(1.4 * size) * len(lines) + pad, width, 3), PAPER, np.uint8)
    strip[:3] = BED
    for draw, words, left, middle in places:
        draw(strip, left, middle)
        write(strip, (left + sample + gap, middle), words, size)
    for k, line in enumerate(lines):
        write(strip, (pad, top + (k + 0.5) * 1.4 * size), line, size)
    return strip


def wrapped(text: str, size: int, width: int) -> list[str]:
    """Text broken at spaces so that no line is wider than `width` px (a single longer word stays whole)."""
    lines: list[str] = []
    for word in text.split():
        if lines and text_width(f"{lines[-1]} {word}", size) <= width:
            lines[-1] = f"{lines[-1]} {word}"
        else:
            lines.append(word)
    return lines


def _band_sample(band: Band, length: float, size: int) -> Sample:
    def draw(strip: NDArray[np.uint8], x: float, y: float) -> None:
        draw_band(strip, np.array([[x + 6, y], [x + length - 6, y]]), band, 0.2 * size, closed=False)

    return draw


def _grain_sample(length: float, size: int) -> Sample:
    def draw(strip: NDArray[np.uint8], x: float, y: float) -> None:
        tilt = 0.12 * size
        pair = [np.array([[x + a * length, y + tilt], [x + b * length, y - tilt]]) for a, b in ((0.0, 0.45), (0.55, 1.0))]
        draw_strokes(strip, pair, size / 10)

    return draw


def _number_sample(length: float, size: int) -> Sample:
    def draw(strip: NDArray[np.uint8], x: float, y: float) -> None:
        side = round(1.4 * size)
        draw_number(strip, Box(round(x + (length - side) / 2), round(y - side / 2), side, side), 1, size)

    return draw

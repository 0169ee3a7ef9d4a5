"""Veneer laid to a pattern over a whole panel: four-way and end match, diamonds, boxes, wedges, chevrons, squares, frames.

Each piece of a pattern is a part of the panel with a map into the frame of its leaf; a leaf is a slice of the flitch. Plans are
in millimetres of the panel: x along its length, y across, both from the middle.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from training.figure.cuts import LEAF_MM, Board
from training.figure.log import Figure

Affine = NDArray[np.float64]
Floats = NDArray[np.floating]


@dataclass(frozen=True, eq=False)
class Laid:
    """One piece: the half-planes n . (x, y) >= d that bound it, rows (nx, ny, d); `to_leaf` (2, 3) from the panel to (along,
    across) of its leaf; `depth` slices down in the flitch; `tone`."""

    sides: NDArray[np.float64]
    to_leaf: Affine
    depth: int
    tone: float = 1.0

    def covers(self, x: Floats, y: Floats) -> NDArray[np.bool_]:
        """Which places of a grid (x along columns, y along rows) lie in the piece."""
        inside = np.ones((len(y), len(x)), dtype=bool)
        for nx, ny, d in self.sides:
            inside &= nx * x[None, :] + ny * y[:, None] >= d
        return inside


@dataclass(frozen=True, eq=False)
class Pattern:
    """A panel's pieces in the order in which they are laid (later ones over earlier); `name` a key of PATTERNS; `seam_mm`:
    width of the joint lines; `line_mm`: width of a stringing between field and frame, 0 for none, of tone `line_tone`."""

    name: str
    pieces: tuple[Laid, ...]
    seam_mm: float = 0.25
    line_mm: float = 0.0
    line_tone: float = 0.4
    inset: float = 0.0


def cut_pattern(flitch: Board, pattern: Pattern, size: tuple[float, float], x: Floats, y: Floats, texel: float, *,
                shift: float = 0.0, leaf_mm: float = LEAF_MM) -> Figure:
    """Figure of a patterned panel of `size` (length, width) mm at columns `x` and rows `y` (mm from its middle)."""
    shape = (len(y), len(x))
    rgb, relief, ring = np.zeros((*shape, 3), np.float32), np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    number = np.full(shape, -1, dtype=np.int32)
    for k, piece in enumerate(pattern.pieces):
        inside = piece.covers(x, y)
        rows, cols = np.flatnonzero(inside.any(axis=1)), np.flatnonzero(inside.any(axis=0))
        if not len(rows):
            continue
        box = np.s_[rows[0]:rows[-1] + 1, cols[0]:cols[-1] + 1]
        px, py = x[None, cols[0]:cols[-1] + 1], y[rows[0]:rows[-1] + 1, None]
        m = piece.to_leaf
        along, across = (r[0] * px + r[1] * py + r[2] for r in m)
        cut = flitch.log.cut(flitch.points(along + shift, across, np.full((1, 1), -piece.depth * leaf_mm)), texel=texel)
        part = inside[box]
        rgb[box][part] = cut.rgb[part] * np.float32(piece.tone)
        relief[box][part], ring[box][part] = cut.relief[part], cut.ring[part]
        number[box][part] = k
    seam = np.zeros(shape, dtype=bool)
    seam[:, 1:] |= number[:, 1:] != number[:, :-1]
    seam[1:] |= number[1:] != number[:-1]
    rgb[seam] *= np.float32(1.0 - 0.35 * min(1.0, pattern.seam_mm / texel))
    if pattern.line_mm > 0:
        to_side = np.minimum(size[0] / 2 - np.abs(x)[None, :], size[1] / 2 - np.abs(y)[:, None])
        share = np.clip((pattern.line_mm / 2 - np.abs(to_side - pattern.inset)) / texel + 0.5, 0, 1).astype(np.float32)
        line = np.float32(pattern.line_tone) * np.array([1.0, 0.86, 0.66], np.float32)
        rgb = rgb + (line - rgb) * share[..., None]
    return Figure(np.clip(rgb, 0, 1).astype(np.float32), relief, ring)


def _affine(angle: float, about: tuple[float, float] = (0.0, 0.0), flip: tuple[bool, bool] = (False, False)) -> Affine:
    """(along, across) of a leaf whose grain lies at `angle` (radians from x), read from `about`; flips mirror its own axes."""
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, s], [-s, c]])
    turn[0] *= -1 if flip[0] else 1
    turn[1] *= -1 if flip[1] else 1
    return np.c_[turn, -turn @ np.array(about)]


def _box(x0: float, x1: float, y0: float, y1: float) -> NDArray[np.float64]:
    return np.array([[1.0, 0, x0], [-1.0, 0, -x1], [0, 1.0, y0], [0, -1.0, -y1]])


def _pages(count: int, rng: np.random.Generator) -> list[float]:
    page = float(rng.uniform(0.92, 1.0))
    return [page if k % 2 else 1.0 for k in range(count)]


def _four_way(length: float, width: float, rng: np.random.Generator) -> list[Laid]:
    across = max(2, 2 * round(width / rng.uniform(240, 460)))
    edges, tones, out = np.linspace(-width / 2, width / 2, across + 1), _pages(2, rng), []
    for k in range(across):
        for j in range(2):
            about = (0.0, float(edges[k] if k % 2 == 0 else edges[k + 1]))
            out.append(Laid(_box(-length / 2 if j == 0 else 0.0, 0.0 if j == 0 else length / 2, edges[k], edges[k + 1]),
                            _affine(0.0, about, (j == 0, k % 2 == 1)), 2 * k + j, tones[(j + k) % 2]))
    return out


def _quarters(length: float, width: float, rng: np.random.Generator, outward: bool) -> list[Laid]:
    slant, tones, out = float(rng.uniform(0.6, 0.95)), _pages(2, rng), []
    for j, sx in enumerate((-1.0, 1.0)):
        for k, sy in enumerate((-1.0, 1.0)):
            sides = np.array([[sx, 0, 0], [0, sy, 0], [-sx, 0, -length / 2], [0, -sy, -width / 2]])
            # the map of the first quarter, mirrored over the middle lines into the others
            base = _affine(slant if outward else -slant) @ np.array([[sx, 0, 0], [0, sy, 0], [0, 0, 1.0]])
            out.append(Laid(sides, base, 2 * j + k, tones[(j + k) % 2]))
    return out


def _diamond(length: float, width: float, rng: np.random.Generator) -> list[Laid]:
    return _quarters(length, width, rng, outward=False)


def _reverse_diamond(length: float, width: float, rng: np.random.Generator) -> list[Laid]:
    return _quarters(length, width, rng, outward=True)


def _boxed(length: float, width: float, rng: np.random.Generator) -> list[Laid]:
    reverse, tones, out = bool(rng.random() < 0.5), _pages(2, rng), []
    for k in range(4):
        # between the diagonals: |y| / width > |x| / length on the long sides, the other way on the short ones
        s = 1.0 if k < 2 else -1.0
        if k % 2 == 0:  # long side at y = s * width / 2
            sides = np.array([[1 / length, s / width, 0], [-1 / length, s / width, 0]])
            angle = 0.0
        else:
            sides = np.array([[s / length, 1 / width, 0], [s / length, -1 / width, 0]])
            angle = np.pi / 2
        out.append(Laid(sides, _affine(angle + (np.pi / 2 if reverse else 0.0), flip=(False, k in (1, 2))), k, tones[k % 2]))
    return out


def _radial(length: float, width: float, rng: np.random.Generator) -> list[Laid]:
    count = 2 * int(rng.integers(3, 9))
    step, tones, out = 2 * np.pi / count, _pages(2, rng), []
    start = float(rng.choice([0.0, step / 2])) + np.pi / 2
    for k in range(count):
        a0, a1 = start + k * step, start + (k + 1) * step
        sides = np.array([[-np.sin(a0), np.cos(a0), 0], [np.sin(a1), -np.cos(a1), 0]])
        out.append(Laid(sides, _affine((a0 + a1) / 2, flip=(False, k % 2 == 1)), k, tones[k % 2]))
    return out


def _chevrons(length: float, width: float, rng: np.random.Generator) -> list[Laid]:
    slant, strip, out = float(rng.uniform(0.55, 1.0)), float(rng.uniform(60, 160)), []
    for side in (1.0, -1.0):
        nx, ny = np.sin(slant), side * np.cos(slant)  # across the strips of this half
        reach = int(np.ceil((length / 2 + width / 2) / strip)) + 1
        for k in range(-reach, reach):
            sides = np.array([[0, side, 0], [nx, ny, k * strip], [-nx, -ny, -(k + 1) * strip]])
            about = (k * strip * nx, k * strip * ny)
            out.append(Laid(sides, _affine(side * (np.pi / 2 - slant) * -1, about, (False, side < 0)), k + reach))
    return out


def _squares(length: float, width: float, rng: np.random.Generator) -> list[Laid]:
    cell = float(rng.uniform(70, 180))
    cols, rows, out = max(2, round(length / cell)), max(2, round(width / cell)), []
    for c in range(cols):
        for r in range(rows):
            x0, y0 = -length / 2 + c * length / cols, -width / 2 + r * width / rows
            out.append(Laid(_box(x0, x0 + length / cols, y0, y0 + width / rows),
                            _affine(np.pi / 2 * ((c + r) % 2), (x0, y0), (bool(rng.random() < 0.5), False)),
                            int(rng.integers(0, 200)), float(np.exp(rng.normal(0, 0.05)))))
    return out


#: Pattern -> how its pieces lie on a panel of (length, width) mm.
PATTERNS: Final[dict[str, Callable[[float, float, np.random.Generator], list[Laid]]]] = {
    "four_way": _four_way, "diamond": _diamond, "reverse_diamond": _reverse_diamond, "boxed": _boxed, "radial": _radial,
    "chevrons": _chevrons, "squares": _squares,
}


def lay_pattern(name: str, size: tuple[float, float], rng: np.random.Generator) -> Pattern:
    """A pattern for a panel of `size` (length, width) mm; two in five get a frame of cross-grain veneer, half of those with a
    thin inlaid line."""
    length, width = size
    pieces = PATTERNS[name](length, width, rng)
    if rng.random() >= 0.4 or min(size) < 220:
        return Pattern(name, tuple(pieces))
    band = float(rng.uniform(18, 60))
    frame = [*_banding(length, width, band, 300), *_upright(length, width, band, 330)]
    line = float(rng.uniform(1.0, 5.0)) if rng.random() < 0.5 else 0.0
    return Pattern(name, (*pieces, *frame), line_mm=line, line_tone=float(rng.choice([0.12, 0.3, 0.85])), inset=band)


def _banding(length: float, width: float, band: float, first: int) -> list[Laid]:
    """Book matched cross-grain strips along both long sides."""
    count = max(2, 2 * round(length / 300))
    edges = np.linspace(-length / 2, length / 2, count + 1)
    out = []
    for s, low in ((-1, -width / 2), (1, width / 2 - band)):
        for k in range(count):
            about = (float(edges[k] if k % 2 == 0 else edges[k + 1]), low)
            out.append(Laid(_box(edges[k], edges[k + 1], low, low + band), _affine(np.pi / 2, about, (False, k % 2 == 1)),
                            first + (s > 0)))
    return out


def _upright(length: float, width: float, band: float, first: int) -> list[Laid]:
    """The same along both short sides, mitred into the long ones at the corners."""
    count = max(2, 2 * round(width / 300))
    edges = np.linspace(-width / 2, width / 2, count + 1)
    out = []
    for s in (-1.0, 1.0):
        mitre = [[s, 0, length / 2 - band], [s, 1, length / 2 - width / 2], [s, -1, length / 2 - width / 2]]
        for k in range(count):
            about = (s * length / 2, float(edges[k] if k % 2 == 0 else edges[k + 1]))
            sides = np.array([*mitre, [0, 1.0, edges[k]], [0, -1.0, -edges[k + 1]]])
            out.append(Laid(sides, _affine(0.0, about, (False, k % 2 == 1)), first + (s > 0)))
    return out

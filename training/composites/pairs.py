"""Pairs of panels with known truth: printed copies, sequential leaves, book pages, turns of a peeled sheet, or no relation.

Kinds: 'copy' (exact figure at an offset), 'copy_turned' (under a half turn), 'copy_mirrored' (a print laid the other way
cannot be, but reconstituted veneer opened like a book can), 'slip', 'book', 'rotary', 'none', and 'reconstituted', which is
a copy by another name: no photo tells it from a print. Windows of related panels share 40 to 100 % of their area, as far
as the figure has room, whatever the kind, so that the place tells nothing; a print may be stretched by 0.3 % (sd; assumption
within the 1 % web tolerance of the trade).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites.camera import DAMAGES
from training.composites.drift import DEPTH_MM, LEAF_RANGE_MM, leaf_displacement, renew_detail
from training.composites.figures import Figure
from training.figure.cuts import LEAF_MM, Peeled, saw_board
from training.figure.log import Log
from training.figure.species import SPECIES

KINDS = ("copy", "copy_turned", "copy_mirrored", "slip", "book", "rotary", "none", "reconstituted")
#: Shorter side of a panel before damage (less where the figure does not carry it), and its longest side, pixels.
PANEL_PX, LONGEST = 512, 1000
#: Panel length along the grain over its width across.
ASPECTS = (0.7, 3.0)
#: Share of related pairs cut at the same place of the sheet or flitch, as fronts of one run are (assumption).
SAME_PLACE = 0.3
#: Fewest figure pixels for one panel pixel: figure is not blown up further than 2.2 times.
MIN_SCALE = 0.45


Matrix = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Pair:
    """Two panels and what is true of them.

    `a`, `b`: (h, w, 3) uint8 rectified pictures. `truth`: 3x3 matrix from pixels of `a` to pixels of `b` showing the same
    figure (without the leaf's own drift), None for 'none'. `share`: part of panel a whose figure is on b. `leaves`: how
    many slices apart. `shrink`: share by which a rotary pitch shrank. `drift_px`: rms of the leaf's displacement from its
    best rigid fit, pixels where the shorter side has 512. `groups`: authors of the figures.
    `detail`: what kind of negative it is.
    """

    a: NDArray[np.uint8]
    b: NDArray[np.uint8]
    kind: str
    truth: Matrix | None
    share: float
    damage: str
    groups: tuple[str, ...]
    leaves: int = 0
    shrink: float = 0.0
    drift_px: float = 0.0
    detail: str = ""


def make_pair(figures: Figure | Sequence[Figure], kind: str, rng: np.random.Generator, damage: str = "none") -> Pair:
    """A pair of panels of real figure.

    Parameters
    ----------
    figures : one figure, or several. The first carries the figure; the second gives foreign detail to leaves and is the
        other board of 'none' (with a single figure, 'none' takes two windows of it that share nothing, and leaves borrow
        detail from a far part of the same figure).
    kind : one of `KINDS`.
    damage : a key of `camera.DAMAGES`.
    """
    if kind not in KINDS:
        raise ValueError(f"unknown kind {kind!r}; known: {KINDS}")
    several = [figures] if isinstance(figures, Figure) else list(figures)
    first, second = several[0], several[min(1, len(several) - 1)]
    upright = rng.random() < 0.3
    if kind == "none":
        a, b, detail = _unrelated(first, second, rng)
        groups = tuple(dict.fromkeys((first.group, second.group)))
        a, b = _stand((a, b), upright)
        pa, _ = _shoot(a, damage, rng, second=False)
        pb, _ = _shoot(b, damage, rng, second=True)
        return Pair(pa, pb, kind, None, 0.0, damage, groups, detail=detail)
    scene = _related(first, second, kind, rng)
    a, b = _stand((scene.a, scene.b), upright)
    truth = _stood(scene.truth, scene.a.shape, scene.b.shape, upright)
    pa, ta = _shoot(a, damage, rng, second=False)
    pb, tb = _shoot(b, damage, rng, second=True)
    total = tb @ truth @ np.linalg.inv(ta)
    return Pair(pa, pb, kind, total / total[2, 2], scene.share, damage, (first.group,), scene.leaves, scene.shrink,
                scene.drift_px)


def make_rendered_pair(kind: str, rng: np.random.Generator, damage: str = "none") -> Pair:
    """A pair cut from a procedural log, where drift follows from the solid: 'slip', 'book', 'rotary' or 'none'.

    Leaves are `LEAF_MM` apart, 1 to 6 slices; a peeled sheet shrinks as its radius falls. 'none' gives two boards of one
    species from different logs. `groups` names the species and the log's seed.
    """
    name = str(rng.choice(sorted(SPECIES)))
    seed = int(rng.integers(2**31))
    log = Log(name, seed)
    px_per_mm = float(rng.uniform(1.0, 2.5))
    h, w = PANEL_PX, int(PANEL_PX * rng.uniform(1.0, 2.0))
    across = (np.arange(h) - h / 2) / px_per_mm
    along = (np.arange(w) - w / 2) / px_per_mm
    groups: tuple[str, ...] = (f"log {name} {seed}",)
    leaves, shrink = 0, 0.0
    truth: Matrix | None = np.eye(3)
    if kind == "rotary":
        radius, z = float(rng.uniform(120, 260)), float(rng.uniform(-500, 500))
        thick = float(rng.uniform(1.0, 3.0))
        sheet = Peeled(log, radius, z, thick)
        start = float(rng.uniform(0, 400))
        pitch = _turn_length(radius, thick, start)
        r0, r1 = np.sqrt(radius**2 - thick / np.pi * start), np.sqrt(radius**2 - thick / np.pi * (start + pitch))
        shrink = float(1 - r1 / r0)
        b0 = across - across[0] + start
        a = log.cut(sheet.points(along[None, :], b0[:, None], np.zeros((1, 1))), texel=1 / px_per_mm).rgb
        b = log.cut(sheet.points(along[None, :], (b0 + pitch)[:, None], np.zeros((1, 1))), texel=1 / px_per_mm).rgb
        truth = np.diag([1.0, 1 - shrink, 1.0])
    elif kind in ("slip", "book", "none"):
        cut = str(rng.choice(["flat", "rift", "quarter"]))
        board = saw_board(log, cut, rng)
        a = log.cut(board.points(along[None, :], across[:, None], np.zeros((1, 1))), texel=1 / px_per_mm).rgb
        if kind == "none":
            other = Log(name, seed + 1)
            groups += (f"log {name} {seed + 1}",)
            far = saw_board(other, cut, rng)
            b = other.cut(far.points(along[None, :], across[:, None], np.zeros((1, 1))), texel=1 / px_per_mm).rgb
            truth = None
        else:
            leaves = 1 if kind == "book" else int(rng.integers(1, 7))
            side = -across if kind == "book" else across
            slide = float(rng.normal(0, 3))
            depth = np.full((1, 1), -leaves * LEAF_MM)
            b = log.cut(board.points((along + slide)[None, :], side[:, None], depth), texel=1 / px_per_mm).rgb
            truth = np.array([[1, 0, -slide * px_per_mm], [0, 1, 0], [0, 0, 1.0]])
            if kind == "book":
                b = b * np.float32(rng.uniform(0.93, 1.0))
                # row r shows -across[r] = (h - r) / scale - h / (2 scale): row h - r of the first
                truth = np.array([[1, 0, -slide * px_per_mm], [0, -1, h], [0, 0, 1.0]])
    else:
        raise ValueError(f"a log has no kind {kind!r}")
    pixels = [np.asarray(np.clip(np.round(v * 255), 0, 255), dtype=np.uint8) for v in (a, b)]
    pa, ta = _shoot(pixels[0], damage, rng, second=False)
    pb, tb = _shoot(pixels[1], damage, rng, second=True)
    total = None
    if truth is not None:
        total = tb @ truth @ np.linalg.inv(ta)
        total = total / total[2, 2]
    return Pair(pa, pb, kind, total, 0.0 if truth is None else 1.0, damage, groups, leaves, shrink,
                detail=f"rendered {name}")


def _turn_length(radius: float, thick: float, start: float) -> float:
    """Arc length (mm) of the turn that begins at arc length `start` of a sheet peeled from `radius`."""
    # theta = 2 pi (radius - r) / thick: one turn takes r down by exactly one leaf
    r0 = np.sqrt(radius**2 - thick / np.pi * start)
    return float((r0**2 - (r0 - thick) ** 2) * np.pi / thick)


@dataclass(frozen=True, eq=False)
class _Scene:
    a: NDArray[np.uint8]
    b: NDArray[np.uint8]
    truth: Matrix
    share: float
    leaves: int = 0
    shrink: float = 0.0
    drift_px: float = 0.0


def _shoot(surface: NDArray[np.uint8], damage: str, rng: np.random.Generator, *, second: bool,
           ) -> tuple[NDArray[np.uint8], Matrix]:
    return DAMAGES[damage](surface, rng, second=second)


def _stand(panels: tuple[NDArray[np.uint8], ...], upright: bool) -> tuple[NDArray[np.uint8], ...]:
    """Both panels turned a quarter when the grain is to run upright."""
    return tuple(np.ascontiguousarray(np.rot90(p)) for p in panels) if upright else panels


def _stood(truth: Matrix, a: tuple[int, ...], b: tuple[int, ...], upright: bool) -> Matrix:
    """`truth` between panels of shapes `a` and `b` after both were turned a quarter counter-clockwise."""
    if not upright:
        return truth

    def turn(shape: tuple[int, ...]) -> Matrix:
        return np.array([[0, 1, 0], [-1, 0, shape[1] - 1], [0, 0, 1.0]])

    return np.asarray(turn(b) @ truth @ np.linalg.inv(turn(a)), dtype=np.float64)


def _panel_size(figure: Figure, rng: np.random.Generator, room: float) -> tuple[int, int, float]:
    """(width, height, figure pixels per panel pixel) so that a window leaves `room` (0..1) of the figure's sides free."""
    fh, fw = figure.pixels.shape[:2]
    free_w, free_h = fw * (1 - room), fh * (1 - 0.5 * room)
    best = (0.0, 1.0)
    for _ in range(6):  # of a few shapes the first that carries enough figure, else the one that carries most
        aspect = float(np.exp(rng.uniform(*np.log(ASPECTS))))
        short = min(free_h, free_w / aspect) * min(1.0, aspect)
        best = max(best, (short, aspect))
        if short > 0.6 * PANEL_PX:
            best = (short, aspect)
            break
    short, aspect = best
    scale = float(np.clip(short * rng.uniform(0.75, 1.0) / PANEL_PX, MIN_SCALE, 2.0))
    side = min(PANEL_PX, short / scale, LONGEST / max(aspect, 1 / aspect))
    width, height = side * max(1.0, aspect), side / min(1.0, aspect)
    return int(width), int(height), scale


def _sample(pixels: NDArray[np.uint8], x: NDArray[np.float32], y: NDArray[np.float32], scale: float) -> NDArray[np.uint8]:
    """Figure at (x, y), without aliasing where `scale` figure pixels make one panel pixel; reflected beyond the border."""
    source = cv2.GaussianBlur(pixels, (0, 0), 0.45 * np.sqrt(scale**2 - 1)) if scale > 1.15 else pixels
    out = cv2.remap(source, x, y, interpolation=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT_101)
    return np.asarray(out, dtype=np.uint8)


def sample_window(figure: Figure, matrix: Matrix, width: int, height: int, scale: float,
            shift: tuple[NDArray[np.float32], NDArray[np.float32]] | None = None) -> NDArray[np.uint8]:
    """Panel whose pixel (x, y) shows the figure at `matrix` (x, y, 1), moved by `shift` (panel pixels) first."""
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    if shift is not None:
        x, y = x + shift[0], y + shift[1]
    fx = (matrix[0, 0] * x + matrix[0, 1] * y + matrix[0, 2]).astype(np.float32)
    fy = (matrix[1, 0] * x + matrix[1, 1] * y + matrix[1, 2]).astype(np.float32)
    return _sample(figure.pixels, fx, fy, scale)


def _offsets(free_x: float, free_y: float, width: float, height: float, rng: np.random.Generator,
             ) -> tuple[tuple[float, float], tuple[float, float]]:
    """Corners of two windows (figure pixels) that share 40 to 100 % of their area, as far as the figure has room."""
    share = float(rng.uniform(0.4, 1.0))
    sy = min(free_y, (1 - share) * rng.uniform(0, 0.5) * height)
    sx = min(free_x, max(0.0, 1 - share / (1 - sy / height)) * width)
    x0, y0 = rng.uniform(0, free_x - sx), rng.uniform(0, free_y - sy)
    a, b = (x0, y0), (x0 + sx, y0 + sy)
    if rng.random() < 0.5:
        a, b = (b[0], a[1]), (a[0], b[1])
    if rng.random() < 0.5:
        a, b = b, a
    return a, b


def _related(figure: Figure, other: Figure, kind: str, rng: np.random.Generator) -> _Scene:
    copies = kind in ("copy", "copy_turned", "copy_mirrored", "reconstituted")
    width, height, scale = _panel_size(figure, rng, 0.35)
    fh, fw = figure.pixels.shape[:2]
    free_x, free_y = max(0.0, fw - width * scale - 2), max(0.0, fh - height * scale - 2)
    # where the two panels were cut says nothing of print or leaf: both kinds get the same choice of offsets
    if rng.random() < SAME_PLACE:
        slide = rng.normal(0, 6.0 * scale, 2)
        x0, y0 = rng.uniform(0, free_x), rng.uniform(0, free_y)
        oa, ob = (x0, y0), (float(np.clip(x0 + slide[0], 0, free_x)), float(np.clip(y0 + slide[1], 0, free_y)))
    else:
        oa, ob = _offsets(free_x, free_y, width * scale, height * scale, rng)
    ma = np.array([[scale, 0, oa[0]], [0, scale, oa[1]], [0, 0, 1.0]])
    mb = np.array([[scale, 0, ob[0] + rng.uniform(0, 0.9)], [0, scale, ob[1] + rng.uniform(0, 0.9)], [0, 0, 1.0]])
    turned, mirrored = kind == "copy_turned", kind in ("book", "copy_mirrored")
    if kind == "reconstituted":
        turned = rng.random() < 0.3
    flip = np.eye(3)
    if turned:
        flip = np.array([[-1, 0, width - 1], [0, -1, height - 1], [0, 0, 1.0]])
    elif mirrored:
        flip = np.array([[1, 0, 0], [0, -1, height - 1], [0, 0, 1.0]])
    mb = mb @ flip
    a = sample_window(figure, ma, width, height, scale)
    leaves, depth, shrink, drift, shift, px_per_mm = 0, 0.0, 0.0, 0.0, None, 1.0
    if copies:
        stretch = 1 + rng.normal(0, 0.003)
        middle = np.array([[stretch, 0, (1 - stretch) * width / 2], [0, 1, 0], [0, 0, 1.0]])
        mb = mb @ middle
    else:
        px_per_mm = float(rng.uniform(1.0, 2.5)) * min(width, height) / PANEL_PX
        leaves = {"book": 1, "rotary": 2}.get(kind) or int(rng.integers(1, 7))
        if kind == "rotary":
            shrink = float(np.exp(rng.uniform(np.log(0.003), np.log(0.03))))
            mb = mb @ np.diag([1.0, 1 / (1 - shrink), 1.0])
        depth = leaves * float(rng.uniform(*LEAF_RANGE_MM)) / DEPTH_MM
        shift = leaf_displacement(height, width, depth, figure.kind, px_per_mm, rng)
        drift = _rigid_residual(shift) * PANEL_PX / min(width, height)
    b = sample_window(figure, mb, width, height, scale, shift)
    if not copies:
        b = renew_detail(b, foreign(other, figure, width, height, rng), depth, px_per_mm, rng)
    if kind == "book":
        b = np.clip(b * rng.uniform(0.9, 1.0), 0, 255).astype(np.uint8)  # loose side turned up (assumption)
    truth = np.linalg.inv(mb) @ ma
    return _Scene(a, b, truth / truth[2, 2], _shared(truth, (width, height)), leaves, shrink, drift)


def _rigid_residual(shift: tuple[NDArray[np.float32], NDArray[np.float32]]) -> float:
    """Rms length of a displacement field after its mean is taken out, pixels."""
    return float(np.sqrt(sum(np.var(s) for s in shift)))


def _shared(truth: Matrix, size: tuple[int, int]) -> float:
    """Part of panel a that lands on panel b of the same size (w, h)."""
    y, x = np.mgrid[0 : size[1] : 16, 0 : size[0] : 16]
    p = truth @ np.stack([x.ravel(), y.ravel(), np.ones(x.size)])
    u, v = p[0] / p[2], p[1] / p[2]
    return float(((u >= 0) & (u < size[0]) & (v >= 0) & (v < size[1])).mean())


def foreign(other: Figure, own: Figure, width: int, height: int, rng: np.random.Generator) -> NDArray[np.uint8]:
    """(height, width, 3) of foreign detail: another figure, or the same one upside down and reversed."""
    fh, fw = other.pixels.shape[:2]
    scale = min(fh / height, fw / width, 2.0)
    matrix = np.array([[scale, 0, rng.uniform(0, max(0.0, fw - scale * width))],
                       [0, scale, rng.uniform(0, max(0.0, fh - scale * height))], [0, 0, 1.0]])
    pixels = sample_window(other, matrix, width, height, scale)
    return np.ascontiguousarray(pixels[::-1, ::-1]) if other is own else pixels


def _unrelated(first: Figure, second: Figure, rng: np.random.Generator,
               ) -> tuple[NDArray[np.uint8], NDArray[np.uint8], str]:
    """Two panels without common figure: of two boards, or of two parts of one board that do not touch."""
    if first is not second:
        out = []
        for figure in (first, second):
            width, height, scale = _panel_size(figure, rng, 0.05)
            fh, fw = figure.pixels.shape[:2]
            corner = np.array([[scale, 0, rng.uniform(0, max(0.0, fw - width * scale - 2))],
                               [0, scale, rng.uniform(0, max(0.0, fh - height * scale - 2))], [0, 0, 1.0]])
            out.append(sample_window(figure, corner, width, height, scale))
        same = "same author" if first.group == second.group else "other author"
        return out[0], out[1], f"{same}, {first.kind}"
    fh, fw = first.pixels.shape[:2]
    lengthwise = fw >= 1.6 * fh  # the longer side is shared out between the two windows
    box_w, box_h = (fw // 2 - 4, fh) if lengthwise else (fw, fh // 2 - 4)
    half = Figure(first.pixels[:box_h, :box_w], first.group, first.name, first.kind)
    rest = Figure(first.pixels[-box_h:, -box_w:], first.group, first.name, first.kind)
    a, b, _ = _unrelated(half, rest, rng)
    return a, b, f"same board, {first.kind}"

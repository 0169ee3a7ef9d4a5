"""Ways of cutting a log: boards, sliced veneer leaves and the peeled (rotary) sheet. All give points in log space.

A board's own frame: a along its length (the grain), b across its width, c through its thickness, each 0 at the middle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.figure.log import Figure, Log

LEAF_MM = 0.6
#: angle between the board's normal and the radius of the log, degrees
CUT_ANGLES = {"flat": (0.0, 18.0), "rift": (35.0, 55.0), "quarter": (80.0, 90.0)}


@dataclass(frozen=True, eq=False)
class Board:
    """A straight board in a log. `distance`, `azimuth`: where its middle lies across the log; `turn`: angle of its normal
    to the radius; `slope`: (b, c) mm per mm of a by which the fibre leaves the board's length; `z`: where along the log."""

    log: Log
    distance: float
    azimuth: float
    turn: float
    slope: tuple[float, float]
    z: float
    flip: bool = False

    def points(self, a: NDArray[np.floating], b: NDArray[np.floating], c: NDArray[np.floating]) -> NDArray[np.float32]:
        """Log coordinates of board coordinates (broadcast)."""
        sign = -1.0 if self.flip else 1.0
        a, b, c = (np.asarray(v, dtype=np.float32) for v in (a, b, c))
        b, c = b * np.float32(sign), c * np.float32(sign)
        b = b + a * np.float32(self.slope[0])
        c = c + a * np.float32(self.slope[1])
        normal = self.azimuth + self.turn
        nx, ny = np.float32(np.cos(normal)), np.float32(np.sin(normal))
        ox, oy = np.float32(self.distance * np.cos(self.azimuth)), np.float32(self.distance * np.sin(self.azimuth))
        x = ox + c * nx - b * ny
        y = oy + c * ny + b * nx
        return np.stack(np.broadcast_arrays(x, y, a + np.float32(self.z)), axis=-1)


def saw_board(log: Log, cut: str, rng: np.random.Generator) -> Board:
    """A board sawn at random: `cut` is 'flat', 'rift' or 'quarter'."""
    low, high = CUT_ANGLES[cut]
    turn = float(np.deg2rad(rng.uniform(low, high))) * (1 if rng.random() < 0.5 else -1)
    return Board(log, float(rng.uniform(45, 230)), float(rng.uniform(0, 6.283)), turn,
                 (float(rng.normal(0, 0.008)), float(rng.normal(0, 0.012))), float(rng.uniform(-700, 700)),
                 bool(rng.random() < 0.5))


@dataclass(frozen=True, eq=False)
class Peeled:
    """A sheet peeled from a turning log: b runs round the log, the radius falls by one leaf every turn."""

    log: Log
    radius: float
    z: float
    leaf_mm: float = LEAF_MM * 2

    def points(self, a: NDArray[np.floating], b: NDArray[np.floating], c: NDArray[np.floating]) -> NDArray[np.float32]:
        """Log coordinates; arc length b from the start of the sheet (mm)."""
        a, b, c = (np.asarray(v, dtype=np.float32) for v in (a, b, c))
        # radius as a function of arc length s: r dr = -leaf/(2 pi) ds
        r = np.sqrt(np.maximum(self.radius**2 - self.leaf_mm / np.pi * b, 25.0))
        theta = 2 * np.pi / self.leaf_mm * (self.radius - r)
        rr = r + c
        x, y = rr * np.cos(theta), rr * np.sin(theta)
        return np.stack(np.broadcast_arrays(x, y, a + np.float32(self.z)), axis=-1).astype(np.float32)


@dataclass(frozen=True)
class Leaf:
    """One veneer leaf as laid: spans b in [start, end) of the panel; `depth`: slices down in the flitch; `mirror`: opened
    like a book page; `shift`: mm the leaf is pushed along the grain; `offset`: where its middle lies in the flitch."""

    start: float
    end: float
    depth: int
    mirror: bool
    shift: float
    offset: float
    tone: float


def lay_leaves(width: float, leaf_width: float, layout: str, rng: np.random.Generator, first: int = 0) -> tuple[Leaf, ...]:
    """Leaves over a panel `width` mm wide: 'single', 'slip', 'book', 'running' or 'random' (see `Leaf`)."""
    if layout == "single":
        return (Leaf(-width / 2, width / 2, first, False, 0.0, 0.0, 1.0),)
    leaves: list[Leaf] = []
    # book and slip leaves are centred on the panel, as a shop lays them; running and random ones start where they will
    count = max(2, round(width / leaf_width))
    edges = np.linspace(-width / 2, width / 2, count + 1)
    if layout in ("running", "random"):
        inner = edges[1:-1] + rng.uniform(-0.3, 0.3, count - 1) * (width / count)
        edges = np.concatenate([[-width / 2], inner, [width / 2]])
    page = float(rng.uniform(0.97, 1.0))
    for k in range(count):
        start, end = float(edges[k]), float(edges[k + 1])
        if layout == "book":
            leaves.append(Leaf(start, end, first + k, k % 2 == 1, 0.0, 0.0, page if k % 2 else 1.0))
        elif layout == "slip":
            leaves.append(Leaf(start, end, first + k, False, float(rng.normal(0, 3)), 0.0, 1.0))
        elif layout == "running":
            leaves.append(Leaf(start, end, first + k, bool(rng.random() < 0.3), float(rng.normal(0, 40)),
                               float(rng.uniform(-25, 25)), float(rng.uniform(0.95, 1.03))))
        elif layout == "random":
            leaves.append(Leaf(start, end, first + int(rng.integers(0, 160)), bool(rng.random() < 0.5),
                               float(rng.uniform(-400, 400)), float(rng.uniform(-60, 60)), float(rng.uniform(0.9, 1.07))))
        else:
            raise ValueError(f"unknown leaf layout {layout!r}")
    return tuple(leaves)


def cut_leaves(flitch: Board, leaves: tuple[Leaf, ...], a: NDArray[np.floating], b: NDArray[np.floating], *, texel: float,
               leaf_mm: float = LEAF_MM, seam: float = 0.0) -> Figure:
    """Figure of laid leaves at panel coordinates `a` (cols) by `b` (rows). `seam`: darkness of the joint lines."""
    rgb = np.zeros((len(b), len(a), 3), dtype=np.float32)
    relief = np.zeros((len(b), len(a)), dtype=np.float32)
    ring = np.zeros_like(relief)
    for leaf in leaves:
        rows = np.flatnonzero((b >= leaf.start) & (b < leaf.end if leaf is not leaves[-1] else b <= leaf.end + 1))
        if not len(rows):
            continue
        local = b[rows] - 0.5 * (leaf.start + leaf.end)
        if leaf.mirror:
            local = -local
        pts = flitch.points((a + leaf.shift)[None, :], (local + leaf.offset)[:, None], np.full((1, 1), -leaf.depth * leaf_mm))
        cut = flitch.log.cut(pts, texel=texel)
        rgb[rows] = cut.rgb * np.float32(leaf.tone)
        relief[rows], ring[rows] = cut.relief, cut.ring
        if seam > 0 and leaf is not leaves[0]:
            rgb[rows[0]] *= np.float32(1.0 - seam * min(1.0, 0.25 / texel))
    return Figure(np.clip(rgb, 0, 1), relief, ring)

"""Where a finding lies: the whole panel, or the very lines, spots and strips that were located."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from vision.cues_seen import read_cues
from vision.edges.strips import FaceLine, LayerLine, RingArc
from vision.findings.base import PanelContext
from vision.findings.observe import GAP_TOLD
from vision.layouts import NO_LAYOUT
from vision.types import Outline, Point, Region

#: More marks than this of one kind make a picture unreadable; the strongest are kept.
MOST_MARKS = 12

Placer = Callable[[PanelContext], tuple[Region, ...]]


def _seams(ctx: PanelContext) -> tuple[Region, ...]:
    ranked = sorted(ctx.structure.seams, key=lambda s: -s.strength)[:MOST_MARKS]
    return tuple(ctx.region("line", np.array([s.p0, s.p1])) for s in ranked)


def _strips(ctx: PanelContext) -> tuple[Region, ...]:
    strips = ctx.structure.strips
    return tuple(ctx.region("polygon", np.array(s.outline)) for s in strips[:MOST_MARKS]) if len(strips) >= 2 else ()


def _knots(ctx: PanelContext) -> tuple[Region, ...]:
    ranked = sorted(ctx.structure.knots, key=lambda k: -k.score)[:MOST_MARKS]
    return tuple(ctx.region("point", np.array([[k.x, k.y]])) for k in ranked)


def _layers(ctx: PanelContext) -> tuple[Region, ...]:
    lines = [m for m in ctx.marks if isinstance(m, LayerLine | FaceLine)]
    return tuple(ctx.region("line", np.array(m.points)) for m in lines[:MOST_MARKS])


def _rings(ctx: PanelContext) -> tuple[Region, ...]:
    return tuple(ctx.region("line", np.array(m.points)) for m in ctx.marks if isinstance(m, RingArc))


def _leaves(ctx: PanelContext) -> tuple[Region, ...]:
    """Seams of a named layout; what is one sheet, or cannot be settled, has no place of its own."""
    layout = ctx.measure.layout
    if layout is None or layout.name in ("single", *NO_LAYOUT):
        return ()
    ranked = sorted(layout.seams, key=lambda s: -s.strength)[:MOST_MARKS]
    return tuple(ctx.region("line", np.array([s.p0, s.p1])) for s in ranked)


def _narrow_side(ctx: PanelContext) -> tuple[Region, ...]:
    """The strip as it was laid out, the boundaries between its plies, and a thin layer's inner line."""
    side = ctx.measure.side
    if side is None:
        return ()
    panel = ctx.panel
    lines = [*(side.plies.bounds if side.plies is not None and side.kind == "plies" else ()),
             *((side.layer.line,) if side.layer is not None else ())]
    drawn = [Region(panel.photo, panel.id, "line", rounded(line)) for line in lines[:MOST_MARKS]]
    return (Region(panel.photo, panel.id, "polygon", rounded(side.outline)), *drawn)


def _looked_at(ctx: PanelContext) -> tuple[Region, ...]:
    """Lines between strips that show a gap or a bare step of tone, and dark spots."""
    cues = read_cues(ctx.measure.view, ctx.measure.field)
    lines = [_within(ctx, b.line.p0, b.line.p1) for b in cues.boundaries if b.bare or b.gap >= GAP_TOLD]
    spots = [ctx.region("point", np.array([[s.x, s.y]])) for s in cues.spots]
    return (*(ctx.region("line", ends) for ends in lines if ends is not None), *spots)[:MOST_MARKS]


def _within(ctx: PanelContext, start: Point, end: Point) -> NDArray[np.float64] | None:
    """(2, 2) ends of the part of a line that lies on the panel, working-view px; None where none does."""
    mask = ctx.measure.view.mask
    at = np.linspace(start, end, 128)
    x, y = np.rint(at).astype(int).T
    on = (x >= 0) & (y >= 0) & (x < mask.shape[1]) & (y < mask.shape[0])
    on[on] = mask[y[on], x[on]]
    inside = np.flatnonzero(on)
    return at[[inside[0], inside[-1]]] if len(inside) > 1 else None


def rounded(points: Outline) -> Outline:
    """Photo points to a tenth of a pixel."""
    return tuple((round(float(x), 1), round(float(y), 1)) for x, y in points)


PLACERS: dict[str, Placer] = {
    "direction_seam": _seams, "board_strips": _strips, "knot": _knots, "edge_layers": _layers, "end_rings": _rings,
    "leaf_layout": _leaves, "edge_make": _narrow_side, "eye_cues": _looked_at,
}


def place(kind: str, ctx: PanelContext) -> tuple[tuple[Region, ...], bool]:
    """(regions, located): the located marks of a kind, or the whole panel when nothing was located."""
    found = PLACERS[kind](ctx) if kind in PLACERS else ()
    return (found, True) if found else ((ctx.outline_region(),), False)

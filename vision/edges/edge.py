"""One edge of a panel, measured and named: `measure_edge`.

Says what is seen on the narrow side, not what the panel is: whoever reads it weighs a thin layer, a seam, plies or lines
running on over the arris for or against a class.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from vision import backbone
from vision.edges.canvas import draw_crop
from vision.edges.frame import EdgeFrame, lay_out
from vision.edges.kinds import CANNOT_TELL
from vision.edges.naming import EdgeModel, Seen, load_edge_model
from vision.edges.net import NetAnswer, load_edge_net, sheet_line
from vision.edges.numbers import Numbers, measure_numbers
from vision.edges.plies import Plies, count_plies
from vision.edges.shown import shown_numbers
from vision.types import Outline, Point

#: Chance that a kind must reach to be named.
NAMED = 0.5
#: Chance of plies from which they are counted again with what the net saw.
LEAST_PLIES = 0.1
#: Least length of the arris in photo pixels, and least thickness, for lines over it to be compared at all.
LEAST_ARRIS, LEAST_ROWS = 120.0, 8


@dataclass(frozen=True)
class PlyCount:
    """Layers across the thickness. `plies`: how many are plies; `bounds`: their boundaries as lines in photo pixels, from
    the face down; `thickness_px`, `thickness_mm` (None without scale): of every layer, sheets of other stuff included;
    `odd`; `alternation` 0..1; `sheets`: whether the first and the last layer is such a sheet."""

    plies: int
    bounds: tuple[Outline, ...]
    thickness_px: tuple[float, ...]
    thickness_mm: tuple[float, ...] | None
    odd: bool
    alternation: float
    sheets: tuple[bool, bool]


@dataclass(frozen=True)
class ThinLayer:
    """A line parallel to the face. `chance` that a sheet lies there; `line` in photo pixels; `tone`: 'dark', 'white' or
    'wood'."""

    chance: float
    line: Outline
    thickness_px: float
    thickness_mm: float | None
    tone: str


@dataclass(frozen=True)
class Continuation:
    """Face and narrow side as one piece. `log_ratio`: natural log of how much likelier the numbers are for one piece of wood
    than for a banding or veneer; `match`: largest excess of agreement over chance, in spreads; `length_px`: of the arris
    compared; `usable`: long and thick enough to mean something."""

    log_ratio: float
    match: float
    length_px: float
    usable: bool


@dataclass(frozen=True, eq=False)
class EdgeReport:
    """What one edge shows.

    `outline`: the strip, (4) photo pixels; `arris`: where it meets the face (or its upper side when the face's side is not
    known), `lower` its other long border; `kind`: a key of kinds.STRIP_KINDS or 'cannot_tell', `chances` of all kinds;
    `plies`: None where fewer than three layers are found; `layer`: None where none is found, `layer_chance` in any case;
    `seam_chance`: something glued on at the arris; `lumber_core`: thick wood between cross bands; `numbers`: the few of
    shown.SHOWN_NUMBERS that a classifier should read, and all measures behind them (numbers.NAMES), nan where unmeasured.
    """

    outline: Outline
    arris: Outline
    lower: Outline
    thickness_px: float
    thickness_mm: float | None
    kind: str
    chances: MappingProxyType[str, float]
    plies: PlyCount | None
    layer: ThinLayer | None
    layer_chance: float
    seam_chance: float
    continuation: Continuation
    lumber_core: bool
    numbers: MappingProxyType[str, float]


def measure_edge(pixels: NDArray[np.uint8], outline: Outline | NDArray[np.float64], *, face_at: Point | None = None,
                 px_per_mm: float | None = None, model: EdgeModel | None = None) -> EdgeReport | None:
    """Measure the narrow side of a panel.

    Parameters
    ----------
    pixels : (h, w, 3) uint8 sRGB photo.
    outline : polygon round the narrow side, photo pixels; a few pixels' error is mended.
    face_at : a point on the face's side, if the face is in view.
    px_per_mm : photo pixels per mm of thickness at the edge; without it nothing is given in mm.
    model : for tests; else the stored one.

    Returns None where the strip is under 5 px thick or 40 px long.

    Raises
    ------
    ModelMismatch
        if the stored model is missing or damaged.
    """
    frame = lay_out(pixels, outline, face_at=face_at)
    if frame is None:
        return None
    model = model or load_edge_model()
    seen = Seen(load_edge_net().answer(frame), backbone.embed_batch(draw_crop(frame)[None])[0]) if model.joins else None
    return report(frame, measure_numbers(frame), model, px_per_mm, seen)


def report(frame: EdgeFrame, found: Numbers, model: EdgeModel, px_per_mm: float | None = None,
           seen: Seen | None = None) -> EdgeReport:
    """The report of a frame already measured and shown to learned eyes."""
    net = None if seen is None else seen.net
    if px_per_mm is not None and not (math.isfinite(px_per_mm) and px_per_mm > 0):
        raise ValueError(f"px_per_mm must be a positive number, not {px_per_mm}")
    chances = model.answer("kind", found.values, seen)
    best = max(chances, key=lambda k: chances[k])
    kind = best if chances[best] >= NAMED else CANNOT_TELL
    layer_chance = model.answer("sheet", found.values, seen)["yes"]
    counted = count_plies(frame, net) if net is not None and chances["plies"] >= LEAST_PLIES else found.plies
    plies = _ply_count(frame, counted, px_per_mm) if counted.count >= 3 else None
    n = frame.rgb.shape[1]
    high, low = frame.top - 0.5, frame.top + frame.rows - 0.5
    corners = frame.photo_points(np.array([[-0.5, high], [n - 0.5, high], [n - 0.5, low], [-0.5, low]]))
    outline: Outline = tuple((float(x), float(y)) for x, y in corners)
    match = found.values["arris_match_best"]
    usable = frame.length_px >= LEAST_ARRIS and frame.rows >= LEAST_ROWS and math.isfinite(match)
    p = model.answer("continuous", found.values, seen)["yes"]
    ratio = math.log(max(p, 1e-6) / max(1 - p, 1e-6)) if usable else 0.0
    thick = frame.thickness_px
    layer = _thin_layer(frame, found, layer_chance, model.limit("sheet", seen), px_per_mm, net)
    seam = model.answer("seam", found.values, seen)["yes"]
    shown = shown_numbers(chances, one_piece=ratio if usable else math.nan, seam_chance=seam, layer_chance=layer_chance,
                          layer_px=math.nan if layer is None else layer.thickness_px,
                          plies=math.nan if plies is None else float(plies.plies))
    return EdgeReport(
        outline, frame.line(frame.top - 0.5), frame.line(frame.top + frame.rows - 0.5), thick,
        None if px_per_mm is None else thick / px_per_mm, kind, MappingProxyType(chances), plies,
        layer, layer_chance, seam,
        Continuation(ratio, match if math.isfinite(match) else 0.0, frame.length_px, usable),
        kind.startswith("solid") and _is_lumber_core(counted), MappingProxyType({**found.values, **shown}))


def _ply_count(frame: EdgeFrame, found: Plies, px_per_mm: float | None) -> PlyCount:
    px = tuple(float(v) for v in found.thickness_px)
    mm = None if px_per_mm is None else tuple(v / px_per_mm for v in px)
    lines = tuple(frame.line(frame.top + float(b) - 0.5) for b in found.bounds)
    return PlyCount(found.plies, lines, px, mm, found.odd, found.alternation, found.sheets)


def _thin_layer(frame: EdgeFrame, found: Numbers, chance: float, limit: float, px_per_mm: float | None,
                net: NetAnswer | None) -> ThinLayer | None:
    if chance < limit or found.line is None:
        return None
    row, px, step = layer_place(frame, found)
    seen = None if net is None else sheet_line(net, frame.top, frame.rows)
    if seen is not None and abs(seen - row) > MOVED * max(px / frame.scale, 2.0):
        # the net saw the sheet elsewhere: the line is drawn there, and its thickness counts from the arris as found
        row, px = seen, max(seen - (frame.top - 0.5), 0.5) * frame.scale
        at = round(seen + 0.5)
        deep = max(1, round(0.5 * px / frame.scale))
        change = frame.lab[max(0, at - deep):at].mean(axis=(0, 1)) - frame.lab[at + 1:at + 1 + deep].mean(axis=(0, 1))
        step = (float(change[0]), float(change[1]), float(change[2]))
    level = float(frame.lab[frame.top + frame.rows // 3:frame.top + 2 * frame.rows // 3, :, 0].mean())
    tone = "dark" if step[0] < DARK * level else "white" if step[0] > 0 and step[2] < WHITE * level else "wood"
    return ThinLayer(chance, frame.line(row), px, None if px_per_mm is None else px / px_per_mm, tone)


#: The net's place of a sheet's line is taken where it differs from the one by hand by this share of the sheet.
MOVED: Final = 0.4
#: A sheet this much darker than the core (share of its lightness) is a dark line; one lighter and this much less yellow white.
DARK: Final = -0.28
WHITE: Final = -0.06


def layer_place(frame: EdgeFrame, found: Numbers) -> tuple[float, float, tuple[float, float, float]]:
    """(frame row of the sheet's inner line, its thickness in photo px, change of colour over that line)."""
    line, above = found.line, found.line_above
    assert line is not None
    # where the outline's border was drawn to the sheet's inner line, the sheet lies above it
    if above is not None and above.even > 1.3 * line.even and above.size > line.size:
        return frame.top - 0.5, above.row * frame.scale, above.step
    return frame.top + line.row - 0.5, line.row * frame.scale, line.step


def _is_lumber_core(found: Plies) -> bool:
    """Three or five layers, the middle one more than half of the whole, the outer ones alike."""
    t = found.thickness_px
    if len(t) not in (3, 5):
        return False
    middle = t[len(t) // 2]
    return bool(middle > 0.5 * t.sum() and max(t[0], t[-1]) < 2.5 * min(t[0], t[-1]))

"""Cues that a careful eye uses, as numbers: gaps between strips, the colour of knots, colour and sheen in step with the figure.

What was tried and told nothing on real photos is left out: bevels beside a gap, strips that show each other's figure, figure over
the outline's sides, relief of knots, glints and dark points in highlights, steps of tone across the grain.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from weakref import ReferenceType, WeakKeyDictionary, ref

from vision.cues_seen.dark_spots import DarkSpot, dark_spots
from vision.cues_seen.figure_colour import FigureColour, figure_colour
from vision.cues_seen.strip_boundary import Boundary, read_boundary
from vision.cues_seen.strip_lines import find_lines, grain_direction
from vision.features import Feature
from vision.types import GrainField, WorkingView

GROUP = "eye_cues"

FEATURES: tuple[Feature, ...] = (
    Feature("eye_gap", GROUP, "share", "Darkest trough of the lines that part strips, below the darker strip."),
    Feature("eye_wander", GROUP, "rows", "Mean spread of those lines about straight ones, weighted by how they stand out."),
    Feature("eye_spot_tint", GROUP, "share", "Mean change of chromaticity of dark round spots against what is around them."),
    Feature("eye_figure_slope", GROUP, "ratio", "Change of colour with the log of tone in the figure's detail."),
    Feature("eye_sheen_apart", GROUP, "0..1", "Share of a highlight's detail of tone that the figure's colour does not go with."),
    Feature("eye_sheen_apart_more", GROUP, "-1..1", "The same, less that of the rest of the panel."),
)
#: No line counts for more than this many times the panel's own streaks.
MOST_STRENGTH = 8.0


@dataclass(frozen=True)
class EyeCues:
    """What was read on one panel. `boundaries`: of strips, strongest first; `spots`: dark ones; `figure`: its colour."""

    boundaries: tuple[Boundary, ...]
    spots: tuple[DarkSpot, ...]
    figure: FigureColour


_DONE: WeakKeyDictionary[WorkingView, tuple[ReferenceType[GrainField], EyeCues]] = WeakKeyDictionary()


def read_cues(view: WorkingView, field: GrainField) -> EyeCues:
    """All cues of a panel, read once for each pair of view and field."""
    known = _DONE.get(view)
    if known is not None and known[0]() is field:
        return known[1]
    direction = grain_direction(field)
    lines = find_lines(view, direction) if math.isfinite(direction) else ()
    read = (read_boundary(view, line) for line in lines)
    found = EyeCues(tuple(b for b in read if b is not None), dark_spots(view), figure_colour(view))
    _DONE[view] = ref(field), found
    return found


def measure(view: WorkingView, field: GrainField) -> dict[str, float]:
    """Numbers of one panel (names of FEATURES); nan where there is no line, spot, highlight or figure to measure."""
    cues = read_cues(view, field)
    weights = [min(b.line.strength, MOST_STRENGTH) for b in cues.boundaries]
    wander = sum(w * b.wander for w, b in zip(weights, cues.boundaries, strict=True)) / sum(weights) if weights else math.nan
    return {
        "eye_gap": max((b.gap for b in cues.boundaries), default=math.nan),
        "eye_wander": wander,
        "eye_spot_tint": sum(s.tint for s in cues.spots) / len(cues.spots) if cues.spots else math.nan,
        "eye_figure_slope": cues.figure.slope,
        "eye_sheen_apart": cues.figure.apart,
        "eye_sheen_apart_more": cues.figure.apart_more,
    }

"""Edges and ends of panels: plies, face lines, particles, fibre and ring arcs, measured on the panel laid out straight.

Computed for faces too (a face simply shows none of it), so that nothing needs to know beforehand which side it sees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from vision.edges.layers import Layers, face_line_row, find_layers, measure_layers
from vision.edges.particles import measure_particles
from vision.edges.rings import ArcFit, fit_arcs, measure_rings
from vision.edges.unroll import Strip, unroll
from vision.features import Feature
from vision.surface.sample import sample
from vision.types import GrainField, Outline, WorkingView

FEATURES: tuple[Feature, ...] = (
    Feature("layers_count", "edge_layers", "count", "Layers found across the thickness (1 = none)."),
    Feature("layers_coherence", "edge_layers", "0..1", "Share of lightness variance that depends on depth alone."),
    Feature("layers_contrast", "edge_layers", "ratio", "Median step between neighbouring layers over the mean."),
    Feature("layers_pitch_spread", "edge_layers", "ratio", "Spread of inner layer thickness over its mean."),
    Feature("layers_steps", "edge_layers", "ratio", "Up and down of the depth profile beyond its range, over its mean."),
    Feature("layers_pitch_peak", "edge_layers", "0..1", "Share of the depth profile's variance in one period."),
    Feature("layers_texture_match", "edge_layers", "-1..1", "Correlation of layer lightness with layer roughness."),
    Feature("layers_face_line", "edge_layers", "log ratio", "Sharpest step in the outer sixths over those in the middle."),
    Feature("layers_face_depth", "edge_layers", "0..0.5", "Depth of that step as a share of the thickness."),
    Feature("layers_skin_tone", "edge_layers", "log ratio", "Lightness of the skins over that of the middle."),
    Feature("particles_size", "edge_particles", "log px", "Mean grain size in the middle third."),
    Feature("particles_size_gap", "edge_particles", "log ratio", "Grain size in the middle over that in the skins."),
    Feature("particles_rough_gap", "edge_particles", "log ratio", "Contrast in the middle over that in the skins."),
    Feature("particles_round", "edge_particles", "log ratio", "Gradient energy along the strip over that across it."),
    Feature("particles_rough", "edge_particles", "log ratio", "Contrast of the middle third over the mean."),
    Feature("particles_even", "edge_particles", "log ratio", "Spread of contrast along the strip: small for even fibre."),
    Feature("particles_dark_share", "edge_particles", "-1..1", "Dark specks (voids) against bright ones in the middle."),
    Feature("particles_brown", "edge_particles", "ratio", "Yellow-brown chroma over lightness."),
    Feature("rings_gain", "end_rings", "0..1", "Share of the misfit of parallel lines that circles take away."),
    Feature("rings_fit", "end_rings", "0..1", "How well circles about one centre fit them."),
    Feature("rings_turn", "end_rings", "radians", "Angle through which the fitted arcs turn in a window, times the gain."),
    Feature("rings_curve", "end_rings", "ratio", "Window diagonal over the mean radius of the fitted arcs."),
    Feature("rings_long_grain", "end_rings", "log ratio", "Gradient energy across the long axis over that along it."),
)
_NAMES = tuple(f.name for f in FEATURES)


@dataclass(frozen=True)
class LayerLine:
    """A boundary between two layers. `points`: the line's ends in working-view pixels; `step`: signed change of
    lightness across it, grey levels; `depth`: 0..1 through the thickness."""

    points: Outline
    step: float
    depth: float


@dataclass(frozen=True)
class FaceLine:
    """A line close to one face. `strength`: its step over the usual steps within."""

    points: Outline
    strength: float
    depth: float


@dataclass(frozen=True)
class RingArc:
    """A fitted arc as a polyline in working-view pixels. `radius`: working pixels; `gain`: see rings_gain."""

    points: Outline
    radius: float
    gain: float


Located = LayerLine | FaceLine | RingArc
#: Weakest evidence worth drawing.
MIN_COHERENCE, MIN_FACE_STRENGTH, MIN_RING_GAIN, MIN_RING_FIT = 0.5, 2.5, 0.5, 0.9

_STRIPS: WeakKeyDictionary[WorkingView, tuple[Strip, Layers, tuple[ArcFit, ...]] | None] = WeakKeyDictionary()


def _prepared(view: WorkingView) -> tuple[Strip, Layers, tuple[ArcFit, ...]] | None:
    if view not in _STRIPS:
        strip = unroll(view)
        s = sample(view)
        _STRIPS[view] = None if strip is None or not strip.inside.any() else (
            strip, find_layers(strip), fit_arcs(s.gradients, s.inside))
    return _STRIPS[view]


def measure(view: WorkingView, field: GrainField | None) -> dict[str, float]:
    """Edge numbers of one panel (names of FEATURES); nan where not measurable."""
    out = dict.fromkeys(_NAMES, math.nan)
    ready = _prepared(view)
    if ready is None:
        return out
    strip, layers, arcs = ready
    out.update(measure_layers(strip, layers))
    out.update(measure_particles(strip))
    out.update(measure_rings(strip, arcs))
    return out


def located(view: WorkingView, field: GrainField | None) -> tuple[Located, ...]:
    """What can be drawn: layer boundaries, the face line and ring arcs, each only where it stands out."""
    ready = _prepared(view)
    if ready is None:
        return ()
    strip, layers, arcs = ready
    n = strip.luma.shape[1]
    out: list[Located] = []
    t = strip.luma.shape[0]
    if len(layers.bounds) >= 2 and layers.coherence >= MIN_COHERENCE:
        for i, row in enumerate(layers.bounds):
            out.append(LayerLine(_line(strip, float(row), n), float(layers.levels[i + 1] - layers.levels[i]), float(row) / t))
    face = face_line_row(layers)
    if face is not None and face[1] >= MIN_FACE_STRENGTH and layers.coherence >= MIN_COHERENCE:
        out.append(FaceLine(_line(strip, face[0], n), face[1], face[0] / t))
    for arc in arcs:
        if arc.gain >= MIN_RING_GAIN and arc.fit >= MIN_RING_FIT and arc.turn > 0.2:
            drawn = _arc(arc)
            if drawn is not None:
                out.append(drawn)
    return tuple(out)


def _line(strip: Strip, row: float, n: int) -> Outline:
    p = strip.view_points(np.array([[0.0, row - 0.5], [n - 1.0, row - 0.5]]))
    return tuple((float(x), float(y)) for x, y in p)


def _arc(arc: ArcFit) -> RingArc | None:
    """The piece of the mean circle that lies in its window."""
    x0, y0, x1, y1 = arc.window
    angles = np.linspace(-math.pi, math.pi, 721)
    p = np.c_[arc.centre[0] + arc.radius * np.cos(angles), arc.centre[1] + arc.radius * np.sin(angles)]
    on = (p[:, 0] >= x0) & (p[:, 0] <= x1 - 1) & (p[:, 1] >= y0) & (p[:, 1] <= y1 - 1)
    # The longest run of on-panel points, taken round the circle so that a cut at 180 degrees does not split it.
    runs: list[list[int]] = [[]]
    for i in np.roll(np.arange(len(on)), -int(np.argmin(on))):
        if on[i]:
            runs[-1].append(int(i))
        elif runs[-1]:
            runs.append([])
    best = max(runs, key=len)
    if len(best) < 2:
        return None
    return RingArc(tuple((float(x), float(y)) for x, y in p[best]), arc.radius, arc.gain)

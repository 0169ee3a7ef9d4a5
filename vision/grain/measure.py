"""The numbers the grain room gives for one panel, and the structures it can point at.

Numbers are chosen to change little when the same panel is photographed from a little nearer: shares, ratios, directions
and lengths relative to the panel. Where something cannot be measured the number is nan.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from weakref import ReferenceType, WeakKeyDictionary, ref

import numpy as np
from numpy.typing import NDArray

from vision.features import Feature
from vision.grain.field import fuse
from vision.grain.flow import Flow, flow, resolved
from vision.grain.knots import Knot, find_knots
from vision.grain.metric import angle_difference
from vision.grain.scales import GrainParams, ScaleTensor, scale_tensors
from vision.grain.seams import Seam, find_seams
from vision.grain.strips import Layup, Strip, find_strips
from vision.types import GrainField, WorkingView

#: Noise scales and the short integration window that structures are sought with.
FINE = GrainParams(sigmas=(1.0, 2.0, 4.0, 8.0), rho=3.0)
_STEP = 4
_NATIVE_PX = 320

FEATURES: tuple[Feature, ...] = (
    Feature("grain_coherence_q25", "grain_flow", "0..1", "Lower quartile of the coherence over the panel."),
    Feature("grain_coherence_median", "grain_flow", "0..1", "Median coherence over the panel."),
    Feature("grain_coherence_q90", "grain_flow", "0..1", "Coherence reached by the clearest tenth of the panel."),
    Feature("grain_resolved_share", "grain_flow", "share", "Share of the panel on which grain is resolved."),
    Feature("grain_order", "grain_flow", "0..1", "How far the whole panel agrees on one direction."),
    Feature("grain_deviation", "grain_flow", "degrees", "Spread of the direction over the panel."),
    Feature("grain_straightness", "grain_flow", "share", "Share of the grain within 5 degrees of the mean direction."),
    Feature("grain_drift", "grain_flow", "degrees", "How far the direction strays over wide stretches."),
    Feature("grain_bending", "grain_flow", "degrees per tenth of the long side", "Turn of the direction along the grain."),
    Feature("grain_to_long_side", "grain_flow", "degrees", "Angle between the mean grain and the longer side, 0 to 90."),
    Feature("grain_energy", "grain_flow", "log2 grey levels^2 per px^2", "Gradient energy at the finest scale."),
    Feature("grain_energy_patchiness", "grain_flow", "log2", "Spread of the energy from place to place."),
    Feature("grain_energy_slope_1_2", "grain_flow", "log2", "Scale-normalised energy at 2 px against 1 px."),
    Feature("grain_energy_slope_2_4", "grain_flow", "log2", "Scale-normalised energy at 4 px against 2 px."),
    Feature("grain_energy_slope_4_8", "grain_flow", "log2", "Scale-normalised energy at 8 px against 4 px."),
    Feature("grain_anisotropy_1", "grain_flow", "log2", "Energy across against along the grain at 1 px."),
    Feature("grain_anisotropy_2", "grain_flow", "log2", "Energy across against along the grain at 2 px."),
    Feature("grain_anisotropy_4", "grain_flow", "log2", "Energy across against along the grain at 4 px."),
    Feature("grain_anisotropy_8", "grain_flow", "log2", "Energy across against along the grain at 8 px."),
    Feature("grain_scale_agreement", "grain_flow", "0..1", "How far fine and coarse structure share one direction."),
    Feature("grain_wavelength", "grain_flow", "log2 px", "Median dominant wavelength across the grain in the view."),
    Feature("grain_wavelength_spread", "grain_flow", "log2", "Quartile range of the wavelength over the panel."),
    Feature("grain_native_anisotropy", "grain_flow", "log2", "Energy across against along at 1 px of the full-size photo."),
    Feature("grain_native_energy_slope", "grain_flow", "log2", "Energy at 2 px against 1 px of the full-size photo."),
    Feature("strips_count", "board_strips", "count", "Strips found, 1 when no joint holds."),
    Feature("strips_joint", "board_strips", "0..1", "Strength of the clearest joint."),
    Feature("strips_step", "board_strips", "L*a*b* units", "Mean tone step over the joints."),
    Feature("strips_spread", "board_strips", "ratio", "Coefficient of variation of the strip widths."),
    Feature("strips_width", "board_strips", "share", "Median strip width as a share of the panel's width across the grain."),
    Feature("seam_length", "direction_seam", "panel sides", "Length of all direction seams against the panel's shorter side."),
    Feature("seam_strength", "direction_seam", "0..1", "Strength of the clearest direction seam."),
    Feature("seam_turn", "direction_seam", "degrees", "Turn at the clearest direction seam, 0 without one."),
    Feature("knot_count", "knot", "count", "Knots with grain flowing round them."),
    Feature("knot_score", "knot", "0..1", "Score of the clearest knot."),
)


@dataclass(frozen=True)
class GrainStructure:
    """What the grain room can point at, in working-view pixels. Strongest first (strips in order across the grain)."""

    seams: tuple[Seam, ...]
    strips: tuple[Strip, ...]
    knots: tuple[Knot, ...]
    layup: Layup


def _fine(view: WorkingView) -> tuple[tuple[ScaleTensor, ...], GrainField]:
    tensors = scale_tensors(view.pixels, mask=view.mask, step=_STEP, params=FINE)
    return tensors, fuse(tensors[:3], _STEP, FINE, waves=False)


def located(view: WorkingView, field: GrainField) -> GrainStructure:
    """Seams, strips and knots of a panel. `field`: `grain_field(view.pixels, mask=view.mask)`."""
    known = _STRUCTURES.get(view)
    if known is not None and known[0]() is field:
        return known[1]
    return _structure(view, field, _fine(view)[1])


#: Structures of views that are still in use: measuring and pointing at evidence ask for the same ones.
_STRUCTURES: WeakKeyDictionary[WorkingView, tuple[ReferenceType[GrainField], GrainStructure]] = WeakKeyDictionary()


def _structure(view: WorkingView, field: GrainField, fine: GrainField) -> GrainStructure:
    layup = find_strips(view, field)
    found = GrainStructure(find_seams(fine), layup.strips, find_knots(view, fine, window=FINE.rho), layup)
    _STRUCTURES[view] = ref(field), found
    return found


def _log2(a: float, b: float) -> float:
    return math.log2((a + 1e-3) / (b + 1e-3))


def _split(tensor: ScaleTensor, direction: float) -> tuple[float, float]:
    """(energy across, energy along) the given grain direction in degrees, averaged over measurable cells."""
    seen = tensor.weight > 0.1
    if not seen.any():
        return float("nan"), float("nan")
    normal = math.radians(2 * (90 - direction))
    energy = float(tensor.energy[seen].mean())
    lean = float((tensor.cos2[seen] * math.cos(normal) + tensor.sin2[seen] * math.sin(normal)).mean())
    return (energy + lean) / 2, (energy - lean) / 2


def _local_anisotropy(tensor: ScaleTensor) -> float:
    """log2 of the larger against the smaller eigenvalue, averaged over measurable cells."""
    seen = tensor.weight > 0.1
    if not seen.any():
        return float("nan")
    energy, oriented = float(tensor.energy[seen].mean()), float(tensor.oriented[seen].mean())
    return _log2(energy + oriented, energy - oriented)


def _agreement(fine: ScaleTensor, coarse: ScaleTensor) -> float:
    """Mean cosine of the doubled angle between two scales, weighted by both coherences; 0 when unrelated."""
    weight = np.sqrt(fine.coherence * coarse.coherence) * (fine.weight > 0.1) * (coarse.weight > 0.1)
    dot = fine.cos2 * coarse.cos2 + fine.sin2 * coarse.sin2
    cosine = dot / np.maximum(fine.oriented * coarse.oriented, 1e-9)
    total = float(weight.sum())
    return float((weight * cosine).sum() / total) if total > 1 else float("nan")


def _quantiles(values: NDArray, *q: float) -> list[float]:
    values = values[np.isfinite(values)]
    return [float(v) for v in np.quantile(values, q)] if values.size else [float("nan")] * len(q)


def _native(view: WorkingView) -> tuple[float, float]:
    """(anisotropy at 1 px, energy slope 1 to 2 px) of the middle of the full-size crop."""
    ys, xs = np.nonzero(view.native_mask[::8, ::8])
    if not ys.size:
        return float("nan"), float("nan")
    cy, cx = 8 * int(np.median(ys)), 8 * int(np.median(xs))
    half = _NATIVE_PX // 2
    box = (slice(max(0, cy - half), cy + half), slice(max(0, cx - half), cx + half))
    one, two = scale_tensors(np.ascontiguousarray(view.native[box]), mask=view.native_mask[box], step=8,
                             params=replace(FINE, sigmas=(1.0, 2.0), rho=8.0))
    seen = (one.weight > 0.1) & (two.weight > 0.1)
    if not seen.any():
        return float("nan"), float("nan")
    return _local_anisotropy(one), _log2(4 * float(two.energy[seen].mean()), float(one.energy[seen].mean()))


def measure(view: WorkingView, field: GrainField) -> dict[str, float]:
    """All numbers of `FEATURES` for one panel. `field`: `grain_field(view.pixels, mask=view.mask)`."""
    tensors, fine = _fine(view)
    found = _structure(view, field, fine)
    out = dict.fromkeys((f.name for f in FEATURES), float("nan"))
    valid = field.valid
    if valid.any():
        out.update(_flow_numbers(view, field, tensors))
        out["grain_native_anisotropy"], out["grain_native_energy_slope"] = _native(view)
    out.update(_structure_numbers(view, found))
    return out


def _flow_numbers(view: WorkingView, field: GrainField, tensors: tuple[ScaleTensor, ...]) -> dict[str, float]:
    f: Flow = flow(field)
    valid, seen = field.valid, resolved(field)
    height, width = view.mask.shape
    q25, q50, q90 = _quantiles(field.coherence[valid], 0.25, 0.5, 0.9)
    energy = np.log2(field.energy[valid] + 0.01)
    slopes = [_log2(b.sigma**2 * _mean(b), a.sigma**2 * _mean(a)) for a, b in pairwise(tensors)]
    if math.isfinite(f.direction):
        anisotropy = [_log2(*_split(t, f.direction)) for t in tensors]
    else:
        anisotropy = [float("nan")] * len(tensors)
    waves = np.log2(field.wavelength[seen])
    w25, w50, w75 = _quantiles(waves, 0.25, 0.5, 0.75)
    high, low = _quantiles(energy, 0.75, 0.25)
    long_side = 0.0 if width >= height else 90.0
    return {
        "grain_coherence_q25": q25, "grain_coherence_median": q50, "grain_coherence_q90": q90,
        "grain_resolved_share": float(seen.sum() / valid.sum()),
        "grain_order": f.order, "grain_deviation": f.deviation, "grain_straightness": f.straightness,
        "grain_drift": f.drift, "grain_bending": f.bending * max(height, width) / 1000,
        "grain_to_long_side": float(np.abs(angle_difference(f.direction, long_side))),
        "grain_energy": float(np.median(energy)), "grain_energy_patchiness": high - low,
        "grain_energy_slope_1_2": slopes[0], "grain_energy_slope_2_4": slopes[1], "grain_energy_slope_4_8": slopes[2],
        "grain_anisotropy_1": anisotropy[0], "grain_anisotropy_2": anisotropy[1],
        "grain_anisotropy_4": anisotropy[2], "grain_anisotropy_8": anisotropy[3],
        "grain_scale_agreement": _agreement(tensors[0], tensors[2]),
        "grain_wavelength": w50, "grain_wavelength_spread": w75 - w25,
    }


def _mean(tensor: ScaleTensor) -> float:
    seen = tensor.weight > 0.1
    return float(tensor.energy[seen].mean()) if seen.any() else float("nan")


def _structure_numbers(view: WorkingView, found: GrainStructure) -> dict[str, float]:
    layup, seams, knots = found.layup, found.seams, found.knots
    across = sum(s.width for s in layup.strips)
    out = {
        "strips_count": float(max(1, len(layup.strips))),
        "strips_joint": max(layup.strengths, default=0.0),
        "strips_step": float(np.mean(layup.steps)) if layup.steps else 0.0,
        "strips_spread": layup.spread,
        "strips_width": float(np.median([s.width for s in layup.strips])) / across if across else 1.0,
        "seam_length": sum(s.length for s in seams) / min(view.mask.shape),
        "seam_strength": seams[0].strength if seams else 0.0,
        "seam_turn": seams[0].turn if seams else 0.0,
        "knot_count": float(len(knots)),
        "knot_score": knots[0].score if knots else 0.0,
    }
    if math.isnan(layup.direction):
        out |= dict.fromkeys(("strips_count", "strips_joint", "strips_step", "strips_width"), float("nan"))
    return out

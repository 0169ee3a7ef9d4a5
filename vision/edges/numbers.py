"""All numbers of an edge, by name and in one order: what the edge model reads."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np

from vision.edges import continuation, face_layer
from vision.edges.face_layer import Line, measure_face_layer
from vision.edges.frame import EdgeFrame
from vision.edges.layers import find_layers, measure_layers
from vision.edges.particles import measure_particles
from vision.edges.plies import Plies, count_plies
from vision.edges.rings import fit_arcs, measure_rings

LAYERS: Final = ("layers_count", "layers_coherence", "layers_contrast", "layers_pitch_spread", "layers_steps",
                 "layers_pitch_peak", "layers_texture_match", "layers_face_line", "layers_face_depth", "layers_skin_tone")
PARTICLES: Final = ("particles_size", "particles_size_gap", "particles_rough_gap", "particles_round", "particles_rough",
                    "particles_even", "particles_dark_share", "particles_brown")
RINGS: Final = ("rings_gain", "rings_fit", "rings_turn", "rings_curve", "rings_long_grain")
PLIES: Final = ("plies_count", "plies_odd", "plies_gain", "plies_alternation", "plies_contrast", "plies_even_gap", "plies_spread",
                "plies_sheets")
SURFACE: Final = ("rows", "lightness", "red", "yellow", "colour_spread", "detail_fine", "detail_fine_face",
                  "detail_fine_gap", "detail_middle", "detail_middle_face", "detail_along", "detail_across",
                  "detail_along_coarse", "detail_across_coarse", "skin_detail", "speckle_skew", "below_tone", "below_hue",
                  "border_upper", "border_lower", "bend", "edge_speckle")
NAMES: Final[tuple[str, ...]] = (*LAYERS, *PARTICLES, *RINGS, *PLIES, *SURFACE,
                                 *(f"arris_{n}" for n in continuation.NAMES), *(f"sheet_{n}" for n in face_layer.NAMES))


@dataclass(frozen=True, eq=False)
class Numbers:
    """`values`: by NAMES, nan where not measurable; `plies`; `line`: best line below the face, `line_above`: best just above
    the found border."""

    values: dict[str, float]
    plies: Plies
    line: Line | None
    line_above: Line | None


def measure_numbers(frame: EdgeFrame) -> Numbers:
    """Everything measured on one frame."""
    strip = frame.strip()
    out = dict.fromkeys(NAMES, math.nan)
    out.update(measure_layers(strip, find_layers(strip)))
    out.update(measure_particles(strip))
    smooth = np.asarray(cv2.GaussianBlur(strip.luma, (0, 0), 0.8), np.float32)
    gx, gy = np.zeros_like(smooth), np.zeros_like(smooth)
    gx[:, 1:-1], gy[1:-1] = smooth[:, 2:] - smooth[:, :-2], smooth[2:] - smooth[:-2]
    out.update(measure_rings(strip, fit_arcs((gx, gy), strip.inside)))
    plies = count_plies(frame)
    inner = plies.thickness_px[1:-1]
    out.update(plies_count=float(plies.plies), plies_odd=float(plies.odd), plies_gain=math.log(plies.gain + 0.1),
               plies_alternation=plies.alternation, plies_contrast=plies.contrast, plies_sheets=float(sum(plies.sheets)),
               plies_even_gap=float(np.clip(plies.even_gap, -200, 200)),
               plies_spread=float(inner.std() / inner.mean()) if len(inner) > 1 else math.nan)
    out.update(_surface(frame))
    out.update({f"arris_{k}": v for k, v in continuation.measure_continuation(frame).items()})
    sheet, line, above = measure_face_layer(frame)
    out.update({f"sheet_{k}": v for k, v in sheet.items()})
    return Numbers({k: float(out[k]) for k in NAMES}, plies, line, above)


def _surface(frame: EdgeFrame) -> dict[str, float]:
    """Colour, and detail at three sizes with the profile across the strip and the camera's noise taken off."""
    top, rows = frame.top, frame.rows
    rim = max(1, rows // 12)
    inside = frame.lab[top + rim:top + rows - rim] if rows > 6 else frame.lab[top:top + rows]
    face = frame.lab[max(0, top - max(6, rows)):top - 2]
    below = frame.lab[top + rows + 2:top + rows + 2 + max(6, rows // 2)]
    mean = np.median(inside, axis=(0, 1))
    level = float(mean[0]) + 8
    out = {"rows": math.log(rows), "lightness": float(mean[0]), "red": float(mean[1] - 128) / level,
           "yellow": float(mean[2] - 128) / level,
           "colour_spread": float(np.hypot(inside[..., 1].std(), inside[..., 2].std())) / level,
           "border_upper": math.log(frame.upper.sure + 0.1), "border_lower": math.log(frame.lower.sure + 0.1)}
    luma, other = inside[..., 0], face[..., 0]

    def detail(plane: np.ndarray, small: float, large: float) -> float:
        if min(plane.shape) < 3:
            return math.nan
        flat = plane - np.median(plane, axis=1, keepdims=True)
        band = cv2.GaussianBlur(flat, (0, 0), small) - cv2.GaussianBlur(flat, (0, 0), large)
        return math.log((float(np.sqrt(np.median(band * band) / 0.455)) + 0.05) / (float(plane.mean()) + 8))

    out["detail_fine"], out["detail_fine_face"] = detail(luma, 0.7, 1.6), detail(other, 0.7, 1.6)
    out["detail_fine_gap"] = out["detail_fine"] - out["detail_fine_face"]
    out["detail_middle"], out["detail_middle_face"] = detail(luma, 1.6, 5.0), detail(other, 1.6, 5.0)
    for name, sigma in (("", 1.0), ("_coarse", 3.0)):
        smooth = cv2.GaussianBlur(luma, (0, 0), sigma)
        gx, gy = np.diff(smooth, axis=1), np.diff(smooth, axis=0)
        gy = gy - np.median(gy, axis=1, keepdims=True) if gy.size else gy
        out[f"detail_along{name}"] = math.log((float(gx.std()) + 0.02) / level)
        out[f"detail_across{name}"] = math.log((float(gy.std()) + 0.02) / level) if gy.size else math.nan
    high = luma - cv2.GaussianBlur(luma, (0, 0), 3.0)
    third = max(1, len(luma) // 4)
    if len(luma) > 2 * third:
        skins = float(np.r_[high[:third], high[-third:]].std())
        out["skin_detail"] = math.log((skins + 0.1) / (float(high[third:-third].std()) + 0.1))
    out["speckle_skew"] = float((high**3).mean() / (float(high.std()) + 0.1) ** 3)
    out["edge_speckle"] = float((high < -2.5 * (high.std() + 0.1)).mean())
    if below.size:
        under = np.median(below, axis=(0, 1))
        out["below_tone"] = math.log((float(under[0]) + 8) / level)
        hue = [(v[1:] - 128) / (float(v[0]) + 20) for v in (under, mean)]
        out["below_hue"] = float(np.hypot(*(hue[0] - hue[1])))
    profile = np.median(luma, axis=1)
    if len(profile) >= 6:
        x = np.linspace(-1, 1, len(profile))
        fit = np.polynomial.polynomial.polyfit(x, profile, 2)
        out["bend"] = float(fit[2]) / level
    return out

"""Wood settings: anatomy and colour of generic wood families. Colours are sRGB 0..1; lengths in millimetres.

The values are plausible settings for made-up trees, not measurements of any specimen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

RGB = tuple[float, float, float]


@dataclass(frozen=True)
class Species:
    """`ring_mm`: range of mean ring widths. `early`/`late`/`sap`: colours. `profile`: how dark wood builds up in a ring
    ('softwood', 'ring_porous', 'diffuse'). `pore_mm`: pore radius, `pore_cell` pitch, `pore_early`/`pore_late` share of
    cells filled, `vessel_mm` length along the grain. `ray_*`: pitch along the arc, height along the grain, share of
    cells filled, contrast (positive lighter). `streak`: strength of long colour streaks. `knots`: knots per metre."""

    name: str
    profile: str
    ring_mm: tuple[float, float]
    early: RGB
    late: RGB
    sap: RGB
    pore_mm: float = 0.0
    pore_cell: float = 0.4
    pore_early: float = 0.0
    pore_late: float = 0.0
    vessel_mm: float = 6.0
    pore_dark: float = 0.45
    ray_pitch: float = 0.9
    ray_height: float = 3.0
    ray_share: float = 0.0
    ray_contrast: float = 0.0
    streak: float = 0.05
    fibre: float = 0.035
    knots: float = 0.0
    pinkness: float = 0.0


SPECIES: Final[dict[str, Species]] = {
    s.name: s
    for s in (
        Species("red_oak_like", "ring_porous", (1.6, 3.6), (0.73, 0.56, 0.42), (0.79, 0.63, 0.48), (0.84, 0.73, 0.58),
                pore_mm=0.15, pore_early=0.75, pore_late=0.06, vessel_mm=9, ray_pitch=1.6, ray_height=14, ray_share=0.22,
                ray_contrast=0.09, streak=0.05, knots=0.3),
        Species("white_oak_like", "ring_porous", (1.2, 3.0), (0.66, 0.53, 0.37), (0.74, 0.61, 0.44), (0.82, 0.73, 0.57),
                pore_mm=0.14, pore_early=0.7, pore_late=0.05, vessel_mm=7, ray_pitch=1.8, ray_height=28, ray_share=0.3,
                ray_contrast=0.13, streak=0.05, knots=0.4),
        Species("ash_like", "ring_porous", (1.4, 4.0), (0.76, 0.65, 0.49), (0.86, 0.77, 0.62), (0.89, 0.82, 0.69),
                pore_mm=0.14, pore_early=0.8, pore_late=0.03, vessel_mm=10, ray_pitch=0.6, ray_height=1.0, ray_share=0.2,
                ray_contrast=0.03, streak=0.04, knots=0.3),
        Species("walnut_like", "semi", (2.0, 4.5), (0.43, 0.30, 0.21), (0.33, 0.22, 0.15), (0.72, 0.60, 0.44),
                pore_mm=0.11, pore_cell=0.5, pore_early=0.45, pore_late=0.12, vessel_mm=8, pore_dark=0.5, streak=0.17,
                fibre=0.05, knots=0.4),
        Species("cherry_like", "diffuse", (2.0, 4.0), (0.68, 0.45, 0.31), (0.58, 0.35, 0.22), (0.82, 0.68, 0.50),
                pore_mm=0.04, pore_cell=0.3, pore_early=0.3, pore_late=0.2, vessel_mm=3, pore_dark=0.18, ray_pitch=0.7,
                ray_height=1.2, ray_share=0.3, ray_contrast=0.035, streak=0.07, knots=0.3),
        Species("maple_like", "diffuse", (1.8, 4.0), (0.86, 0.75, 0.60), (0.77, 0.63, 0.46), (0.90, 0.82, 0.69),
                pore_mm=0.035, pore_cell=0.3, pore_early=0.2, pore_late=0.2, vessel_mm=2.5, pore_dark=0.12, ray_pitch=0.6,
                ray_height=0.9, ray_share=0.3, ray_contrast=-0.03, streak=0.04, knots=0.2),
        Species("beech_like", "diffuse", (1.5, 3.5), (0.80, 0.63, 0.47), (0.72, 0.53, 0.37), (0.84, 0.69, 0.53),
                pore_mm=0.04, pore_cell=0.3, pore_early=0.25, pore_late=0.1, vessel_mm=2.5, pore_dark=0.1, ray_pitch=0.7,
                ray_height=2.6, ray_share=0.33, ray_contrast=-0.13, streak=0.03, knots=0.2),
        Species("birch_like", "diffuse", (1.5, 3.2), (0.86, 0.76, 0.60), (0.77, 0.63, 0.45), (0.88, 0.80, 0.66),
                pore_mm=0.05, pore_cell=0.35, pore_early=0.25, pore_late=0.15, vessel_mm=3.5, pore_dark=0.14, streak=0.05,
                knots=0.5),
        Species("mahogany_like", "diffuse", (3.0, 7.0), (0.57, 0.31, 0.20), (0.48, 0.24, 0.15), (0.73, 0.55, 0.40),
                pore_mm=0.10, pore_cell=0.6, pore_early=0.25, pore_late=0.2, vessel_mm=7, pore_dark=0.4, ray_pitch=0.6,
                ray_height=0.5, ray_share=0.4, ray_contrast=-0.05, streak=0.1, knots=0.1),
        Species("teak_like", "semi", (2.0, 5.0), (0.62, 0.43, 0.25), (0.49, 0.31, 0.17), (0.80, 0.68, 0.48),
                pore_mm=0.12, pore_cell=0.5, pore_early=0.5, pore_late=0.07, vessel_mm=8, streak=0.13, knots=0.2),
        Species("pine_like", "softwood", (1.5, 5.0), (0.90, 0.76, 0.54), (0.76, 0.52, 0.29), (0.92, 0.81, 0.62),
                streak=0.04, fibre=0.025, knots=3.5),
        Species("spruce_like", "softwood", (1.2, 3.5), (0.91, 0.81, 0.63), (0.79, 0.61, 0.40), (0.92, 0.83, 0.67),
                streak=0.03, fibre=0.025, knots=3.0),
        Species("fir_like", "softwood", (1.2, 3.5), (0.86, 0.67, 0.47), (0.66, 0.41, 0.24), (0.90, 0.77, 0.58),
                streak=0.05, fibre=0.03, knots=1.0),
        Species("poplar_like", "diffuse", (2.5, 6.0), (0.80, 0.74, 0.55), (0.70, 0.62, 0.42), (0.90, 0.85, 0.70),
                pore_mm=0.04, pore_cell=0.35, pore_early=0.2, pore_late=0.2, vessel_mm=3, pore_dark=0.1, streak=0.09,
                knots=0.5),
        Species("rubberwood_like", "diffuse", (3.0, 8.0), (0.85, 0.71, 0.52), (0.79, 0.63, 0.44), (0.88, 0.76, 0.58),
                pore_mm=0.09, pore_cell=0.7, pore_early=0.3, pore_late=0.25, vessel_mm=6, pore_dark=0.32, streak=0.04),
    )
}

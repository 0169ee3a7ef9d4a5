"""A narrow side in words and numbers: make-up, plies, thin face layer, and whether the face's lines run on over the arris."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from vision.detail import Detail
from vision.edges.edge import EdgeReport

_LOOKS: Final[Mapping[str, str]] = MappingProxyType({
    "solid_end": "wood cut across the grain", "solid_edge": "wood cut along the grain", "plies": "cross-laid sheets",
    "particles": "glued particles", "fibre": "even fibre", "banding": "a glued-on strip", "painted": "a coat of paint",
    "other": "no board's edge",
})
#: What each make-up means and what it leaves open (common practice, no source).
_MEANS: Final[Mapping[str, str]] = MappingProxyType({
    "solid_end": "Rings here mean wood inside; a line under the face would mean veneer on it.",
    "solid_edge": "A solid lipping on another core looks the same: look at the end too.",
    "plies": "Plywood here; the face can be its own veneer, another or a print.",
    "particles": "Particle board: no soaking, screws need care, the face is a skin.",
    "fibre": "Fibreboard: cut edges drink finish, the face is a skin or paint.",
    "banding": "The strip hides the core: look at the back, the underside or a hole.",
    "painted": "Paint hides the core: look at the back, the underside or a hole.",
    "other": "Nothing about the core follows from it.",
    "cannot_tell": "A closer photo, level with the edge, may settle it.",
})
_TONE: Final = {"dark": "dark", "white": "white", "wood": "wood-coloured"}
#: From this log ratio on, either way, lines over the arris are spoken of: odds of 3 to 1.
SPOKEN = math.log(3)
#: Fewer layers are no plies; thinner face layers are not placed well (training.edge_scores).
LEAST_PLIES, LEAST_LAYER_PX = 3, 2.0


def side_words(report: EdgeReport) -> str:
    """What the narrow side shows, in one or a few sentences; chances stand elsewhere."""
    first = "Its make-up cannot be told" if report.kind == "cannot_tell" else f"It looks like {_LOOKS[report.kind]}"
    parts = [f"A narrow side, {_size(report.thickness_px, report.thickness_mm)} thick. {first}."]
    if report.plies is not None and report.kind == "plies" and report.plies.plies >= LEAST_PLIES:
        parts.append(f"{report.plies.plies} layers stand out; there may be more.")
    if report.layer is not None and report.layer.thickness_px >= LEAST_LAYER_PX:
        size = _size(report.layer.thickness_px, report.layer.thickness_mm)
        parts.append(f"A {_TONE[report.layer.tone]} layer about {size} thick lies next to the face.")
    run = report.continuation
    if run.usable and abs(run.log_ratio) >= SPOKEN and report.kind in ("solid_end", "solid_edge", "banding"):
        runs_on = ("Lines of the face seem to run on over the arris, as in one piece of wood; a good strip or veneer can seem "
                   "so too.")
        parts.append(runs_on if run.log_ratio > 0 else "Lines of the face do not seem to run on over the arris.")
    if report.lumber_core:
        parts.append("Its layers lie as a core of thick staves between cross bands does.")
    return " ".join(parts)


def _size(px: float, mm: float | None) -> str:
    return f"{px:.0f} px" if mm is None else f"{mm:.1f} mm"


#: A strip found beside a face and told as its own is a neighbour's one time in ten on rendered furniture, oftener on photos.
NEIGHBOUR = "It may belong to a neighbouring part."


def side_detail(report: EdgeReport, *, beside: bool = False) -> Detail:
    """The report as a detail. `beside`: of a strip found beside a face, whose chances do not hold on real photos."""
    numbers: dict[str, float | None] = {"thickness_px": report.thickness_px, "thickness_mm": report.thickness_mm}
    if report.plies is not None:
        numbers["plies_standing_out"] = float(report.plies.plies)
        mm = report.plies.thickness_mm
        for n, px in enumerate(report.plies.thickness_px, 1):
            numbers[f"layer_{n}_px"] = px
            numbers[f"layer_{n}_mm"] = None if mm is None else mm[n - 1]
    if report.layer is not None:
        numbers["face_layer_px"], numbers["face_layer_mm"] = report.layer.thickness_px, report.layer.thickness_mm
    known = {k: round(float(v), 3) for k, v in numbers.items() if v is not None and math.isfinite(v)}
    chance = None if report.kind == "cannot_tell" else float(report.chances[report.kind])
    if not beside:
        return Detail("edge", report.kind, chance, None, report.outline, side_words(report), _MEANS[report.kind], known)
    return Detail("edge", report.kind, None, None, report.outline,
                  f"Beside this face: a{side_words(report)[1:]}", f"{_MEANS[report.kind]} {NEIGHBOUR}", known)

"""Which cues are in view on a panel: what makes a verdict on it possible at all."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.detail import Detail
from vision.findings.base import PanelContext
from vision.grain.flow import resolved
from vision.registry import CUES
from vision.repeats.numbers import HYPOTHESIS_OF

#: Pixels per millimetre from which pores are resolved, and grain lines this wide in native pixels when scale is unknown.
MACRO_PX_PER_MM, MACRO_WAVE_PX = 20.0, 24.0
#: Share of the panel with resolved grain that counts as figure in view.
FIGURE_SHARE = 0.25
HIGHLIGHT_SHARE = 0.02


#: Damage under which something else can be seen.
WEAR_KINDS = ("chip", "worn_through", "crumbled", "delaminated_ply", "lifted_banding")


def with_wear(cues: Sequence[str], details: Sequence[Detail]) -> tuple[str, ...]:
    """The cues with 'wear' added where a damaged spot may show what is underneath."""
    seen = any(d.group == "damage" and d.kind in WEAR_KINDS for d in details)
    found = {*cues, "wear"} - {"none"} if seen else set(cues)
    return tuple(k for k in CUES if k in found)


def cues_in_view(ctx: PanelContext, view: str) -> tuple[str, ...]:
    """Keys of registry.CUES visible on this panel, in registry order; ('none',) when there is none."""
    found = set()
    if view in ("edge", "end"):
        found.add(view)
    field = ctx.measure.field
    valid = max(1, int(field.valid.sum()))
    shown = resolved(field)
    if shown.sum() / valid >= FIGURE_SHARE:
        found.add("figure")
        waves = field.wavelength[shown & np.isfinite(field.wavelength)]
        wave = float(np.median(waves)) * ctx.measure.view.px_scale if waves.size else 0.0
        mm = ctx.measure.view.mm_per_px
        close = mm is not None and ctx.measure.view.px_scale / mm >= MACRO_PX_PER_MM
        if close or (mm is None and wave >= MACRO_WAVE_PX):
            found.add("macro")
    if ctx.value("gloss_share") >= HIGHLIGHT_SHARE:
        found.add("highlight")
    if ctx.structure.knots:
        found.add("knot")
    if len(ctx.structure.strips) >= 2:
        found.add("boards")
    if any(ctx.value(name) > 0 for name in HYPOTHESIS_OF):
        found.add("repeat")
    return tuple(k for k in CUES if k in found) or ("none",)

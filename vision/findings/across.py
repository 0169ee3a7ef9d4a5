"""Findings that need two photos of one panel: how a highlight moved while the figure stayed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from vision.findings.base import Draft, PanelContext
from vision.findings.weigh import Weight
from vision.surface.gloss import compare

#: Comparing is the dearest measurement there is, so only the likeliest pairs are compared.
MOST_PAIRS = 4


def gloss_change(first: PanelContext, second: PanelContext) -> Draft | None:
    """Draft for two sightings of one panel in two photos, None where their figure cannot be laid over each other.

    Its weight is nil: no labelled pairs of real photos exist yet to learn one from, and a weight is measured or not given.
    """
    change = compare(first.measure.view, second.measure.view)
    if not change.registered:
        return None
    if math.isfinite(change.shift):
        moved = f"a highlight moved by {100 * change.shift:.0f} % of the panel's diagonal"
    else:
        moved = "the light changed" if change.light_change > 0.15 else "the light hardly changed"
    kept = ""
    if math.isfinite(change.figure_under):
        kept = f", and the figure under it stayed alike to {change.figure_under:.2f} (1 is unchanged)"
    text = (f"Two photos of one surface: {moved}{kept}. Film keeps its picture whole under a highlight, open pores break it; "
            "how much that is worth is not yet measured, so it is shown and not weighed.")
    return Draft("gloss_change", (first.outline_region(), second.outline_region()), Weight("veneer", "printed", 0.0), text)


def cross_photo_drafts(pairs: Iterable[Sequence[PanelContext]]) -> list[tuple[Draft, tuple[PanelContext, PanelContext]]]:
    """Drafts for pairs of sightings of one part on different photos."""
    out = []
    for n, (first, second) in enumerate(pairs):
        if n >= MOST_PAIRS:
            break
        draft = gloss_change(first, second)
        if draft is not None:
            out.append((draft, (first, second)))
    return out

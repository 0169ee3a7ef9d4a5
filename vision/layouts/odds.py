"""A layout as evidence: how much likelier the numbers are with related leaves, or boards, than with one plain sheet."""

from __future__ import annotations

import math
from collections.abc import Mapping

from vision.features import Feature
from vision.layouts.layout import Layout

#: Layouts that only leaves of one log, or thin leaves, are laid to.
MATCHED = ("slip", "book", "end", "sunburst", "box", "reverse_box", "diamond", "reverse_diamond")
#: Panels on which nothing of the kind is to be seen.
PLAIN = ("single", "random", "boards")

FEATURES = (
    Feature("layout_log_matched", "leaf_layout", "nat", "Log likelihood ratio of related leaves against none, not below 0."),
    Feature("layout_log_boards", "leaf_layout", "nat", "Log likelihood ratio of boards against one sheet, not below 0."),
)


def ratio(probabilities: Mapping[str, float], there: tuple[str, ...], absent: tuple[str, ...]) -> float:
    """Log likelihood ratio of a group of layouts against another, each layout having been taught as often as the next."""
    here = sum(probabilities[n] for n in there) / len(there)
    away = sum(probabilities[n] for n in absent) / len(absent)
    return math.log(max(here, 1e-9) / max(away, 1e-9))


def odds(layout: Layout) -> dict[str, float]:
    """FEATURES of a reading: a layout that is not there says nothing, so nothing falls below 0."""
    if layout.name == "none":
        return {f.name: 0.0 for f in FEATURES}
    p = layout.probabilities
    return {"layout_log_matched": max(0.0, ratio(p, MATCHED, PLAIN)),
            "layout_log_boards": max(0.0, ratio(p, ("boards",), ("single",)))}

"""A layout as evidence: how much likelier the numbers are with related leaves, or boards, than with one plain sheet."""

from __future__ import annotations

import math
from collections.abc import Mapping

from vision.features import Feature
from vision.layouts.layout import SURE, Layout

#: Layouts that only leaves of one log, or thin leaves, are laid to.
MATCHED = ("slip", "book", "end", "sunburst", "box", "reverse_box", "diamond", "reverse_diamond")
#: Panels on which nothing of the kind is to be seen.
PLAIN = ("single", "random", "boards")
#: No ratio counts for more: of 45 plain panels of figures nobody was taught none was given related leaves at 0.9 or more,
#: which leaves one in 15.5 possible (one-sided 95 % bound, exact); more cannot be claimed.
MOST = math.log(15.5)

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
    """FEATURES of a reading: a layout that is not there says nothing, so nothing falls below 0, nor above `MOST`."""
    p = layout.probabilities
    if layout.name == "none" or (layout.name == "unclear" and max(p.values()) >= SURE):
        return {f.name: 0.0 for f in FEATURES}  # no grain, or a name that measurements speak against
    return {"layout_log_matched": min(MOST, max(0.0, ratio(p, MATCHED, PLAIN))),
            "layout_log_boards": min(MOST, max(0.0, ratio(p, ("boards",), ("single",))))}

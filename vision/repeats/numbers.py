"""What found repeats say of each panel, as features: one log likelihood ratio a hypothesis, 0 where nothing was found."""

from __future__ import annotations

from collections.abc import Sequence

from vision.features import Feature
from vision.repeats.repeat import Repeat

#: Feature -> hypothesis whose likelihood it holds against coincidence.
HYPOTHESIS_OF = {
    "repeat_log_copy": "exact_copy", "repeat_log_slip": "slip", "repeat_log_book": "book", "repeat_log_rotary": "rotary",
}
_ABOUT = {
    "repeat_log_copy": "an exact copy of its figure", "repeat_log_slip": "the next leaf of the same log, not turned",
    "repeat_log_book": "the next leaf of the same log, opened like a book",
    "repeat_log_rotary": "another turn of the same peeled log",
}
FEATURES = tuple(
    Feature(name, "figure_repeat", "nat", f"Log likelihood ratio of {about} being seen elsewhere; 0 where nothing was found.")
    for name, about in _ABOUT.items()
)


def strongest(repeats: Sequence[Repeat], sheets: int) -> list[Repeat | None]:
    """For each sheet the repeat that speaks most clearly, None without one. One physical surface seen twice is none."""
    best: list[Repeat | None] = [None] * sheets
    for repeat in repeats:
        if repeat.same_surface or repeat.log_odds <= 0:
            continue
        for k in {repeat.a, repeat.b}:
            known = best[k]
            if known is None or repeat.log_odds > known.log_odds:
                best[k] = repeat
    return best


def numbers(repeat: Repeat | None) -> dict[str, float]:
    """FEATURES of a panel from its strongest repeat: several repeats of one panel are not independent, so one speaks."""
    if repeat is None:
        return dict.fromkeys(HYPOTHESIS_OF, 0.0)
    chance = repeat.log_likelihoods["coincidence"]
    return {name: repeat.log_likelihoods[h] - chance for name, h in HYPOTHESIS_OF.items()}

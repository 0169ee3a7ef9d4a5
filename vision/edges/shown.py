"""What a classifier should read of an edge: a few numbers with fixed names, whatever the models behind them become."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

#: Names with a sentence each. Log chances are natural logs of calibrated chances that count all kinds alike beforehand.
SHOWN_NUMBERS: Final[Mapping[str, str]] = MappingProxyType({
    "shown_wood": "Log chance that the narrow side is solid wood, cut along or across the grain.",
    "shown_plies": "Log chance that it shows cross-laid sheets.",
    "shown_particles": "Log chance that it shows glued particles.",
    "shown_fibre": "Log chance that it shows even fibre.",
    "shown_banded": "Log chance that a strip is glued on it.",
    "shown_other": "Log chance that it is painted or no board's edge at all.",
    "shown_end_grain": "Log odds of wood cut across the grain against wood cut along it.",
    "shown_one_piece": "Log ratio of face and narrow side being one piece of wood; nan where the arris is too short or thin.",
    "shown_seam": "Log odds that something is glued on at the arris.",
    "shown_layer": "Log odds of a thin layer between the face and what lies below it.",
    "shown_layer_px": "Thickness of that layer in photo pixels; nan where none is found.",
    "shown_ply_count": "Plies counted across the thickness; nan where fewer than three layers are found.",
})

GROUPS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType({
    "shown_wood": ("solid_end", "solid_edge"), "shown_plies": ("plies",), "shown_particles": ("particles",),
    "shown_fibre": ("fibre",), "shown_banded": ("banding",), "shown_other": ("painted", "other"),
})
#: Chances are kept this far from 0 and 1, so that no log runs away.
LEAST: Final = 1e-4


def log_odds(chance: float) -> float:
    """Natural log of chance over its opposite, bounded."""
    p = min(max(chance, LEAST), 1 - LEAST)
    return math.log(p / (1 - p))


def shown_numbers(chances: Mapping[str, float], *, one_piece: float, seam_chance: float, layer_chance: float, layer_px: float,
                  plies: float) -> dict[str, float]:
    """The numbers by name; `chances` by strip kind, the others as the report has them, nan where unmeasured."""
    out = {name: math.log(max(sum(chances[k] for k in kinds), LEAST)) for name, kinds in GROUPS.items()}
    end, edge = max(chances["solid_end"], LEAST), max(chances["solid_edge"], LEAST)
    out.update(shown_end_grain=math.log(end / edge), shown_one_piece=one_piece, shown_seam=log_odds(seam_chance),
               shown_layer=log_odds(layer_chance), shown_layer_px=layer_px, shown_ply_count=plies)
    return {name: float(out[name]) for name in SHOWN_NUMBERS}

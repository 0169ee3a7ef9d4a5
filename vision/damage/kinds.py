"""Kinds of damage, what each means for the work, and the rule that calls a region minor or major."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final


@dataclass(frozen=True)
class Kind:
    """`words`: its name in a sentence; `plan`: what it means for the work; `major_share`: share of the panel's area from
    which it is major; `major_at_border`: the same where it reaches a border; `by_hand`: never more than 'possible'."""

    words: str
    plan: str
    major_share: float
    major_at_border: float
    by_hand: bool = False


#: Shares are this program's own rule: structural damage is major early, marks in the finish only when they are wide.
KINDS: Final[Mapping[str, Kind]] = MappingProxyType(
    {
        "lifted_face": Kind(
            "lifting or bubbled face", "Glue it down before any sanding; sanding a bubble cuts through it.", 0.01, 0.006
        ),
        "chip": Kind("missing chip", "Patch or fill before finishing.", 0.006, 0.01),
        "worn_through": Kind("worn-through or nearly worn face", "Do not sand here before the face is known.", 0.02, 0.03),
        "delaminated_ply": Kind("plies coming apart", "Glue and clamp; the board has lost strength here.", 0.0, 0.0),
        "swollen_edge": Kind("swollen board edge", "Swelling does not go back; cut away, consolidate or replace.", 0.01, 0.01),
        "flaking_finish": Kind("flaking finish", "Loose finish must come off before anything new holds.", 0.05, 0.05),
        "water_mark": Kind(
            "white ring or water mark", "Often in the finish only; a dark mark has gone into the wood.", 0.06, 0.06
        ),
        "mould": Kind("mould-like specks", "Check by hand, in gloves and mask, before working on it.", 0.02, 0.02, True),
        "insect_holes": Kind(
            "small round holes as insects leave",
            "Look for fresh powder; keep apart from other pieces until sure.",
            0.01,
            0.01,
            True,
        ),
        "crack": Kind("crack or split along the grain", "Glue or key it; it works with the seasons.", 0.012, 0.006),
        "crumbled": Kind("crumbling board", "Consolidate or cut back to sound board.", 0.004, 0.004),
        "lifted_banding": Kind("banding coming off", "Glue back or replace the strip.", 0.08, 0.08),
        "scratch": Kind("deep scratch", "Steam, fill or sand as the face allows.", 0.02, 0.02),
        "burn": Kind("burn", "Scrape to sound wood, then colour; a print cannot be mended so.", 0.01, 0.01),
        "stain": Kind("ink or colour stain", "May go deeper than the face can be sanded.", 0.02, 0.02),
    }
)

#: Shown beneath -> words.
UNDER_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "same_wood": "the same wood, uncoloured",
        "cross_grain": "wood with its grain another way, as in a core or ply",
        "particles": "particles of a board",
        "fibre": "brown fibre of a board",
        "paper": "paper",
    }
)
#: Shown beneath -> what that supports for the face, as words.
UNDER_SUPPORTS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "same_wood": "supports solid wood or a stained face",
        "cross_grain": "supports veneer or plywood",
        "particles": "supports a face over particle board",
        "fibre": "supports a face over fibreboard",
        "paper": "supports a print",
    }
)


def severity(kind: str, area_share: float, at_border: bool) -> str:
    """'minor' or 'major' from the share of the panel's area that a region covers and whether it reaches a border."""
    rule = KINDS[kind]
    if not 0 <= area_share <= 1:
        raise ValueError(f"a share lies between 0 and 1, got {area_share}")
    return "major" if area_share >= (rule.major_at_border if at_border else rule.major_share) else "minor"

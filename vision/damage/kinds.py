"""Kinds of damage, what each means for the work, and the rule that calls a region minor or major."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

#: What damage means for the plan of work, in short.
BEARINGS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "loose_face": "the face is loose here",
        "face_missing": "a piece of the face is missing",
        "shows_core": "what lies under the face can be seen",
        "nearly_through": "the face may be nearly through",
        "board_weak": "the board has lost strength",
        "finish_first": "the finish has suffered, the wood perhaps not",
        "wood_moves": "the wood has split and still moves",
        "mark_deep": "the mark may go deeper than the face can be sanded",
        "check_by_hand": "a photo cannot settle it",
    }
)
#: Share of the area at which a kind is major from which a minor region is called medium.
MEDIUM = 1 / 3


@dataclass(frozen=True)
class Kind:
    """`words`: its name in a sentence; `plan`: what it means for the work; `bears`: key of BEARINGS, the same in short;
    `major_share`: share of the panel's area from which it is major; `major_at_border`: the same where it reaches a border;
    `by_hand`: never more than 'possible'."""

    words: str
    plan: str
    bears: str
    major_share: float
    major_at_border: float
    by_hand: bool = False


#: Shares are this program's own rule: structural damage is major early, marks in the finish only when they are wide.
KINDS: Final[Mapping[str, Kind]] = MappingProxyType(
    {
        "lifted_face": Kind(
            "a lifting or bubbled face",
            "Glue it down before any sanding; sanding a bubble cuts through it.",
            "loose_face",
            0.01,
            0.006,
        ),
        "chip": Kind("a missing chip", "Patch or fill before finishing.", "face_missing", 0.006, 0.01),
        "worn_through": Kind(
            "a worn-through or nearly worn face", "Do not sand here before the face is known.", "nearly_through", 0.02, 0.03
        ),
        "delaminated_ply": Kind(
            "plies coming apart", "Glue and clamp; the board has lost strength here.", "board_weak", 0.0, 0.0
        ),
        "swollen_edge": Kind(
            "a swollen board edge", "Swelling does not go back; cut away, consolidate or replace.", "board_weak", 0.01, 0.01
        ),
        "flaking_finish": Kind(
            "flaking finish", "Loose finish must come off before anything new holds.", "finish_first", 0.05, 0.05
        ),
        "water_mark": Kind(
            "a white ring or water mark",
            "Often in the finish only; a dark mark has gone into the wood.",
            "finish_first",
            0.06,
            0.06,
        ),
        "mould": Kind(
            "mould-like specks", "Check by hand, in gloves and mask, before working on it.", "check_by_hand", 0.02, 0.02, True
        ),
        "insect_holes": Kind(
            "small round holes as insects leave",
            "Look for fresh powder; keep apart from other pieces until sure.",
            "check_by_hand",
            0.01,
            0.01,
            True,
        ),
        "crack": Kind(
            "a crack or split along the grain", "Glue or key it; it works with the seasons.", "wood_moves", 0.012, 0.006
        ),
        "crumbled": Kind("a crumbling board", "Consolidate or cut back to sound board.", "board_weak", 0.004, 0.004),
        "lifted_banding": Kind("banding coming off", "Glue back or replace the strip.", "loose_face", 0.08, 0.08),
        "scratch": Kind("a deep scratch", "Steam, fill or sand as the face allows.", "mark_deep", 0.02, 0.02),
        "burn": Kind(
            "a burn, though a dark knot can look alike",
            "Scrape to sound wood, then colour; a print cannot be mended so.",
            "mark_deep",
            0.01,
            0.01,
        ),
        "stain": Kind("an ink or colour stain", "May go deeper than the face can be sanded.", "mark_deep", 0.02, 0.02),
    }
)

#: Kinds that a photo often cannot tell apart: a pale, ragged patch may be broken out, crumbled or worn; depth decides.
FAMILIES: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType({"face_gone": ("chip", "worn_through", "crumbled")})
FAMILY_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {"face_gone": "chipped, crumbled or worn, a photo may not settle which"}
)


def family(kind: str) -> str:
    """Key of the family that a kind belongs to, or the kind itself."""
    return next((name for name, kinds in FAMILIES.items() if kind in kinds), kind)


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


def level(kind: str, area_share: float, severe: str) -> str:
    """'low', 'medium' or 'high': major ones are high, minor ones medium from a third of the area that would make them major."""
    rule = KINDS[kind]
    if severe == "major":
        return "high"
    return "medium" if area_share >= MEDIUM * min(rule.major_share, rule.major_at_border) else "low"


def bearing(kind: str, shows: str | None) -> str:
    """Key of BEARINGS for a region of a kind under which `shows` (key of UNDER_WORDS or None) is seen."""
    return "shows_core" if shows in ("cross_grain", "particles", "fibre") else KINDS[kind].bears

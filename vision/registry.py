"""The one registry of names: every class, role, cue, finding kind, reason and problem kind, with a sentence each.

Everything that travels in the JSON contract takes its keys from here; nothing else in the project invents one.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final


def _frozen(entries: dict[str, str]) -> Mapping[str, str]:
    return MappingProxyType(entries)


FACES: Final = _frozen({
    "solid_wood": "The face is the surface of a board: the same wood goes on through the thickness.",
    "veneer": "A thin sheet of real wood glued to a core; plywood's own face counts too.",
    "printed": "A picture of wood or another pattern: laminate, melamine, foil or vinyl.",
    "opaque": "Paint or a solid colour; what lies below cannot be seen.",
    "bare_board": "Raw fibreboard, particle board, strand board or hardboard with nothing over it.",
    "not_wood": "Not a furniture board at all: wall, floor covering, metal, glass, fabric, stone.",
})

CORES: Final = _frozen({
    "lumber": "Boards or staves of solid wood.",
    "plywood": "Cross-laid sheets of wood.",
    "particle_board": "Glued wood particles or strands.",
    "fibreboard": "Glued wood fibres: MDF, HDF, hardboard.",
})

SUBSTRATES: Final = _frozen({
    "solid_lumber": "Solid wood through and through.",
    "veneer_on_lumber": "Veneer over solid staves or secondary wood.",
    "veneer_on_plywood": "Veneer or the plywood's own face over cross-laid plies.",
    "veneer_on_particle_board": "Veneer over particle board.",
    "veneer_on_fibreboard": "Veneer over fibreboard.",
    "print_on_lumber": "Printed film or paper over solid wood.",
    "print_on_plywood": "Printed film or paper over plywood.",
    "print_on_particle_board": "Printed film or paper over particle board.",
    "print_on_fibreboard": "Printed film or paper over fibreboard.",
    "opaque_on_lumber": "Paint or solid colour over solid wood.",
    "opaque_on_plywood": "Paint or solid colour over plywood.",
    "opaque_on_particle_board": "Paint or solid colour over particle board.",
    "opaque_on_fibreboard": "Paint or solid colour over fibreboard.",
    "bare_particle_board": "Raw particle or strand board.",
    "bare_fibreboard": "Raw fibreboard or hardboard.",
    "not_wood": "Not a furniture board.",
})

#: (face, core) -> substrate; pairs that cannot exist are absent (a solid face has a lumber core by definition).
SUBSTRATE_OF: Final[Mapping[tuple[str, str], str]] = MappingProxyType({
    ("solid_wood", "lumber"): "solid_lumber",
    **{("veneer", c): f"veneer_on_{c}" for c in CORES},
    **{("printed", c): f"print_on_{c}" for c in CORES},
    **{("opaque", c): f"opaque_on_{c}" for c in CORES},
    ("bare_board", "particle_board"): "bare_particle_board",
    ("bare_board", "fibreboard"): "bare_fibreboard",
    **{("not_wood", c): "not_wood" for c in CORES},
})

VIEWS: Final = _frozen({
    "face": "The broad side of a panel.",
    "edge": "A narrow long side where the thickness shows.",
    "end": "A narrow side cut across the grain.",
    "joint": "A place where parts meet and both show.",
    "whole": "A whole piece or part seen as one, without a single flat side.",
    "unknown": "It cannot be said which side of the panel this is.",
})

ROLES: Final = _frozen({
    "top": "The horizontal top of the piece.",
    "side": "An outer side of the carcase.",
    "drawer_front": "The front of a drawer.",
    "door": "A door.",
    "drawer_side": "The side of a drawer, seen when it is open.",
    "back": "The back panel.",
    "shelf": "A shelf.",
    "leg": "A leg or post.",
    "frame": "A rail, stile or other narrow framing part.",
    "unknown": "It cannot be said which part this is.",
})

PROBLEMS: Final = _frozen({
    "motion_blur": "The photo is smeared in one direction: the phone moved.",
    "focus_blur": "The photo is out of focus.",
    "underexposed": "Much of the photo is too dark to show figure.",
    "overexposed": "Much of the photo is burnt out to white.",
    "glare": "Bright reflections hide part of the surface.",
    "too_far": "Grain is not resolved: the surface is too small or too coarse in the photo.",
    "strong_compression": "Strong JPEG compression has wiped out fine texture.",
    "no_wood_like_surface": "No wood-like or furniture-like surface was found.",
})

CUES: Final = _frozen({
    "repeat": "The same figure seen twice.",
    "edge": "An edge that shows the thickness.",
    "end": "An end cut across the grain.",
    "gloss_pair": "Two shots of one surface under different light.",
    "macro": "Close enough to resolve pores (20 px or more per mm, or grain many pixels wide).",
    "wear": "A worn or damaged spot that shows what is underneath.",
    "highlight": "A highlight lying on the surface.",
    "figure": "Grain figure resolved on the face.",
    "knot": "A dark spot with the grain turning round it: a knot, or a knob or hole.",
    "boards": "Strips of boards or leaves side by side.",
    "none": "Nothing in view that decides.",
})

FINDING_KINDS: Final = _frozen({
    "overall_look": "What surfaces that look like this usually are, as learned from labelled photos.",
    "colour": "Hue, saturation and how many distinct colours the surface carries.",
    "fine_texture": "Pores, ray flecks and streaks at the finest scale the photo resolves.",
    "print_clues": "Dots, few inks, over-regular texture or figure without pores.",
    "gloss": "Size and sharpness of highlights, and whether figure breaks them.",
    "paint_clues": "No grain at any scale, roller or brush stipple, a solid colour.",
    "grain_flow": "How strongly and how straight the grain runs, and how it bends.",
    "board_strips": "Strips side by side, with their widths and how their grain differs.",
    "direction_seam": "A line at which the grain direction breaks.",
    "knot": "Grain turning round a dark spot: a knot, or a knob or hole.",
    "edge_layers": "Stripes parallel to the face on an edge: plies, skins or a face layer.",
    "edge_particles": "Particles or uniform fibre on a raw edge.",
    "end_rings": "Ring arcs on an end.",
    "gloss_change": "How a highlight moved between two photos of the same panel.",
    "shape": "Where the panel sits and how it is shaped.",
    "figure_repeat": "The same figure seen twice, as a print's, or as neighbouring leaves' of one log.",
    "leaf_layout": "Leaves laid to a pattern, or boards side by side with no relation.",
    "eye_cues": "Gaps between strips, the colour of dark spots, and whether colour and sheen keep step with the figure.",
    "edge_make": "What a narrow side is made of: wood, plies, particles, fibre, a glued-on strip, a thin face layer.",
    "net_region": "What a trained network sees in the panel and round it, and the places its evidence lies in if it has any.",
    "joint": "How parts are joined: dovetails, fingers, fittings, holes in a row. Shown, not weighed.",
    "fitting": "Knobs, pulls, keyholes, hinges, screws, and holes where a pull is gone. Shown, not weighed.",
    "damage": "A damaged place. It changes the work; shown, not weighed.",
})

#: What can be seen on a panel besides its material, by group; keys are unique within a group.
DETAIL_GROUPS: Final = _frozen({
    "edge": "The make-up of a narrow side.",
    "joint": "How parts are joined.",
    "fitting": "Hardware in place, or the holes it left.",
    "damage": "A damaged place, with a level.",
})
DETAILS: Final[Mapping[str, Mapping[str, str]]] = MappingProxyType({
    "edge": _frozen({
        "solid_end": "Wood cut across the grain.",
        "solid_edge": "Wood cut along the grain, several mm of it: a board's edge, a lumber core or a lipping.",
        "plies": "Cross-laid sheets.",
        "particles": "Glued particles.",
        "fibre": "Even fibre.",
        "banding": "A glued-on strip.",
        "painted": "A coat of paint.",
        "other": "No board's edge.",
        "cannot_tell": "A narrow side whose make-up cannot be told.",
    }),
    "joint": _frozen({
        "dovetail": "Dovetails.",
        "fingers": "Square fingers.",
        "joint": "Fingers, square or dovetailed.",
        "cam": "The housing of a cam fitting.",
        "cap": "A cover cap.",
        "dowel": "The end of a dowel or peg.",
        "nail": "A nail head.",
        "hole_row": "Holes in a row at one pitch.",
        "hole_grid": "A perforated panel.",
        "staples": "Staples in a row.",
        "gap": "A joint that may have opened.",
        "relief": "Carved, fluted or turned work, possibly.",
    }),
    "fitting": _frozen({
        "knob": "A knob.",
        "pull": "A pull or handle.",
        "keyhole": "A keyhole or its plate.",
        "hinge": "A hinge.",
        "screw": "A screw head.",
        "hole": "A bare hole.",
        "pull_missing": "Holes where a pull may be gone.",
    }),
    "damage": _frozen({
        "lifted_face": "A lifting or bubbled face.",
        "chip": "A missing chip.",
        "worn_through": "A worn-through or nearly worn face.",
        "delaminated_ply": "Plies coming apart.",
        "swollen_edge": "A swollen board edge.",
        "flaking_finish": "Flaking finish.",
        "water_mark": "A white ring or water mark.",
        "mould": "Mould-like specks, possibly: a photo cannot settle it.",
        "insect_holes": "Small round holes as insects leave, possibly: a photo cannot settle it.",
        "crack": "A crack or split along the grain.",
        "crumbled": "Crumbling board.",
        "lifted_banding": "Banding coming off.",
        "scratch": "A deep scratch.",
        "burn": "A burn.",
        "stain": "An ink or colour stain.",
    }),
})
#: Damage that a photo cannot settle: never more than possible.
BY_HAND: Final = ("mould", "insect_holes")
#: How much a damaged place matters for the work.
LEVELS: Final = _frozen({
    "low": "Small, or in the finish only.",
    "medium": "Larger; plan for it.",
    "high": "Structural or wide: it decides the work.",
})

REASONS: Final = _frozen({
    "plain_face": "A plain face alone does not separate solid wood from veneer.",
    "print_or_wood": "The photo does not settle whether the figure is printed or real.",
    "weak_evidence": "What can be measured here points nowhere clearly.",
    "photo_problem": "The photo itself hides what would decide.",
    "too_small": "The panel is too small in the photo to measure.",
    "unlike_training": "This surface is unlike anything the classifier was taught on.",
    "core_hidden": "The core is not visible in this view.",
})

ASKS: Final = _frozen({
    "edge_close": "A close photo of an edge or end of the part.",
    "top_end": "A close photo of the end of the top, where end grain would show.",
    "underside": "A photo of the underside or hidden side of the part.",
    "drawer_top_edge": "A photo of the top edge of a drawer front, drawer pulled out.",
    "door_edge": "A photo of a door's edge and inside face, door open.",
    "macro": "A very close photo of the face, near enough to see pores.",
    "side_light": "A second photo of the same face with light from the side.",
    "hole": "A look into a drilled hole, hinge recess or screw hole.",
    "arris": "A fingernail drawn over the corner between face and edge.",
    "worn_spot": "A look for a chip, worn corner or lifted spot.",
    "spot_seen": "A close look at a damaged spot that the photo shows.",
    "knot_through": "One knot or crack looked for on both sides of the panel.",
    "weigh": "The panel lifted and judged by weight.",
    "whole_piece": "A sharp photo of the whole piece that fills the frame.",
})

FACE_WORDS: Final = _frozen({
    "solid_wood": "solid wood", "veneer": "wood veneer", "printed": "printed surface", "opaque": "paint or solid colour",
    "bare_board": "raw board", "not_wood": "not a furniture board",
})
CORE_WORDS: Final = _frozen({
    "lumber": "solid lumber", "plywood": "plywood", "particle_board": "particle board", "fibreboard": "fibreboard",
})

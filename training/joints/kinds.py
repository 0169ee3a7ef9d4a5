"""What can be pictured, and what each picture truly shows. Dimensions are common practice, no source, unless one is named."""

from __future__ import annotations

from typing import Final

#: Picture name to the labels that are true of it.
SHOWN: Final[dict[str, tuple[str, ...]]] = {
    "dovetail_through": ("dovetail",),
    "dovetail_half_blind": ("dovetail",),
    "dovetail_corner": ("dovetail", "fingers"),
    "dovetail_pins": ("fingers",),
    "finger_joint": ("fingers",),
    "dowels": ("dowel",),
    "staples": ("staple",),
    "nails": ("nail",),
    "cams": ("cam",),
    "covers": ("cap",),
    "connector_screws": ("screw",),
    "screws": ("screw",),
    "shelf_holes": ("hole", "hole_row"),
    "keyhole": ("keyhole",),
    "missing_pull": ("hole", "hole_pair"),
    "knobs": ("knob",),
    "hinge": ("hinge",),
    "gap": ("gap",),
    "perforated": ("hole", "hole_grid"),
    "relief": ("relief",),
}
#: Pictures that show none of it.
TRAPS: Final[tuple[str, ...]] = (
    "plain", "knots", "boards", "plies", "books", "louvre", "shadow", "printed_joint", "checker", "zigzag", "weave",
    "plain_back", "ply_bottom", "inlay", "drawers", "keys", "bricks", "slats", "label",
)
NAMES: Final[tuple[str, ...]] = (*SHOWN, *TRAPS)
#: Names with round things whose places are known.
ROUND: Final = ("hole", "cam", "cap", "screw", "dowel", "nail", "knob")

#: Dovetail side angles that are cut, degrees: slopes of 1 in 8, 1 in 7 and 1 in 6, and router cutters.
SLOPES: Final = (7.125, 8.13, 9.46)
CUTTERS: Final = (7.0, 8.0, 14.0)
#: Hole spacings of pulls, mm.
PULLS: Final = (64.0, 76.0, 96.0, 128.0)
#: Rows for shelf pins and fittings: pitch and hole width, mm.
SYSTEM_PITCH, SYSTEM_HOLE = 32.0, 5.0
CAM_MM = 15.0
#: Perforated hardboard: pitch and hole width, mm.
PERFORATED: Final = ((25.4, 6.4), (25.4, 4.8), (19.0, 5.0))

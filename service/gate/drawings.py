"""Small line drawings of where to look: the piece on the left with the spot marked, what to look for in the round lens.

Drawn in the colour of the text around them, with nothing painted over, so that they hold on light and dark grounds and in print.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from xml.sax.saxutils import escape, quoteattr

WIDTH, HEIGHT = 160, 120
LENS_X, LENS_Y, LENS_R = 112, 60, 44

# Pieces on the left, as path data.
_LEGS = "M11 92V98M47 92V98M61 83V88"
_CASE = "M8 44H50V92H8ZM8 44 22 35H64L50 44M64 35V83L50 92"
_CHEST = f"{_CASE}M11 48H47V60H11ZM11 63H47V75H11ZM11 78H47V89H11ZM27 54H31M27 69H31M27 84H31{_LEGS}"
_BACK = f"{_CASE}M12 48H46V88H12ZM12 68H46{_LEGS}"
_UNDER = "M8 32H50V78H8ZM50 32 64 41V87L50 78M8 78 22 87H64M14 80V86M50 80V86M26 87V93M60 87V93"
_OPEN = f"{_CASE}M11 48H47V60H11ZM11 78H47V89H11ZM27 54H31M27 84H31M11 63H47V75H11ZM17 63V75M41 63V75{_LEGS}"
_DRAWER = "M6 62H46V82H6ZM6 62 24 50H64L46 62M64 50V70L46 82M10 62 26 52H60L49 60M24 72H29"
_DOOR = f"{_CASE}M11 47H28V89H11ZM30 47H47V89H30ZM14 52H25V84H14ZM33 52H44V84H33ZM26 68V71M32 68V71{_LEGS}"
_TOP = "M6 52 24 40H66L48 52ZM6 52V57H48V52M48 57 66 45V40M10 57V92M44 57V92M61 49V80"


@dataclass(frozen=True)
class Drawing:
    """`title`, `desc`: read out to who cannot see it; `piece`: path of the piece on the left; `spot`: (x, y) marked there;
    `lines`, `strong`, `dots`, `shade`: what the lens shows, from its centre, as thin lines, thick lines, (x, y, radius) and
    shaded areas."""

    title: str
    desc: str
    piece: str
    spot: tuple[float, float]
    lines: str = ""
    strong: str = ""
    dots: tuple[tuple[float, float, float], ...] = ()
    shade: str = ""


def _row(*points: float) -> tuple[tuple[float, float, float], ...]:
    """Dots from x, y, radius after one another."""
    return tuple((points[k], points[k + 1], points[k + 2]) for k in range(0, len(points), 3))


#: A fingertip that comes from the upper right and touches at the origin.
_FINGER = "M40 -34 8 -6C2 -1 -3 3 1 6S11 5 16 1L44 -19M5 -1C8 0 10 2 11 4"

DRAWINGS: Mapping[str, Drawing] = MappingProxyType({
    "label": Drawing(
        "The maker's label",
        "A chest from behind; the lens shows a paper label with lines of print.",
        _BACK, (20, 56),
        "M-24 -20H24V20H-24ZM-18 4H6M-18 11H-2",
        "M-18 -12H10M-18 -4H16",
        _row(17, 12, 3)),
    "inside": Drawing(
        "Smell the raw wood inside",
        "A chest with one drawer out; three wavy lines rise from the dark opening in the lens.",
        _OPEN, (29, 69),
        "M-34 8H34V30H-34ZM-28 8V30M28 8V30",
        "M-14 2C-20 -6 -8 -12 -14 -20S-8 -30 -12 -35M0 2C-6 -6 6 -12 0 -20S6 -30 2 -35M14 2C8 -6 20 -12 14 -20S20 -30 16 -35",
        (),
        "M-28 8H28V30H-28Z"),
    "back": Drawing(
        "Back panel, raw board",
        "A chest from behind; the lens shows clusters of spots on the back panel near its frame.",
        _BACK, (38, 80),
        "M-44 24H44M-44 18H44M26 -44V18M32 -44V18",
        "",
        _row(-20, -10, 3, -13, -13, 2, -15, -5, 2.4, -23, -2, 1.6, -8, -7, 1.4, 8, 6, 3, 14, 3, 2, 11, 11, 1.8, 3, 3, 1.4,
             17, 10, 1.3, -6, 11, 1.2, 8, -20, 1.5, 12, -23, 1.1)),
    "rims": Drawing(
        "Rims and corners of doors",
        "A cupboard; the lens shows paint that cracks and flakes at the corner of a door.",
        _DOOR, (29, 50),
        "M-44 -26H22V44M-44 -12H8V44M-34 2-28 6-32 12-24 16M-20 24-14 22-10 28M-38 24-32 22-30 30",
        "M-6 -26-10 -20-2 -16 2 -20 10 -14 16 -18 22 -12M22 6 15 10 18 18 12 24 22 30M-24 -12-20 -6-12 -8-8 -2 0 -6 0 -12"
        "M30 -6 35 -2 31 3 27 0ZM32 12 37 16 34 20Z",
        (),
        "M-6 -26-10 -20-2 -16 2 -20 10 -14 16 -18 22 -12V-26ZM22 6 15 10 18 18 12 24 22 30Z"
        "M-24 -12-20 -6-12 -8-8 -2 0 -6 0 -12Z"),
    "joints": Drawing(
        "Joints, seams and screw heads",
        "A chest; the lens shows a screw in a joint, a flat oval insect and small dark dots.",
        _CHEST, (10, 62),
        "M-44 -4H44M-44 -1H44M-33 -18a9 9 0 1 0 18 0a9 9 0 1 0 -18 0M-30 -13-18 -23",
        "M12 10C12 5 24 5 24 10V15C24 21 12 21 12 15ZM12 11H24M12 14.500H24M12 10 8 7M12 14H7M13 18 9 21M24 10 28 7M24 14H29"
        "M23 18 27 21M16 6 15 3M20 6 21 3",
        _row(-14, 3, 1.6, -9, 5, 1.2, -20, 5, 1.2, 2, 4, 1.5, 33, -7, 1.5, 27, -6, 1.1, -4, 9, 1)),
    "underside": Drawing(
        "Underneath, behind and at the feet",
        "A chest seen from below; the lens shows round holes in wood and a heap of powder.",
        _UNDER, (30, 83),
        "M-44 -26C-20 -30 10 -22 44 -27M-44 -14C-16 -18 12 -9 44 -15M-44 -2C-20 -6 10 3 44 -2M-44 8H44",
        "M-20 30C-10 22 -4 17 0 17S12 23 22 30Z",
        _row(-18, -20, 2.6, -2, -9, 2.6, 14, -20, 2.6, 24, -7, 2.6, -24, -5, 2.6, 0, 12, 0.9, -3, 14, 0.8, 2, 15, 0.8, -6,
             26, 0.9, 3, 24, 0.9, 9, 27, 0.9, -1, 28, 0.9)),
    "base": Drawing(
        "The lowest edges",
        "A chest; the lens shows the foot of a side that swells outwards above the floor, with a tide line.",
        _CHEST, (9, 91),
        "M-44 34H44M-10 -44V-6M-34 -4C-28 -7 -22 -1 -16 -4M24 -4C18 -8 14 -1 8 -5M-44 -4H-36",
        "M14 -44V-6C14 4 24 8 24 18V30H-20V18C-20 8 -10 4 -10 -6",
        (),
        "M14 -6C14 4 24 8 24 18V30H-20V18C-20 8 -10 4 -10 -6Z"),
    "legs": Drawing(
        "Legs and feet",
        "A table; the lens shows a leg with a crack along the grain.",
        _TOP, (44, 84),
        "M-44 -26H44M-7 -22C-8 0 -6 16 -5 30M8 -22C9 -6 7 10 6 20",
        "M-14 -26-9 38H9L14 -26M2 -26 5 -14-1 -4 3 8-2 18 1 27"),
    "top_corner": Drawing(
        "A top corner, pushed gently",
        "A chest; the lens shows a frame that leans to the side under a push, with an arrow.",
        _CHEST, (52, 42),
        "M-24 -16V30H24V-16Z",
        "M-12 -16 36 -16 24 30H-24ZM-38 -26H-16M-22 -31-15 -26-22 -21"),
    "drawer_runner": Drawing(
        "Drawer and runner",
        "A drawer half out; the lens shows its side on a runner, with an arrow in and out.",
        _DRAWER, (55, 77),
        "M-44 -24H44M-36 -24V-34M-44 22H44",
        "M-30 -12H30V10H-30ZM-20 -1H18M-14 -6-20 -1-14 4M12 -6 18 -1 12 4",
        (),
        "M-44 12H44V20H-44Z"),
    "end_of_part": Drawing(
        "The end, cut across the grain",
        "A table top; the lens shows growth rings on the end of a board and lines of its face that run on into them.",
        _TOP, (60, 47),
        "M-28 -4-4 -30M-14 -4 10 -30M0 -4 24 -30M8 -4 32 -30M14 8 38 -18M14 16 38 -10M-28 -4C-27 6 -18 12 -7 12S12 6 14 8"
        "M-14 -4C-13 1 -10 3 -7 3S-1 1 0 -4M-40 4C-34 18 -20 20 -7 20S8 17 14 16",
        "M-40 -4H14V24H-40ZM-40 -4-16 -30H38L14 -4M38 -30V-2L14 24"),
    "hole": Drawing(
        "A drilled hole or hinge recess",
        "A cupboard door; the lens shows a hole whose wall is made of chips.",
        _DOOR, (45, 56),
        "M-44 -34H44M-18 -8-12 -12-14 -4M-8 -18-2 -16-6 -12M4 -20 10 -15 4 -14M-20 4-15 2-16 8M-14 14-10 10M14 -14 17 -9",
        "M-25 0a25 25 0 1 0 50 0a25 25 0 1 0 -50 0M-11 5a17 17 0 1 0 34 0a17 17 0 1 0 -34 0",
        _row(-13, 2, 1, -9, -7, 1, 0, -20, 1, -19, -2, 1),
        "M-11 5a17 17 0 1 0 34 0a17 17 0 1 0 -34 0"),
    "drawer_top_edge": Drawing(
        "Top edge of a drawer front",
        "A drawer pulled out; the lens shows the upper edge of its front, with a thin line along it.",
        _DRAWER, (26, 60),
        "M-44 2H44M-32 14C-12 10 10 18 36 13M-38 24C-16 20 12 28 38 23M-24 34C-8 31 10 36 26 33M-30 -16V-30M30 -16V-30",
        "M-44 -16H44M-44 6H44",
        (),
        "M-44 -16H44V2H-44Z"),
    "knot_through": Drawing(
        "One knot on both sides",
        "A table top; the lens shows a board cut open with one knot running from face to face.",
        _TOP, (40, 45),
        "M-44 -16C-30 -16 -20 -20 -10 -24M44 -16C30 -16 20 -20 12 -24M-44 16C-30 16 -20 12 -12 8M44 16C30 16 22 12 14 8",
        "M-42 -24H42M-42 24H42M-8 -24C-4 -8 -6 8 -10 24M10 -24C8 -8 10 8 14 24",
        (),
        "M-8 -24H10C8 -8 10 8 14 24H-10C-6 8 -4 -8 -8 -24Z"),
    "back_and_underside": Drawing(
        "Back, underside and inside",
        "A chest from behind; an arrow in the lens leads around its corner to the hidden side.",
        _BACK, (29, 58),
        "M-22 -8H10V30H-22ZM-22 -8-8 -20H24L10 -8M24 -20V18L10 30",
        "M-32 -12C-34 -36 24 -44 36 -18M28 -20 37 -16 39 -26",
        (),
        "M10 -8 24 -20V18L10 30Z"),
    "lifted_spot": Drawing(
        "A chip or lifting strip",
        "A chest; the lens shows a thin face that curls up from the core at an edge.",
        _CHEST, (40, 36),
        "M-44 2H36V26H-44M-36 10H-28M-20 16H-10M-2 10H8M14 18H24M-30 21H-24",
        "M-44 -3H-6C8 -4 18 -12 26 -24M-44 2H-6C10 1 22 -8 30 -21M26 -24 30 -21"),
    "boards_in_width": Drawing(
        "Boards side by side",
        "A table top; the lens shows four boards, each with lines of its own.",
        _TOP, (36, 46),
        "M-36 -30V30M-30 -34C-26 -10 -34 10 -30 34M-14 -40C-18 -20 -6 -10 -10 0S-14 24 -12 40M8 -42C2 -20 14 0 6 42M14 -42"
        "C10 -14 20 8 14 40M30 -30C26 -14 34 4 30 30M37 -20V20",
        "M-22 -38V38M-1 -44V44M22 -38V38"),
    "knots_felt": Drawing(
        "A fingertip over knots",
        "A table top; the lens shows a finger drawn across a knot.",
        _TOP, (30, 46),
        "M-44 10C-30 10 -26 4 -12 4S10 10 44 9M-44 22C-30 22 -26 30 -12 30S14 22 44 23M-14 12A5 4 0 1 0 -13.900 12",
        "M-14 8C-24 8 -26 16 -24 20S-6 26 -3 18 -8 8 -14 8" + _FINGER),
    "seam_felt": Drawing(
        "A fingernail over the corner",
        "A table top; the lens shows a finger on the corner of a board with a line beside it.",
        _TOP, (48, 55),
        "M-44 10H0M-36 18H-10M-40 28H-14",
        "M-44 5H0V40" + _FINGER),
    "joinery": Drawing(
        "Where drawer side meets front",
        "A drawer; the lens shows interlocking wedges at its corner.",
        _DRAWER, (47, 68),
        "M-44 -30H44M-44 30H44M16 -22H36M16 -4H38M14 8H34M16 22H36",
        "M-14 -30V-22L14 -27V-9L-14 -14V-2L14 -7V11L-14 6V18L14 13V30",
        (),
        "M-14 -22 14 -27V-9L-14 -14ZM-14 -2 14 -7V11L-14 6Z"),
    "fittings": Drawing(
        "Fittings inside the case",
        "An open case; the lens shows a round cam with a cross and a row of pin holes.",
        _OPEN, (19, 69),
        "M22 -44V44M-44 28H44",
        "M-10 -20A14 14 0 1 0 -9.900 -20M-10 -13V1M-17 -6H-3M4 -6H22",
        _row(30, -24, 2, 30, -11, 2, 30, 2, 2, 30, 15, 2)),
    "carved": Drawing(
        "Carved or moulded detail",
        "A table; the lens shows a moulded edge with lines of grain running through the cut.",
        _TOP, (8, 54),
        "M-40 -16H14M-42 -6H24M-42 4H8M-42 14H0M-38 22H-8",
        "M-44 -26H6C6 -18 28 -20 28 -6S6 -2 6 8 -6 12 -6 30H-44"),
    "water_drop": Drawing(
        "One drop on a bare spot",
        "A chest seen from below; the lens shows a drop over bare wood and a wet ring.",
        _UNDER, (40, 83),
        "M-44 18C-20 15 10 22 44 17M-44 34C-20 31 10 38 36 33M-26 25A26 7 0 0 0 26 25 26 7 0 0 0 -26 25",
        "M0 -34C10 -18 14 -12 14 -4A14 14 0 0 1 -14 -4C-14 -12 -10 -18 0 -34Z",
        (),
        "M-18 25A18 4 0 0 0 18 25 18 4 0 0 0 -18 25Z"),
    "face_look": Drawing(
        "What the face shows",
        "A chest; the lens is in three parts: lines of a figure, one plain tone, and crumbs of raw board.",
        _CHEST, (30, 54),
        "M-36 -22C-30 -6 -34 8 -28 34M-30 -30C-22 -8 -27 12 -20 38M-22 -36C-14 -10 -20 14 -12 42M-17 -40C-9 -12 -15 12 -8 40",
        "M-4 -44V44M18 -40V40",
        _row(24, -26, 2, 31, -18, 1.6, 25, -10, 2.4, 36, -6, 1.8, 28, 2, 1.6, 24, 12, 2.2, 35, 10, 2, 30, 20, 1.6, 25, 28, 2),
        "M-4 -44H18V44H-4Z"),
    "tap": Drawing(
        "Knock in the middle",
        "A chest; the lens shows a knuckle on a board and rings of sound.",
        _CHEST, (57, 62),
        "M-44 10H44M-10 18A11 11 0 0 0 12 18M-18 18A19 19 0 0 0 20 18M-26 18A27 26 0 0 0 28 18",
        "M44 -30C30 -34 14 -32 4 -22S-6 2 0 7 14 4 16 -4 24 -12 44 -10M8 -12C12 -14 16 -14 20 -12"),
    "price": Drawing(
        "The price asked",
        "A chest; the lens shows a price tag.",
        _CHEST, (29, 54),
        "M-14 8H10M-14 16H2",
        "M-26 -2 0 -26 26 -2V28H-26ZM0 -18A4 4 0 1 0 .1 -18M0 -18C4 -30 12 -34 18 -36M-14 0H14"),
})


def drawing(name: str, prefix: str = "look") -> str:
    """The SVG text of one drawing, to be put into a page. `prefix` keeps ids apart where a page shows one drawing twice.

    Raises
    ------
    KeyError
        if there is none of that name: names are the places of the gate's questions and the keys of the checks by hand.
    """
    d = DRAWINGS[name]
    base = f"{prefix}-{name}".replace("_", "-")
    title, clip = f"{base}-title", f"{base}-lens"
    x, y = d.spot
    across = ((LENS_X - x) ** 2 + (LENS_Y - y) ** 2) ** 0.5
    toward = (LENS_X - (LENS_X - x) * LENS_R / across, LENS_Y - (LENS_Y - y) * LENS_R / across)
    dots = "".join(f'<circle cx="{cx:g}" cy="{cy:g}" r="{r:g}"/>' for cx, cy, r in d.dots)
    shade = f'<path d="{d.shade}" fill="currentColor" fill-opacity=".18" stroke="none"/>' if d.shade else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'aria-labelledby={quoteattr(f"{title} {base}-desc")} fill="none" stroke="currentColor" stroke-linecap="round" '
        f'stroke-linejoin="round"><title id={quoteattr(title)}>{escape(d.title)}</title>'
        f'<desc id={quoteattr(f"{base}-desc")}>{escape(d.desc)}</desc>'
        f'<clipPath id={quoteattr(clip)}><circle r="{LENS_R - 1}"/></clipPath>'
        f'<path d="{d.piece}" stroke-width="1.1"/>'
        f'<path d="M{x:g} {y:g} {toward[0]:.1f} {toward[1]:.1f}" stroke-width="1.1" stroke-dasharray="2 3"/>'
        f'<circle cx="{x:g}" cy="{y:g}" r="3.4" fill="currentColor" stroke="none"/>'
        f'<g transform="translate({LENS_X} {LENS_Y})"><circle r="{LENS_R}" stroke-width="2.2"/>'
        f'<g clip-path="url(#{clip})">{shade}'
        f'<path d="{d.lines}" stroke-width="1"/><path d="{d.strong}" stroke-width="2"/>'
        f'<g fill="currentColor" stroke="none">{dots}</g></g></g></svg>'
    )

"""Colours and band patterns of the evidence picture.

The look is that of a repairer's bench: inlay bands round the panels, paper tags, pencil strokes, numbered paper dots.
No class is told by colour alone: each has its own band pattern. The colours were found by searching for the largest
smallest distance between any two of them, as seen with normal, red-, green- and blue-weak eyes, each at least 3:1 in
contrast to the dark bed the bands lie on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

Rgb = tuple[int, int, int]

BED: Final[Rgb] = (33, 26, 21)
PAPER: Final[Rgb] = (246, 239, 222)
INK: Final[Rgb] = (33, 26, 21)
CHALK: Final[Rgb] = (255, 255, 255)
UNDECIDED: Final = "undecided"


@dataclass(frozen=True)
class Band:
    """An inlay band. `pattern` is one of PATTERNS in vision.evidence.bands; `words` name the class on tags."""

    colour: Rgb
    pattern: str
    words: str


#: Face class (keys of registry.FACES) or UNDECIDED -> its band.
BANDS: Final[Mapping[str, Band]] = MappingProxyType({
    "solid_wood": Band((240, 195, 65), "whole", "solid wood"),
    "veneer": Band((84, 183, 255), "twin", "wood veneer"),
    "printed": Band((194, 10, 147), "dots", "printed"),
    "opaque": Band((104, 64, 250), "blocks", "paint"),
    "bare_board": Band((144, 92, 0), "chips", "raw board"),
    "not_wood": Band((146, 158, 123), "dash_dot", "not furniture board"),
    UNDECIDED: Band(CHALK, "stitches", "cannot tell"),
})

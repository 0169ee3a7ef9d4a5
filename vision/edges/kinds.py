"""What the narrow side of a board can show, with a sentence each."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

STRIP_KINDS: Final[Mapping[str, str]] = MappingProxyType({
    "solid_end": "Wood cut across the grain: ring arcs, pores and rays.",
    "solid_edge": "Wood cut along the grain, several mm of it: a board's long edge, a lumber core or a lipping.",
    "plies": "Cross-laid sheets: stripes along the edge.",
    "particles": "Glued particles, coarse in the middle and fine towards the faces.",
    "fibre": "Even fibre, a little darker towards the faces.",
    "banding": "A glued-on strip: wood veneer, printed or plain plastic, laminate.",
    "painted": "A coat of paint over whatever is below.",
    "other": "Not a board's edge at all: drawers, books, rope, card, slats, carpet.",
})
#: The answer where no kind reaches the share asked for.
CANNOT_TELL: Final = "cannot_tell"
#: Tones of a thin layer next to the face.
TONES: Final = ("dark", "white", "wood")

"""What can be found on a panel, and the frozen result that others pass on."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from vision.types import Outline

#: Kinds the net tells apart, in the order of its layers (layer 0 is none of them).
SEEN: Final = ("knob", "pull", "keyhole", "hinge", "screw", "hole", "glass")
#: Keys of what is given out: holes in order may mean that a pull is gone.
KINDS: Final = (*SEEN, "pull_missing")


@dataclass(frozen=True)
class HardwareItem:
    """One thing. `kind` of KINDS; `chance` that it is there and is that, calibrated on drawn pictures; `outline`: polygon in
    photo pixels; `spacing_px`: middle to middle of the holes of a missing pull, working-view pixels, `spacing_mm` the same in
    mm where a scale is known, `spacing_error` its error in the unit given, `nearest_mm`: spacing sold that it fits, if any;
    `width_px`: longer side of the thing, working-view pixels."""

    kind: str
    chance: float
    outline: Outline
    width_px: float
    spacing_px: float | None = None
    spacing_mm: float | None = None
    spacing_error: float | None = None
    nearest_mm: float | None = None

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"unknown kind {self.kind!r}")
        if not 0 <= self.chance <= 1 or len(self.outline) < 3 or not self.width_px > 0:
            raise ValueError("a chance lies between 0 and 1, an outline has three points and a thing some width")
        if self.spacing_px is not None and not (self.spacing_px > 0 and math.isfinite(self.spacing_px)):
            raise ValueError("a spacing is positive")

"""What a piece of hardware says and does not say, in plain sentences. None of it tells the material of the panel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from vision.hardware.kinds import HardwareItem

_SEEN: Final = {
    "knob": "A knob in place.", "pull": "A pull in place.", "keyhole": "A keyhole or its plate.", "hinge": "A hinge.",
    "screw": "A screw head.", "hole": "A bare hole.", "glass": "Possibly a glass pane or a mirror.",
}
_MEANS: Final = {
    "knob": "The grip is there.", "pull": "The grip is there.",
    "keyhole": "There is or was a lock: see whether it works and whether a key is there.",
    "hinge": "This part turns on hinges: try whether it hangs and closes well.",
    "screw": "Screwed here, at first or in a repair.",
    "hole": "A close look into it, with a lamp, shows the core.",
    "glass": "If it is glass: look for cracks, loose beads and a silvering that fails.",
    "pull_missing": "A pull may be missing here; a new one must span these holes, or they are filled first.",
}
_LIMITS: Final = {
    "knob": "Grips are often replaced and say nothing of the material.",
    "pull": "Grips are often replaced and say nothing of the material.",
    "keyhole": "Plates are also put on for looks, and plates are put on later.",
    "hinge": "Hinges are replaced; their kind says nothing of the material.",
    "screw": "Solid wood, veneer and board are all screwed.",
    "hole": "A knot fallen out, an insect's flight hole or a dark spot can look the same.",
    "glass": "A glossy panel, a painted field or a dark opening can look the same: feel it by hand.",
    "pull_missing": "Two holes may lie level for another reason; holes of an older pull may be filled beside them.",
}


@dataclass(frozen=True)
class HardwareSaying:
    """`seen`: the thing in words with its numbers; `means`: what follows for the piece; `limits`: what does not."""

    seen: str
    means: str
    limits: str


def _spacing(item: HardwareItem) -> str:
    if item.spacing_px is None:
        return ""
    if item.spacing_mm is None or item.spacing_error is None:
        return f", {item.spacing_px:.0f} px apart (no scale, so no millimetres)"
    fits = f", as pulls of {item.nearest_mm:.0f} mm are drilled" if item.nearest_mm is not None else ", no usual spacing of pulls"
    return f", {item.spacing_mm:.0f} ± {max(item.spacing_error, 0.5):.1f} mm apart{fits}"


def saying(item: HardwareItem) -> HardwareSaying:
    """Words for one item."""
    if item.kind == "pull_missing":
        return HardwareSaying(f"Two like holes level with each other{_spacing(item)}.", _MEANS["pull_missing"],
                              _LIMITS["pull_missing"])
    return HardwareSaying(_SEEN[item.kind], _MEANS[item.kind], _LIMITS[item.kind])

"""A made-up photo with panels, verdicts, grain and findings for the evidence tests."""

from __future__ import annotations

import numpy as np

from vision import registry
from vision.types import Finding, GrainField, Panel, Photo, Region, Verdict


def verdict(face: str = "veneer", p: float = 0.71, *, undecided: bool = False, core_visible: float = 0.1, core_set=("plywood",),
            face_set=None) -> Verdict:
    rest = (1 - p) / (len(registry.FACES) - 1)
    substrates = registry.SUBSTRATES
    return Verdict(
        face={k: p if k == face else rest for k in registry.FACES},
        core={k: 0.7 if k == "plywood" else 0.1 for k in registry.CORES},
        core_visible=core_visible,
        substrate={k: 1 / len(substrates) for k in substrates},
        face_set=face_set or (("solid_wood", "veneer") if undecided else (face,)),
        core_set=core_set,
        substrate_set=(),
        level=0.9,
        undecided=undecided,
        reason="plain_face" if undecided else None,
        cues=(),
    )


def plain_field(angle: float, rows: int = 40, cols: int = 60, step: float = 4.0, coherence: float = 0.9) -> GrainField:
    full = np.full((rows, cols), 1.0, np.float32)
    return GrainField(full * angle, full * coherence, full, full * 6, full > 0, step)


def board(name: str, x: float, y: float, w: float, h: float) -> Panel:
    return Panel(f"p1.{name}", "p1", ((x, y), (x + w, y), (x + w, y + h), (x, y + h)), source="given")


def grey_photo(width: int = 900, height: int = 700) -> Photo:
    y, x = np.mgrid[0:height, 0:width]
    pixels = np.stack([120 + x // 20, 100 + y // 20, np.full_like(x, 80)], axis=-1).clip(0, 255).astype(np.uint8)
    return Photo("p1", "a.jpg", "0" * 64, pixels)


def finding(name: str, kind: str, panel: str, points, photo: str = "p1", shape: str = "polygon") -> Finding:
    region = Region(photo, panel, shape, tuple((float(x), float(y)) for x, y in points))
    return Finding(name, "knot" if kind == "" else kind, (region,), "veneer", "solid_wood", 4.0, "What was seen.")

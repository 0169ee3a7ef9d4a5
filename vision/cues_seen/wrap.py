"""Does the face's figure run on over its outline's sides: into a wrapped, rounded or mitred neighbour, or a board's own edge?

The sides of the outline are laid out one by one with a thin strip beyond them; where a border with a change of tone or colour is
found there, what the figure draws on it from either side is compared (`vision.edges.continuation`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vision.edges.continuation import measure_continuation
from vision.edges.frame import lay_out
from vision.types import Outline, WorkingView

#: Least length of a side in photo px, most sides laid out (longest first), share of a side left out at both ends.
LEAST_SIDE, MOST_SIDES, ENDS = 80.0, 3, 0.06
#: Depth of the strip beyond a side, photo px and share of its length.
DEPTH_PX, DEPTH_SHARE = 14.0, 0.12
#: Least change of colour over a border that counts (8-bit Lab), and how far it must stand over other lines near it.
LEAST_STEP, LEAST_SURE = 6.0, 1.5


@dataclass(frozen=True)
class Wrap:
    """One side. `side`: its ends in photo px; `over`: spreads by which figure in place beats figure out of place; `here`:
    correlation in place; `slow`: the same for slow drift of tone; `tone`, `hue`: change over it; `step`: of the border."""

    side: Outline
    over: float
    here: float
    slow: float
    tone: float
    hue: float
    step: float


def read_wraps(view: WorkingView) -> tuple[Wrap, ...]:
    """Sides of the panel beyond which a border and figure are in view."""
    pixels = view.photo_pixels
    if pixels is None:
        return ()
    outline = np.asarray(view.panel.outline, np.float64)
    height, width = pixels.shape[:2]
    centre = outline.mean(axis=0)
    area = float(np.sum(outline[:, 0] * np.roll(outline[:, 1], -1) - np.roll(outline[:, 0], -1) * outline[:, 1]))
    sides = []
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        length = float(np.hypot(*(b - a)))
        if length >= LEAST_SIDE:
            sides.append((length, a, b))
    out = []
    for length, a, b in sorted(sides, key=lambda s: -s[0])[:MOST_SIDES]:
        along = (b - a) / length
        outwards = np.array([along[1], -along[0]]) * (1.0 if area > 0 else -1.0)
        depth = min(DEPTH_PX, DEPTH_SHARE * length)
        a, b = a + ENDS * (b - a), b - ENDS * (b - a)
        strip = np.array([a, b, b + depth * outwards, a + depth * outwards])
        if (strip < 0).any() or (strip > [width - 1, height - 1]).any():
            continue
        frame = lay_out(pixels, strip, face_at=(float(centre[0]), float(centre[1])))
        if frame is None or frame.upper.step < LEAST_STEP or frame.upper.sure < LEAST_SURE:
            continue
        found = measure_continuation(frame)
        over = [found[f"followed_{band}_over"] for band in ("fine", "middle") if f"followed_{band}_over" in found]
        here = [found[f"followed_{band}_here"] for band in ("fine", "middle")]
        over, here = [v for v in over if math.isfinite(v)], [v for v in here if math.isfinite(v)]
        if not over:
            continue
        out.append(Wrap(((float(a[0]), float(a[1])), (float(b[0]), float(b[1]))), max(over), max(here),
                        found["followed_slow_over"], found["tone_gap"], found["hue_gap"], frame.upper.step))
    return tuple(out)

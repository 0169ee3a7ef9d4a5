"""Damage on the faces of a rendered piece: drawn once for a part, the same in every photo of it, with its true regions.

The damages are those of training/damage; here they change colour and relief of the texture, and the scene's own lamps light them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.damage.bases import Base
from training.damage.fields import cloud
from training.damage.make import DAMAGES, LEAST_AREA
from training.damage.marks import Mark, Work
from training.damage.surface import Surface
from training.figure.log import Figure
from training.figure.slabs import Slab, texel_window
from training.scenes.furniture import Part
from training.scenes.jointed import Corner, draw_corner
from vision.damage.kinds import KINDS

#: Longest side of the drawing, texels, and finest texel, mm.
DRAWN, FINEST = 760, 0.7
#: Share of pieces that have seen hard use, and of their faces that show it; least side of a face, mm.
WORN_PIECES, WORN_FACES, LEAST_SIDE = 0.38, 0.55, 150.0
#: Kinds drawn on edges only or that need more than a face.
_NOT_HERE = ("delaminated_ply", "lifted_banding")
NAMES = tuple(KINDS)


@dataclass(frozen=True, eq=False)
class Layer:
    """Damage of one face on a grid of `texel` mm from the face's lower corner: `delta` (h, w, 3) float32 sRGB change,
    `height` (h, w) mm, `labels` (h, w) uint8 (0 sound, k + 1 kind k of NAMES)."""

    texel: float
    delta: NDArray[np.float32]
    height: NDArray[np.float32]
    labels: NDArray[np.uint8]

    def kinds(self) -> list[str]:
        """Kinds drawn, without repeats."""
        return [NAMES[k - 1] for k in np.unique(self.labels[self.labels > 0])]

    def applied(self, figure: Figure, slab: Slab, side: str, texel: float, window: tuple[float, float, float, float]) -> Figure:
        """A texture of the face with the damage on it; `texel` and `window` as the texture was asked for."""
        cols, rows = slab.span(side)
        n, m = max(2, round(cols / texel)), max(2, round(rows / texel))
        left, right, low, high = texel_window(n, m, window)
        x = ((np.arange(left, right) + 0.5) / n * cols / self.texel - 0.5).astype(np.float32)
        y = ((np.arange(low, high) + 0.5) / m * rows / self.texel - 0.5).astype(np.float32)
        gx, gy = np.meshgrid(x, y)
        delta = cv2.remap(self.delta, gx, gy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        height = cv2.remap(self.height, gx, gy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        rgb = np.clip(figure.rgb + delta, 0, 1).astype(np.float32)
        return Figure(rgb, (figure.relief + height).astype(np.float32), figure.ring)

    def regions(self, span: tuple[float, float]) -> list[dict[str, Any]]:
        """Each region: its kind and outline in mm from the middle of the face (`span` mm)."""
        out = []
        for k in np.unique(self.labels[self.labels > 0]):
            contours, _ = cv2.findContours((self.labels == k).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
            for c in contours:
                if cv2.contourArea(c) >= 4:
                    points = (c[:, 0] + 0.5) * self.texel - np.array(span) / 2
                    out.append({"kind": NAMES[int(k) - 1], "outline_mm": [[round(float(v), 1) for v in p] for p in points]})
        return out


@dataclass(eq=False)
class Use:
    """What hard use has done to one piece; `layer` draws a face's damage when it is first looked at."""

    seed: int
    worn: bool
    _kept: dict[str, Layer | None] = field(default_factory=dict)
    _corners: list[Corner | None] = field(default_factory=list)

    @staticmethod
    def of(seed: int, twin: bool) -> Use:
        """Twins differ in substance alone and stay sound."""
        return Use(seed, not twin and bool(np.random.default_rng([seed, 601]).random() < WORN_PIECES))

    def corner(self, part: Part, side: str) -> Corner | None:
        """The joint on the outside of a drawer's side, the same for all drawers of the piece."""
        if part.role != "drawer_side" or side != "face":
            return None
        if not self._corners:
            self._corners.append(draw_corner(part.slab, np.random.default_rng([self.seed, 603])))
        return self._corners[0]

    def layer(self, part: Part, side: str, number: int) -> Layer | None:
        """The damage on one face of a part, None where it is sound; `number`: place of the part in its piece."""
        key = f"{number} {side}"
        if key not in self._kept:
            rng = np.random.default_rng([self.seed, 602, number, side == "face"])
            struck = self.worn and rng.random() < WORN_FACES and min(part.slab.span(side)) >= LEAST_SIDE
            self._kept[key] = draw_layer(part.slab, side, rng) if struck else None
        return self._kept[key]


def draw_layer(slab: Slab, side: str, rng: np.random.Generator) -> Layer | None:
    """One to four damages on a face; None where none of those tried could be drawn."""
    cols, rows = slab.span(side)
    texel = max(FINEST, max(cols, rows) / DRAWN)
    figure = slab.texture(side, texel)
    facts = slab.facts()
    base = Base(
        name=str(facts["face"]), face=str(facts["face"]), core=str(facts["core"]), colour=figure.rgb, bare=figure.rgb,
        relief=(figure.relief / texel).astype(np.float32), gloss=float(np.clip(1 - slab.finish.roughness, 0.05, 0.9)), mm=texel,
        group="rendered", film=facts["face"] in ("printed", "opaque"),
    )
    surface = Surface(base.colour.copy(), base.relief.copy(), np.full(base.shape, base.gloss, np.float32),
                      np.ones(base.shape, np.float32))
    surface.height += 0.1 * cloud(base.shape, 60, 90, rng)
    work = Work(base, surface, rng)
    start = surface.copy()
    marks = _marks(work)
    if not marks:
        return None
    after = np.clip(work.surface.colour * work.surface.shade[..., None], 0, 1)
    labels = np.zeros(base.shape, np.uint8)
    for mark in marks:
        labels[mark.mask] = NAMES.index(mark.kind) + 1
    height = (work.surface.height - start.height) * texel
    return Layer(texel, (after - base.colour).astype(np.float32), height.astype(np.float32), labels)


def _marks(work: Work) -> list[Mark]:
    rng, taken = work.rng, np.zeros(work.shape, bool)
    marks: list[Mark] = []
    names = [n for n in DAMAGES if n not in _NOT_HERE]
    weight = np.array([DAMAGES[n][1] for n in names])
    wanted = 1 + int(min(3, rng.poisson(0.8)))
    for _ in range(20):
        if len(marks) >= wanted:
            break
        kept = work.surface
        work.surface = kept.copy()
        mark = DAMAGES[names[int(rng.choice(len(names), p=weight / weight.sum()))]][0](work)
        if mark is None or mark.mask.sum() < LEAST_AREA or mark.mask.mean() > 0.5 or (mark.mask & taken).any():
            work.surface = kept
            continue
        taken |= mark.mask
        marks.append(mark)
    return marks

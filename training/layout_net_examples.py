"""Examples for the layout net: composites of the tuning figures and of made-up logs, without end, from many processes.

    python -m training.layout_net_examples --photos DIR [--textures DIR] --out FOLDER

writes a sheet of examples to look at. An example is a canvas as bytes and the truth on it: name, joints, axes, centre.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites.camera import DAMAGES
from training.composites.figures import Figure, load
from training.composites.layout_variety import clip_segment, distract, grown_figure, varied_figure, varied_plan
from training.composites.layouts import NAMES, LayoutTruth, figure_reaches, make_planned
from training.layout_scores import READER_NAME, view_of
from vision.grain import grain_field
from vision.layouts.canvas import STEPS, make_canvas
from vision.layouts.layout import LAYOUTS
from vision.layouts.learned import WEDGES

CLASSES = tuple(LAYOUTS)


#: Most segments an example carries of a kind; longer lists are cut.
MOST = 48
#: Chance of each name: the ways of sharing out widths are all book.
WEIGHTS = {"book": 1.2, "running": 0.5, "balance": 0.4, "centre_balance": 0.5, "slip": 1.6, "random": 1.8, "boards": 1.6,
           "single": 1.7, "end": 1.7, "sunburst": 1.6, "herringbone": 1.1}
DAMAGE_WEIGHTS = {"none": 2.0, "all": 2.0, "small": 1.6, "perspective": 1.2}


@dataclass(frozen=True, eq=False)
class Example:
    """`channels` (8, TALL, WIDE) int8, canvas values times STEPS; `name`, `wedges`: indices into CLASSES, WEDGES; `axes`,
    `seams` (MOST, 4) float32 canvas px, nan beyond the last; `centre` (2,) nan when none; `group`: who took the figure."""

    channels: NDArray[np.int8]
    name: int
    wedges: int
    axes: NDArray[np.float32]
    seams: NDArray[np.float32]
    centre: NDArray[np.float32]
    group: str
    damage: str


class Source:
    """An endless stream of examples for one process. `figures`: of the part to teach from; `grown`: chance of made-up logs."""

    def __init__(self, figures: Sequence[Figure], seed: int, grown: float = 0.3) -> None:
        self.rng = np.random.default_rng([seed, 91])
        self.grown = grown
        self.figures = [f for f in figures if f.kind != "boards"]
        self.groups = sorted({f.group for f in self.figures})
        self.tones = [f.pixels[::4, ::4].mean((0, 1)) for f in self.figures]
        self.made: list[Figure] = []

    def _pick(self, several: bool) -> list[Figure]:
        """Two figures, or three where `several` are laid side by side."""
        rng = self.rng
        if rng.random() < self.grown:
            if len(self.made) < 4 or rng.random() < 0.1:
                self.made.append(grown_figure(int(rng.integers(2**31))))
                self.made = self.made[-12:]
            first = self.made[int(rng.integers(len(self.made)))]
            others = [self.made[int(rng.integers(len(self.made)))] for _ in range(2)]
        else:
            group = self.groups[int(rng.integers(len(self.groups)))]
            mine = [f for f in self.figures if f.group == group]
            first = mine[int(rng.integers(len(mine)))]
            if len(mine) < 2 or rng.random() < 0.5:  # the most alike of other authors
                tone = first.pixels[::4, ::4].mean((0, 1))
                near = np.argsort([float(np.abs(t - tone).sum()) for t in self.tones])[:6]
                others = [self.figures[int(near[int(rng.integers(len(near)))])] for _ in range(2)]
            else:
                others = [mine[int(rng.integers(len(mine)))] for _ in range(2)]
        out = [varied_figure(f, rng) for f in (first, *others[:2 if several else 1])]
        return [out[0], *(_toned(f, out[0], rng) for f in out[1:])]

    def truth(self) -> LayoutTruth:
        """A made panel."""
        rng = self.rng
        weights = np.array([WEIGHTS.get(n, 1.0) for n in NAMES])
        name = NAMES[int(rng.choice(len(NAMES), p=weights / weights.sum()))]
        figures = self._pick(name in ("boards", "parquet"))
        chances = np.array([DAMAGE_WEIGHTS.get(d, 1.0) for d in DAMAGES])
        damage = list(DAMAGES)[int(rng.choice(len(DAMAGES), p=chances / chances.sum()))]
        touch = distract if rng.random() < 0.5 else None
        plan = varied_plan(name, len(figures), rng)
        for _ in range(3):  # a reflected rim would mirror where nobody laid a mirror
            if figure_reaches(plan, figures):
                break
            plan = varied_plan(name, len(figures), rng)
        return make_planned(plan, figures, name, rng, damage, touch)

    def example(self) -> Example:
        """The next example."""
        return example_of(self.truth(), self.rng)


def _toned(figure: Figure, like: Figure, rng: np.random.Generator) -> Figure:
    """Another figure brought near the tone of the first, as boards of one piece of furniture are."""
    if rng.random() < 0.3:
        return figure
    shift = (like.pixels[::4, ::4].mean((0, 1)) - figure.pixels[::4, ::4].mean((0, 1))) * rng.uniform(0.7, 1.0)
    pixels = np.clip(figure.pixels + shift.astype(np.float32), 0, 255).astype(np.uint8)
    return Figure(pixels, figure.group, figure.name, figure.kind)


def example_of(truth: LayoutTruth, rng: np.random.Generator, crop: float = 0.25) -> Example:
    """Example of a made panel; with the chance `crop` seen in part only."""
    pixels = truth.pixels
    h, w = pixels.shape[:2]
    low, high = (0, 0), (w, h)
    if rng.random() < crop:
        cut = rng.uniform(0, 0.12, 4) * (rng.random(4) < 0.6)
        low = (int(cut[0] * w), int(cut[1] * h))
        high = (int(w - cut[2] * w), int(h - cut[3] * h))
        pixels = np.ascontiguousarray(pixels[low[1]:high[1], low[0]:high[0]])
    view, scale = view_of(pixels)
    canvas = make_canvas(view, grain_field(view.pixels, mask=view.mask))

    def placed(lines: Sequence[NDArray[np.float64]]) -> NDArray[np.float32]:
        out = np.full((MOST, 4), np.nan, np.float32)
        kept = []
        for line in lines:
            part = clip_segment(np.asarray(line), (low[0] - 0.5, low[1] - 0.5), (high[0] - 0.5, high[1] - 0.5))
            if part is not None:
                on_view = (part - np.array(low)) * scale + 0.5 * (scale - 1)
                kept.append(canvas.to_canvas(on_view).ravel())
        if kept:
            out[:min(MOST, len(kept))] = np.array(kept[:MOST])
        return out

    centre = np.full(2, np.nan, np.float32)
    if truth.centre is not None and truth.name != "end":
        on_view = (np.array([truth.centre]) - np.array(low)) * scale + 0.5 * (scale - 1)
        centre = canvas.to_canvas(on_view)[0].astype(np.float32)
    wedges = WEDGES.index(truth.wedges) if truth.wedges in WEDGES else len(WEDGES) - 1
    name = CLASSES.index(READER_NAME.get(truth.name, truth.name))
    return Example(np.rint(canvas.channels * STEPS).astype(np.int8), name, wedges, placed(truth.axes),
                   placed(truth.seams), centre, truth.groups[0], truth.damage)


def drawn(example: Example) -> NDArray[np.uint8]:
    """(TALL, WIDE, 3) picture of an example with its truth: axes red, other joints blue, centre green."""
    light = np.clip(128 + example.channels[1].astype(float) / STEPS * 30 + example.channels[0].astype(float) / STEPS * 12, 0, 255)
    out = np.repeat(light.astype(np.uint8)[..., None], 3, 2).copy()
    for lines, colour in ((example.seams, (60, 60, 255)), (example.axes, (255, 40, 40))):
        for x0, y0, x1, y1 in lines[np.isfinite(lines[:, 0])]:
            cv2.line(out, (round(float(x0)), round(float(y0))), (round(float(x1)), round(float(y1))), colour, 1, cv2.LINE_AA)
    if np.isfinite(example.centre[0]):
        cv2.circle(out, tuple(int(v) for v in example.centre), 5, (40, 255, 40), 1, cv2.LINE_AA)
    text = f"{CLASSES[example.name]} {WEDGES[example.wedges]} {example.damage}"
    cv2.putText(out, text, (4, 14), cv2.FONT_HERSHEY_SIMPLEX, 0.45, (255, 255, 0), 1, cv2.LINE_AA)
    return out


def main() -> None:
    """Write a sheet of examples."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--textures", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--count", type=int, default=24)
    args = parser.parse_args()
    source = Source(load(args.photos, args.textures, "tune"), args.seed)
    tiles = [drawn(source.example()) for _ in range(args.count)]
    rows = [np.hstack(tiles[k:k + 4]) for k in range(0, len(tiles) - 3, 4)]
    args.out.mkdir(parents=True, exist_ok=True)
    cv2.imwrite(str(args.out / f"examples_{args.seed}.png"), np.vstack(rows)[..., ::-1])


if __name__ == "__main__":
    main()

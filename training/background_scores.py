"""How often something that is no furniture ends in a decided verdict, photos assessed as a user would: nothing outlined.

    python -m training.background_scores --photos DIR [--renders DIR] [--folds build/folds] [--nets DIR] [--most 120]

Real photos: a decided panel counts as a false verdict when it covers more than half of an outline of something that is no
furniture, or lies by more than half inside such outlines. Only what the collectors outlined is known to be background
there, so the real figure is a lower bound. With the models of `benchmarks.heldout_grainassay --make` in --folds each
author is judged by a classifier that never saw them. Renders: every pixel is known; a panel counts when more than half of
it lies on background. The classifier has seen other photos of these rendered pieces. With --nets (the boundary nets by fold,
see training/boundary_net.py) panels are found by nets that never saw the author or the piece.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training.finding_scores import drawn
from training.held_out_nets import HeldOutNets, pieces_of
from training.panel_photos import OutlinedPhoto, outline_of, outlined_photos
from training.rendered_panels import FIRST_BACKGROUND, load
from training.tables import short_hash
from vision.assess import assess
from vision.assessment import PanelResult
from vision.inference import Model, load_model
from vision.panels import cells
from vision.panels.geometry import polygon_mask
from vision.panels.learned import BoundaryNet
from vision.panels.partition import partition
from vision.panels.surface import shipped_head
from vision.types import Photo

TARGET = 0.2


@dataclass(frozen=True)
class Counts:
    """Panels of one photo: `decided` and `open` ones on anything, `false`: decided ones on background."""

    author: str
    decided: int
    open: int
    false: int


def says_furniture(result: PanelResult) -> bool:
    """A verdict that was given and names something other than background."""
    return not result.verdict.undecided and max(result.verdict.face, key=result.verdict.face.__getitem__) != "not_wood"


def panels_with(photo: Photo, model: Model, net: BoundaryNet) -> Sequence[PanelResult]:
    """Judged panels of a photo, found with a net."""
    partition(cells.look(photo), (photo.width, photo.height), shipped_head(), net).remember(photo)
    return assess([photo], model=model).photos[0].panels


def of_photo(photo: OutlinedPhoto, model: Model, net: BoundaryNet) -> Counts:
    """Counts of one real photo."""
    opened = photo.load()
    size = (opened.width, opened.height)
    others = [drawn(outline_of(r), size) for r in photo.rows if r["face"] == "not_wood"]
    union = np.any(others, axis=0) if others else None
    panels = panels_with(opened, model, net)
    false = 0
    for r in filter(says_furniture, panels):
        mask = drawn(np.array(r.panel.outline), size)
        covers = any((mask & o).sum() > 0.5 * o.sum() for o in others)
        false += covers or (union is not None and (mask & union).sum() > 0.5 * mask.sum())
    decided = sum(not r.verdict.undecided for r in panels)
    return Counts(photo.author, decided, len(panels) - decided, int(false))


def of_render(path: Path, model: Model, net: BoundaryNet) -> Counts:
    """Counts of one rendered photo."""
    render = load(path)
    h, w = render.ids.shape
    panels = panels_with(render.photo, model, net)
    false = 0
    for r in filter(says_furniture, panels):
        inside = render.ids[polygon_mask(np.array(r.panel.outline), w, h)]
        false += bool((inside >= FIRST_BACKGROUND).sum() > 0.5 * max(1, inside.size))
    decided = sum(not r.verdict.undecided for r in panels)
    return Counts(str(render.truth["piece"]), decided, len(panels) - decided, int(false))


def spread(counts: Sequence[Counts], values: NDArray[np.float64], rounds: int = 500) -> tuple[float, float, float]:
    """Mean over photos with a 95 % bootstrap interval over authors (pieces)."""
    groups = defaultdict(list)
    for c, v in zip(counts, values, strict=True):
        groups[c.author].append(v)
    rows, rng = list(groups.values()), np.random.default_rng(0)
    means = [np.mean(np.concatenate([rows[i] for i in rng.integers(0, len(rows), len(rows))])) for _ in range(rounds)]
    return float(values.mean()), float(np.quantile(means, 0.025)), float(np.quantile(means, 0.975))


def report(title: str, counts: Sequence[Counts]) -> None:
    """Print the figures of one set of photos."""
    print(f"{title}: {len(counts)} photos of {len({c.author for c in counts})} groups")
    for name, key in (("decided verdicts on background a photo", "false"), ("decided panels a photo", "decided"),
                      ("open panels a photo", "open")):
        values = [getattr(c, key) for c in counts]
        mean, low, high = spread(counts, np.array(values, dtype=float))
        print(f"  {name:40s} {mean:.3f} [{low:.2f}, {high:.2f}]" + (f"  target at most {TARGET}" if "background" in name else ""))


def main() -> None:
    """Print the figures."""
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--photos", type=Path, required=True)
    ap.add_argument("--renders", type=Path)
    ap.add_argument("--folds", type=Path, default=Path("build/folds"))
    ap.add_argument("--nets", type=Path, help="folder of the boundary nets by fold")
    ap.add_argument("--most", type=int, default=120, help="rendered photos")
    args = ap.parse_args()
    shipped, index = load_model(), args.folds / "photos.json"
    known: dict[str, int] = json.loads(index.read_text()) if index.exists() else {}
    models = {k: load_model(args.folds / str(k)) for k in sorted(set(known.values()))}
    photos = outlined_photos(args.photos)
    print("verdicts by " + ("models that never saw the author" if known else "the shipped model, which has seen these photos"))
    paths = sorted(args.renders.glob("*.json")) if args.renders else []
    nets = HeldOutNets(args.nets, [p.author for p in photos], pieces_of(paths))
    report("real photos", [
        of_photo(p, models.get(known.get(short_hash(p.name), -1), shipped), nets.of(p.author)) for p in photos])
    if paths:
        chosen = paths[:: max(1, len(paths) // args.most)][: args.most]
        report("rendered photos", [
            of_render(p, shipped, nets.of(name)) for p, name in zip(chosen, pieces_of(chosen), strict=True)])


if __name__ == "__main__":
    main()

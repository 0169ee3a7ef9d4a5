"""How well panels are found on outlined photographs, the surface head taught without the author being judged.

    python -m training.finding_scores --photos DIR --cache DIR --nets DIR [--renders DIR] [--folds 5] [--json FILE]

Without --nets (the boundary nets by fold, see training/boundary_net.py) the shipped net is used, which has seen the photos.

Every figure is a mean over specimens (column `group`) of the mean over their panels, with a 95 % bootstrap interval over
authors; rows labelled by eye and line-scan pictures are left out. `found`: the outline lies at least 80 % inside one
found panel. `tapped`: the same for the panel under a tap on the outline's representative point. `background`: found
panels that cover more than half of an outline of something that is no furniture, per photo.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training.held_out_nets import HeldOutNets
from training.panel_photos import OutlinedPhoto, cells_of, outline_of, outlined_photos
from vision.panels.find import panels_of
from vision.panels.partition import PhotoSurfaces, partition
from vision.panels.surface import SurfaceHead
from vision.panels.tap import panel_round

INSIDE = 0.8
#: Pictures are drawn at this long side to measure overlap.
DRAWN_PX = 800


@dataclass(frozen=True)
class PhotoScore:
    """Figures of one photo. `found`, `tapped`: (group, share of the outline covered) of each furniture outline;
    `background`: panels on each non-furniture outline; `shares`: area share of each found panel; `overlap`: share of
    the found area that lies in more than one panel; `seconds` from cells to panels."""

    author: str
    found: tuple[tuple[str, float], ...]
    tapped: tuple[tuple[str, float], ...]
    background: int
    others: int
    shares: tuple[float, ...]


def is_counted(row: dict[str, str]) -> bool:
    """Whether a row's label is good enough for headline figures."""
    return row["trust"] != "by_eye" and "line-scan" not in row["notes"]


def drawn(points: NDArray[np.float64], size: tuple[int, int]) -> NDArray[np.bool_]:
    """Mask of a polygon given in photo pixels of a photo of `size` (width, height)."""
    scale = DRAWN_PX / max(size)
    out = np.zeros((int(size[1] * scale) + 1, int(size[0] * scale) + 1), np.uint8)
    cv2.fillPoly(out, [np.round(points * scale).astype(np.int32)], 1)
    return out > 0


def score_photo(photo: OutlinedPhoto, surfaces: PhotoSurfaces, size: tuple[int, int]) -> PhotoScore:
    """Figures of one photo with its partition."""
    panels = panels_of(surfaces, "photo", size)
    masks = [drawn(np.array(p.outline), size) for p in panels]
    found, tapped = [], []
    background = others = 0
    for row in photo.rows:
        if not is_counted(row):
            continue
        outline = outline_of(row)
        truth = drawn(outline, size)
        total = max(1, int(truth.sum()))
        if row["face"] == "not_wood":
            others += 1
            background += sum(int((truth & m).sum()) > 0.5 * total for m in masks)
            continue
        found.append((row["group"], max((float((truth & m).sum()) / total for m in masks), default=0.0)))
        panel = panel_round(surfaces, "photo", size, *tap_point(outline))
        tapped.append((row["group"], float((truth & drawn(np.array(panel.outline), size)).sum()) / total))
    return PhotoScore(photo.author, tuple(found), tuple(tapped), background, others,
                      tuple(float(m.mean()) for m in masks))


def tap_point(outline: NDArray[np.float64]) -> tuple[float, float]:
    """A point well inside the outline (its centroid where that lies inside)."""
    from shapely.geometry import Polygon

    polygon = Polygon(outline).buffer(0)
    point = polygon.centroid if polygon.contains(polygon.centroid) else polygon.representative_point()
    return float(point.x), float(point.y)


def figures(scores: Sequence[PhotoScore]) -> dict[str, float]:
    """All figures of a set of photos."""

    def by_group(pairs: list[tuple[str, float]], value: Callable[[float], float]) -> float:
        groups = defaultdict(list)
        for group, covered in pairs:
            groups[group].append(value(covered))
        return float(np.mean([np.mean(v) for v in groups.values()])) if groups else float("nan")

    found = [pair for s in scores for pair in s.found]
    tapped = [pair for s in scores for pair in s.tapped]
    shares = [share for s in scores for share in s.shares]
    return {
        "found: outline inside one panel": by_group(found, lambda c: float(c >= INSIDE)),
        "tapped: outline inside the panel": by_group(tapped, lambda c: float(c >= INSIDE)),
        "found: mean share covered": by_group(found, float),
        "background panels per photo": sum(s.background for s in scores) / max(1, len(scores)),
        "background panels per other outline": sum(s.background for s in scores) / max(1, sum(s.others for s in scores)),
        "panels per photo": len(shares) / max(1, len(scores)),
        "median panel area share": float(np.median(shares)) if shares else float("nan"),
        "mean panel area share": float(np.mean(shares)) if shares else float("nan"),
        "share of photos with a panel over 70 %": float(np.mean([max(s.shares, default=0) > 0.7 for s in scores])),
    }


def intervals(scores: Sequence[PhotoScore], rounds: int = 500) -> dict[str, tuple[float, float]]:
    """95 % bootstrap intervals over authors."""
    by_author = defaultdict(list)
    for s in scores:
        by_author[s.author].append(s)
    names, rng, draws = sorted(by_author), np.random.default_rng(0), defaultdict(list)
    for _ in range(rounds):
        sample = []
        for k, i in enumerate(rng.integers(0, len(names), len(names))):
            for s in by_author[names[i]]:
                sample.append(PhotoScore(s.author, tuple((f"{k}/{g}", c) for g, c in s.found),
                                         tuple((f"{k}/{g}", c) for g, c in s.tapped), s.background, s.others, s.shares))
        for name, value in figures(sample).items():
            draws[name].append(value)
    return {name: (float(np.nanquantile(v, 0.025)), float(np.nanquantile(v, 0.975))) for name, v in draws.items()}


def heads_without_author(photos: Sequence[OutlinedPhoto], cache: Path, count: int,
                         renders: Path | None = None) -> dict[str, SurfaceHead]:
    """Author -> a head taught without that author's fold (rendered scenes, where given, take part in all)."""
    from training.surface_head import folds, gather, gather_rendered, teach

    examples = gather(photos, cache)
    fold = folds([p.author for p in photos], count)
    number = np.array([fold[a] for a in examples.author])
    rendered = gather_rendered(renders, cache) if renders else None
    heads = {k: teach(examples.where(number != k), rendered=rendered) for k in range(count)}
    return {author: heads[k] for author, k in fold.items()}


def judge(photos: Sequence[OutlinedPhoto], heads: dict[str, SurfaceHead], cache: Path,
          nets: HeldOutNets) -> list[PhotoScore]:
    """Scores of all photos that hold a counted row."""
    scores = []
    for photo in photos:
        if not any(is_counted(r) for r in photo.rows):
            continue
        seen, size = cells_of(photo, cache)
        scores.append(score_photo(photo, partition(seen, size, heads[photo.author], nets.of(photo.author)), size))
    return scores


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True, help="folder with img/ and panels.csv")
    parser.add_argument("--cache", type=Path, required=True, help="folder for what the backbone sees, made on first use")
    parser.add_argument("--renders", type=Path, help="folder of rendered scenes the head is also taught from")
    parser.add_argument("--nets", type=Path, help="folder of the boundary nets by fold")
    parser.add_argument("--folds", type=int, default=5)
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    photos = outlined_photos(args.photos)
    scores = judge(photos, heads_without_author(photos, args.cache, args.folds, args.renders), args.cache,
                   HeldOutNets(args.nets, [p.author for p in photos]))
    values, spread = figures(scores), intervals(scores)
    print(f"{len(scores)} photos, {len({s.author for s in scores})} authors, {args.folds} folds by author; "
          f"boundary nets {'without the author' if args.nets else 'that have seen the photos'}")
    for name, value in values.items():
        print(f"{name:42s} {value:.3f}   [{spread[name][0]:.2f}, {spread[name][1]:.2f}]")
    if args.json:
        args.json.write_text(json.dumps({"figures": values, "intervals": spread}, indent=1))


if __name__ == "__main__":
    main()

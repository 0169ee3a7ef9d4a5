"""Teach the furniture-surface head from outlined photographs.

    python -m training.surface_head --photos DIR --renders DIR --cache DIR --out vision/models/surface_head.npz

Cells inside outlines of furniture are examples of furniture, cells inside outlines of anything else are counter-examples;
all other cells are unlabelled and count as counter-examples with a small weight only. Every outline weighs the same.
Rendered scenes, where every pixel is known, add examples of both kinds at a smaller weight; wooden floors are left out.
The same run learns in which directions of feature space two cells of one panel lie close together.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training.panel_photos import OutlinedPhoto, cell_mask, cells_of, cells_of_photo, outline_of, outlined_photos
from training.rendered_panels import FIRST_BACKGROUND, load
from vision.panels import cells
from vision.panels.regions import DEFAULT_WEIGHTS
from vision.panels.surface import SurfaceHead

BASIS, SAME = 64, 16
CELLS_PER_OUTLINE, UNLABELLED_PER_PHOTO = 40, 60
#: Weight of all unlabelled cells against all furniture cells, and of counter-examples against furniture.
UNLABELLED_WEIGHT, OTHER_WEIGHT = 0.12, 0.6
#: Weight of one panel or thing of a rendered photo, as against 1 for an outline on a real one.
RENDERED_WEIGHT = 0.25
CHANNELS = sum(cells.MAP_CHANNELS.values())


@dataclass(frozen=True, eq=False)
class Examples:
    """Sampled cells. `table`: (n, d) float32; `kind`: 1 furniture, 0 other, -1 unlabelled; `outline`: number of the
    outline (-1 unlabelled); `author`, `weight`: (n,)."""

    table: NDArray[np.float32]
    kind: NDArray[np.int8]
    outline: NDArray[np.int32]
    author: NDArray[np.str_]
    weight: NDArray[np.float64]

    def where(self, keep: NDArray[np.bool_]) -> Examples:
        return Examples(self.table[keep], self.kind[keep], self.outline[keep], self.author[keep], self.weight[keep])


def gather(photos: Sequence[OutlinedPhoto], cache: Path, seed: int = 0) -> Examples:
    """Sample cells of all photos."""
    rng = np.random.default_rng(seed)
    tables, kinds, outlines, authors, weights = [], [], [], [], []
    number = 0
    for photo in photos:
        seen, size = cells_of(photo, cache)
        table = np.concatenate([cells.stacked(seen.maps, seen.shape), seen.cues], axis=2)
        free = np.ones(seen.shape, bool)

        def take(mask: NDArray[np.bool_], most: int, kind: int, outline: int, weight: float,
                 table: NDArray[np.float32] = table, author: str = photo.author) -> None:
            ys, xs = np.nonzero(mask)
            chosen = rng.choice(len(ys), min(most, len(ys)), replace=False) if len(ys) else np.empty(0, int)
            tables.append(table[ys[chosen], xs[chosen]])
            kinds.extend([kind] * len(chosen))
            outlines.extend([outline] * len(chosen))
            authors.extend([author] * len(chosen))
            weights.extend([weight / max(1, len(chosen))] * len(chosen))

        for row in photo.rows:
            mask = cell_mask(outline_of(row), size, seen.shape)
            free &= cv2.dilate(mask.astype(np.uint8), np.ones((5, 5), np.uint8)) == 0
            weight = float(row["p"] or 1.0) if "line-scan" not in row["notes"] else 0.1
            take(mask, CELLS_PER_OUTLINE, int(row["face"] != "not_wood"), number, weight)
            number += 1
        take(free, UNLABELLED_PER_PHOTO, -1, -1, 1.0)
    return Examples(np.concatenate(tables), np.array(kinds, np.int8), np.array(outlines, np.int32), np.array(authors),
                    np.array(weights))


def gather_rendered(folder: Path, cache: Path, most: int = 140, seed: int = 0) -> Examples:
    """Sample cells of up to `most` rendered photos of a folder: boards against everything that shows no wood."""
    rng = np.random.default_rng(seed)
    tables, kinds, weights = [], [], []
    paths = sorted(folder.glob("p*.json"))
    for path in paths[:: max(1, -(-len(paths) // most))]:
        render = load(path)
        seen, _ = cells_of_photo(render.photo, cache / f"render_{render.name}.npz")
        ids = cv2.resize(render.ids, seen.shape[::-1], interpolation=cv2.INTER_NEAREST)
        table = np.concatenate([cells.stacked(seen.maps, seen.shape), seen.cues], axis=2)
        for number in np.unique(ids):
            ys, xs = np.nonzero(ids == number)
            if number == 0 or int(number) in render.wood_like_background or len(ys) < 6:
                continue
            chosen = rng.choice(len(ys), min(CELLS_PER_OUTLINE // 2, len(ys)), replace=False)
            tables.append(table[ys[chosen], xs[chosen]])
            kinds.extend([int(number < FIRST_BACKGROUND)] * len(chosen))
            weights.extend([RENDERED_WEIGHT / len(chosen)] * len(chosen))
    n = len(kinds)
    return Examples(np.concatenate(tables), np.array(kinds, np.int8), np.full(n, -1, np.int32), np.full(n, "rendered"),
                    np.array(weights))


def teach(examples: Examples, pair: NDArray[np.float64] | None = None, rendered: Examples | None = None) -> SurfaceHead:
    """Fit the head; `rendered` examples bear on the likeness only."""
    from sklearn.decomposition import PCA
    from sklearn.linear_model import LogisticRegression

    centre, scale = examples.table.mean(axis=0), examples.table.std(axis=0) + 1e-3
    z = (examples.table - centre) / scale
    basis = PCA(BASIS, svd_solver="covariance_eigh").fit(z[:, :CHANNELS]).components_.T
    reduced = np.concatenate([z[:, :CHANNELS] @ basis, z[:, CHANNELS:]], axis=1)
    weight = examples.weight.copy()
    furniture, other, free = (examples.kind == k for k in (1, 0, -1))
    weight[other] *= OTHER_WEIGHT * weight[furniture].sum() / max(weight[other].sum(), 1e-9)
    weight[free] *= UNLABELLED_WEIGHT * weight[furniture].sum() / max(weight[free].sum(), 1e-9)
    rows, target = reduced, furniture
    if rendered is not None:
        z = (rendered.table - centre) / scale
        rows = np.concatenate([rows, np.concatenate([z[:, :CHANNELS] @ basis, z[:, CHANNELS:]], axis=1)])
        target, weight = np.r_[target, rendered.kind == 1], np.r_[weight, rendered.weight]
    model = LogisticRegression(C=0.2, max_iter=500).fit(rows, target, sample_weight=weight)
    return SurfaceHead(
        *(np.asarray(a, dtype=np.float32) for a in (
            centre, scale, basis, np.r_[model.coef_[0], model.intercept_[0]], same_panel_directions(reduced, examples),
            DEFAULT_WEIGHTS if pair is None else pair)))


def same_panel_directions(reduced: NDArray[np.float32], examples: Examples) -> NDArray[np.float64]:
    """(p + cues, SAME) directions with the largest spread between outlines for a unit spread within (Fisher)."""
    from scipy.linalg import eigh

    inside = examples.outline >= 0
    rows, number = reduced[inside].astype(np.float64), examples.outline[inside]
    count = np.maximum(np.bincount(number), 1)
    mean = np.array([np.bincount(number, rows[:, k]) for k in range(rows.shape[1])]).T / count[:, None]
    within = rows - mean[number]
    w = within.T @ within / len(rows)
    w += np.eye(len(w)) * 0.1 * np.trace(w) / len(w)
    used = mean[np.bincount(number) > 0]
    b = np.cov(used.T)
    place = cells.CUE_NAMES.index("from_centre"), cells.CUE_NAMES.index("height")
    drop = [BASIS + k for k in place]  # where a cell lies says nothing about which surface it belongs to
    w[drop, :] = w[:, drop] = b[drop, :] = b[:, drop] = 0.0
    w[drop, drop] = 1.0
    _, vectors = eigh(b, w)
    return vectors[:, ::-1][:, :SAME]


def save(head: SurfaceHead, path: Path) -> None:
    """Write the head, half precision for the large tables."""
    np.savez_compressed(path, **{name: getattr(head, name).astype(np.float16 if getattr(head, name).ndim == 2 else np.float32)
                                 for name in SurfaceHead.__dataclass_fields__})


def folds(authors: Sequence[str], count: int, seed: int = 0) -> dict[str, int]:
    """Author -> fold number, so that no author is both taught from and judged on."""
    names = sorted(set(authors))
    order = np.random.default_rng(seed).permutation(len(names))
    return {names[k]: int(i % count) for i, k in enumerate(order)}


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True, help="folder with img/ and panels.csv")
    parser.add_argument("--renders", type=Path, help="folder of rendered scenes")
    parser.add_argument("--cache", type=Path, required=True, help="folder for what the backbone sees, made on first use")
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    rendered = gather_rendered(args.renders, args.cache) if args.renders else None
    head = teach(gather(outlined_photos(args.photos), args.cache), rendered=rendered)
    save(head, args.out)
    print(f"wrote {args.out}, {args.out.stat().st_size / 1e3:.0f} kB")


if __name__ == "__main__":
    main()

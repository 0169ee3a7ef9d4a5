"""Fit the weights by which neighbouring patches are joined into panels or kept apart.

    python -m training.pair_weights --photos DIR --renders DIR --cache DIR --nets DIR [--rounds 2]

A pair of neighbours on a rendered photo is one surface when both lie mostly on one thing, two when on different ones; on a
real photo a pair inside one outline is one surface. Pairs are taken of the first patches and of regions part of the way
through joining (with the weights of the round before), since the same weights judge both. The boundary nets of --nets never
saw the photo. A logistic fit with no weight of a difference below 0 is printed, to be pasted into vision/panels/regions.py.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training.held_out_nets import HeldOutNets, pieces_of
from training.panel_photos import cells_of, cells_of_photo, outline_of, outlined_photos
from training.rendered_panels import FIRST_BACKGROUND, load
from vision.panels import regions
from vision.panels.partition import PhotoSurfaces, partition
from vision.panels.regions import PAIR_NAMES
from vision.panels.surface import shipped_head

#: Share of a region that must lie on one thing for the region to count as part of it.
PURE = 0.75
#: Heights of joining at which pairs are taken, besides the first patches.
CUTS = (-3.0, -1.0, 0.5)
#: Weight of all pairs of real photos against all pairs of rendered ones.
REAL_SHARE = 0.35
#: Columns whose weight may have any sign: they describe the pair, not a difference.
FREE = ("small", "log_small", "border_share")


@dataclass(frozen=True, eq=False)
class Pairs:
    """`table`: (n, len(PAIR_NAMES)); `two`: (n,) bool, different surfaces; `weight`: (n,)."""

    table: NDArray[np.float64]
    two: NDArray[np.bool_]
    weight: NDArray[np.float64]


def pairs_of(surfaces: PhotoSurfaces, things: NDArray[np.int32], *, only_same: bool) -> Pairs:
    """Pairs of neighbours with a known answer. `things`: (h, w) numbers of things from 1, 0 unknown."""
    rows, two, weight = [], [], []
    patches, count = surfaces.patches, len(surfaces.graph.sums)
    for cut in (-np.inf, *CUTS):
        number = surfaces.merges.cut(cut)
        n = int(number.max()) + 1
        thing = main_thing(number[patches], n, things)
        sums = np.zeros((n, surfaces.graph.sums.shape[1]))
        np.add.at(sums, number, surfaces.graph.sums)
        seen = [regions.looks(s) for s in sums]
        borders: dict[tuple[int, int], NDArray[np.float64]] = {}
        for i in range(count):
            for j, row in surfaces.graph.borders[i].items():
                a, b = int(number[i]), int(number[j])
                if i < j and a != b and thing[a] and thing[b]:
                    key = (min(a, b), max(a, b))
                    borders[key] = borders[key] + row if key in borders else row
        for (a, b), border in borders.items():
            differ = thing[a] != thing[b]
            # Two things that are both no furniture may join or not: nothing hangs on it.
            if (differ and only_same) or (differ and min(thing[a], thing[b]) >= FIRST_BACKGROUND):
                continue
            rows.append(regions.pair_row(seen[a], seen[b], border))
            two.append(differ)
            weight.append(min(float(min(sums[a, 0], sums[b, 0])), 2000.0) ** 0.5)
    return Pairs(np.array(rows).reshape(-1, len(PAIR_NAMES)), np.array(two, bool), np.array(weight))


def main_thing(labels: NDArray[np.int32], count: int, things: NDArray[np.int32]) -> NDArray[np.int32]:
    """(count,) thing on which at least PURE of each region lies, 0 where there is none."""
    most = int(things.max()) + 1
    table = np.bincount(labels.ravel() * most + things.ravel(), minlength=count * most).reshape(count, most)
    best = table.argmax(axis=1)
    return np.where(table.max(axis=1) >= PURE * table.sum(axis=1), best, 0).astype(np.int32)


def gather(args: argparse.Namespace, weights: NDArray[np.float64]) -> Iterator[tuple[bool, Pairs]]:
    """(rendered, pairs) of every photo used."""
    head = shipped_head()
    head = type(head)(head.centre, head.scale, head.basis, head.surface, head.same, weights.astype(np.float32))
    photos, paths = outlined_photos(args.photos), sorted(args.renders.glob("p*.json"))
    nets = HeldOutNets(args.nets, [p.author for p in photos], pieces_of(paths))
    for path, piece in list(zip(paths, pieces_of(paths), strict=True))[:: args.every]:
        render = load(path)
        seen, size = cells_of_photo(render.photo, args.cache / f"render_{render.name}.npz")
        h, w = seen.pixels.shape[:2]
        things = cv2.resize(render.ids, (w, h), interpolation=cv2.INTER_NEAREST).astype(np.int32)
        yield True, pairs_of(partition(seen, size, head, nets.of(piece)), things, only_same=False)
    for photo in photos[:: max(1, args.every // 2)]:
        seen, size = cells_of(photo, args.cache)
        h, w = seen.pixels.shape[:2]
        things = np.zeros((h, w), np.int32)
        for k, row in enumerate(r for r in photo.rows if r["view"] in ("face", "edge")):
            at = (outline_of(row) + 0.5) * [w / size[0], h / size[1]] - 0.5
            cv2.fillPoly(things, [np.round(at * 16).astype(np.int32)], k + 1, cv2.LINE_8, 4)
        yield False, pairs_of(partition(seen, size, head, nets.of(photo.author)), things, only_same=True)


def fit(pairs: Pairs, strength: float = 1e-5) -> NDArray[np.float64]:
    """(len(PAIR_NAMES) + 1,) logistic weights, the constant last; differences never count towards one surface."""
    from scipy.optimize import minimize

    x = np.c_[pairs.table, np.ones(len(pairs.table))]
    sign = np.where(pairs.two, 1.0, -1.0)
    weight = pairs.weight / pairs.weight.sum()

    def cost(w: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        margin = sign * (x @ w)
        slope = -weight * sign * np.exp(-np.logaddexp(0, margin))
        ridge = np.r_[w[:-1], 0.0]
        return float((weight * np.logaddexp(0, -margin)).sum() + strength * ridge @ ridge), x.T @ slope + 2 * strength * ridge

    free = [name in FREE for name in PAIR_NAMES] + [True]
    bounds = [(None, None) if f else (0.0, None) for f in free]
    return np.asarray(minimize(cost, np.zeros(x.shape[1]), jac=True, method="L-BFGS-B", bounds=bounds).x)


def joined(found: list[tuple[bool, Pairs]]) -> Pairs:
    """All pairs with real and rendered ones brought to their shares, and the two answers to equal ones on renders."""
    weights = []
    rendered_total = sum(p.weight.sum() for r, p in found if r)
    two_total = sum(p.weight[p.two].sum() for r, p in found if r)
    real_total = sum(p.weight.sum() for r, p in found if not r)
    for rendered, p in found:
        if rendered:
            share = np.where(p.two, 0.5 / max(two_total, 1e-9), 0.5 / max(rendered_total - two_total, 1e-9))
            weights.append(p.weight * share * (1 - REAL_SHARE))
        else:
            weights.append(p.weight / max(real_total, 1e-9) * REAL_SHARE)
    return Pairs(np.concatenate([p.table for _, p in found]), np.concatenate([p.two for _, p in found]), np.concatenate(weights))


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True, help="folder with img/ and panels.csv")
    parser.add_argument("--renders", type=Path, required=True, help="folder of rendered scenes")
    parser.add_argument("--cache", type=Path, required=True, help="folder for what the backbone sees, made on first use")
    parser.add_argument("--nets", type=Path, required=True, help="folder of the boundary nets by fold")
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--every", type=int, default=8, help="use every n-th rendered photo and twice as many real ones")
    args = parser.parse_args()
    weights = regions.DEFAULT_WEIGHTS
    for _ in range(args.rounds):
        pairs = joined(list(gather(args, weights)))
        weights = fit(pairs)
        two = pairs.table @ weights[:-1] + weights[-1] > 0
        right = [pairs.weight[(two == pairs.two) & side].sum() / pairs.weight[side].sum() for side in (pairs.two, ~pairs.two)]
        print(f"{len(pairs.two)} pairs; right: two surfaces {right[0]:.3f}, one surface {right[1]:.3f}", flush=True)
        print(", ".join(f"{v:.3f}" for v in weights), flush=True)


if __name__ == "__main__":
    main()

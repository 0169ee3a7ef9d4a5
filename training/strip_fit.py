"""Fit the decision which band beside a panel is a narrow side, on one half of the rendered pieces.

    python -m training.strip_fit --renders DIR [--every 1] [--out FILE]

Boosted small trees learn from the numbers of each candidate band; log odds of pieces left out in turn then teach the second
step (a logistic regression on the likeliest band of each side), whose chances are thereby calibrated, and the least chance from
which bands are told: the lowest at which those left out are right often enough. Smaller trees learn from the right bands whether
a narrow side is the panel's own or a neighbouring part's, calibrated on pieces left out likewise. Needs the training extra;
writes plain arrays.
"""

from __future__ import annotations

import argparse
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.strip_rows import RIGHT, FaceBands, bands_with_truth, enlarged, rendered_photos
from vision.edges.find_model import MODEL, StripModel, Trees, own_numbers, save_strip_model, second_numbers

#: Share of told bands that must be right among pieces left out, surely enough: its lower bound (one side, 95 %, pieces drawn
#: anew) counts, since the lowest chance that just reaches a share was lucky; and groups of pieces left out in turn.
WANTED, FOLDS = 0.92, 3
TREES, DEPTH, LEAVES, RATE = 160, 6, 14, 0.09
#: Trees that tell whose a narrow side is.
OWN_TREES = 70
#: Wrong bands kept for teaching for each right one; those kept count for the rest.
WRONG_EACH = 9
#: How much larger every other photo teaches once more.
LARGER = (1.7, 2.6)
#: Bands sharing at least this much with a narrow side, yet not right, teach nothing.
NEARLY = 0.35
Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class BandTable:
    """All candidates as arrays: `numbers` (n, NAMES), `right`, `clear` (judged, and right or far from it), `judged`, `outline`,
    `side`, `depth` px, `inside`, `own` (the right one is of the face's part), `ways` out (n, 2); `piece` of each outline."""

    numbers: Floats
    right: NDArray[np.bool_]
    clear: NDArray[np.bool_]
    judged: NDArray[np.bool_]
    outline: NDArray[np.intp]
    side: NDArray[np.intp]
    depth: Floats
    inside: NDArray[np.bool_]
    own: NDArray[np.bool_]
    ways: Floats
    piece: list[str]

    def fold(self, folds: int) -> NDArray[np.intp]:
        """Fold of each band by its piece."""
        each = np.array([zlib.crc32(f"fold {p}".encode()) % folds for p in self.piece], np.intp)
        return np.asarray(each[self.outline])


def table_of(faces: Sequence[FaceBands]) -> BandTable:
    parts: list[tuple[Any, ...]] = []
    for k, face in enumerate(faces):
        for s, (side, shared) in enumerate(zip(face.sides, face.shared, strict=True)):
            n, judged, right = len(shared), face.judged[s], shared >= RIGHT
            parts.append((side.numbers, right, judged & (right | (shared < NEARLY)), judged, np.full(n, k), np.full(n, s),
                          side.depths(), side.bands[:, 2].astype(bool), face.own[s], np.tile(side.layout.way, (n, 1))))
    names = ("numbers", "right", "clear", "judged", "outline", "side", "depth", "inside", "own", "ways")
    columns: dict[str, Any] = {n: np.concatenate(c) for n, c in zip(names, zip(*parts, strict=True), strict=True)}
    return BandTable(**columns, piece=[f.piece for f in faces])


def grow(numbers: Floats, right: NDArray[np.bool_], weight: Floats | None = None, seed: int = 0,
         trees: int | None = None) -> Trees:
    """Boosted trees on candidates; `trees`: how many (TREES without)."""
    from sklearn.ensemble import HistGradientBoostingClassifier

    rng = np.random.default_rng(seed)
    weight = np.ones(len(right)) if weight is None else weight
    yes, no = np.flatnonzero(right), np.flatnonzero(~right)
    kept = rng.permutation(no)[:max(1, WRONG_EACH * len(yes))]
    use = np.sort(np.concatenate([yes, kept]))
    weight = np.where(right, weight, weight * len(no) / max(1, len(kept)))[use]
    # cuts are compared in single precision in use
    x, right = numbers[use].astype(np.float32), right[use]
    taught = HistGradientBoostingClassifier(
        max_iter=trees or TREES, max_depth=DEPTH, max_leaf_nodes=LEAVES, learning_rate=RATE, max_features=0.3,
        min_samples_leaf=25, l2_regularization=2.0, early_stopping=False, random_state=seed).fit(x, right, sample_weight=weight)
    grown = [t[0].nodes for t in taught._predictors]
    shape = len(grown), max(len(t) for t in grown)
    feature, left, right_ = np.zeros(shape, np.int16), np.zeros(shape, np.int16), np.zeros(shape, np.int16)
    cut, value = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    for k, t in enumerate(grown):
        n, own, leaf = len(t), np.arange(len(t)), t["is_leaf"].astype(bool)
        feature[k, :n] = np.where(leaf, 0, t["feature_idx"])
        single = np.where(leaf, 0, t["num_threshold"]).astype(np.float32)
        # the largest single not above the double: the same side of every cut as in teaching
        cut[k, :n] = np.where(single > np.where(leaf, 0, t["num_threshold"]), np.nextafter(single, np.float32(-np.inf)), single)
        left[k, :n], right_[k, :n] = np.where(leaf, own, t["left"]), np.where(leaf, own, t["right"])
        value[k, :n] = np.where(leaf, t["value"], 0)
    return Trees(feature, cut, left, right_, value, float(np.ravel(taught._baseline_prediction)[0]), DEPTH)


def weight_of(table: BandTable) -> Floats:
    """Right bands of rare thickness count more, or the many thin ones would decide alone; at most fourfold."""
    out = np.ones(len(table.right))
    size = np.clip(np.log2(np.maximum(table.depth, 4.0)).astype(int), 2, 7)
    counts = np.bincount(size[table.right], minlength=8).astype(float)
    share = counts.max() / np.maximum(counts, 1.0)
    out[table.right] = np.clip(np.sqrt(share[size[table.right]]), 1.0, 4.0)
    return out


def winners(table: BandTable, odds: Floats) -> tuple[NDArray[np.intp], Floats]:
    """(indices of the likeliest band of each side, numbers of the second step) over all outlines."""
    index, numbers = [], []
    starts = np.flatnonzero(np.r_[True, np.diff(table.outline) != 0, True])
    for a, b in pairwise(starts.tolist()):
        best, second = second_numbers(table.side[a:b], odds[a:b], table.depth[a:b], table.inside[a:b])
        index.append(best + a)
        numbers.append(second)
    return np.concatenate(index), np.concatenate(numbers)


def least_chance(chance: Floats, right: NDArray[np.bool_], piece: Sequence[str], wanted: float = WANTED) -> float:
    """Lowest chance, in hundredths, from which on the share right surely reaches `wanted`; 0.99 where none does."""
    names, number = np.unique(np.asarray(piece), return_inverse=True)
    drawn = np.random.default_rng(0).integers(0, len(names), (500, len(names)))
    for hundredths in range(30, 99):
        told = chance >= hundredths / 100
        count = np.bincount(number[told], minlength=len(names))[drawn].sum(axis=1)
        good = np.bincount(number[told], weights=right[told], minlength=len(names))[drawn].sum(axis=1)
        if told.any() and np.percentile(good / np.maximum(1, count), 5) >= wanted:
            return hundredths / 100
    return 0.99


def fit(table: BandTable) -> tuple[StripModel, dict[str, float]]:
    """(model, what the pieces left out say) of a table of candidates."""
    from sklearn.linear_model import LogisticRegression

    fold, weight = table.fold(FOLDS), weight_of(table)
    odds = np.zeros(len(fold))
    for f in range(FOLDS):
        use = (fold != f) & table.clear
        odds[fold == f] = grow(table.numbers[use], table.right[use], weight[use], f).log_odds(table.numbers[fold == f])
    best, second = winners(table, odds)
    best, second = best[table.judged[best]], second[table.judged[best]]
    told = LogisticRegression(C=10.0, max_iter=500).fit(second, table.right[best])
    weights = np.concatenate([told.intercept_, told.coef_[0]]).astype(np.float64)
    use = table.clear
    owner, own_weights, own_figures = fit_owner(table, odds, best)
    model = StripModel(grow(table.numbers[use], table.right[use], weight[use]), weights, 0.5, owner, own_weights)
    chance = model.chance(second)
    right = table.right[best]
    model = replace(model, least=least_chance(chance, right, [table.piece[k] for k in table.outline[best]]))
    shown = chance >= model.least
    return model, {"sides": float(len(best)), "right": float(right.sum()), "least": model.least, "told": float(shown.sum()),
                   "right_when_told": float(right[shown].mean()) if shown.any() else float("nan"), **own_figures}


def fit_owner(table: BandTable, odds: Floats, best: NDArray[np.intp]) -> tuple[Trees, Floats, dict[str, float]]:
    """(trees, calibration, figures of pieces left out) that tell a panel's own narrow sides from its neighbours'.

    All right bands teach; the likeliest ones of sides (`best`) calibrate. `odds`: (n,) of pieces left out.
    """
    from sklearn.linear_model import LogisticRegression

    right = np.flatnonzero(table.right & table.judged)
    starts = np.flatnonzero(np.r_[True, np.diff(table.outline) != 0, True])
    parts = []
    for a, b in pairwise(starts.tolist()):
        wanted = right[(right >= a) & (right < b)] - a
        parts.append(own_numbers(table.numbers[a:b], odds[a:b], table.ways[a:b], wanted))
    numbers, own, fold = np.concatenate(parts), table.own[right], table.fold(FOLDS)[right]
    left_out = np.zeros(len(right))
    for f in range(FOLDS):
        use = fold != f
        left_out[~use] = grow(numbers[use], own[use], None, f, OWN_TREES).log_odds(numbers[~use])
    shown = np.isin(right, best)
    told = LogisticRegression(C=10.0, max_iter=500).fit(left_out[shown, None], own[shown])
    weights = np.concatenate([told.intercept_, told.coef_[0]]).astype(np.float64)
    called = weights[0] + weights[1] * left_out[shown] > 0
    return grow(numbers, own, None, 0, OWN_TREES), weights, {
        "narrow_sides": float(shown.sum()), "own": float(own[shown].mean()), "owner_right": float((called == own[shown]).mean())}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--renders", type=Path, required=True)
    parser.add_argument("--every", type=int, default=1, help="teach on every so-manieth photo")
    parser.add_argument("--out", type=Path, default=MODEL)
    args = parser.parse_args()
    faces: list[FaceBands] = []
    for n, photo in enumerate(rendered_photos(args.renders, "teach", every=args.every)):
        faces += [f for f in bands_with_truth(photo, ("true", "jittered", *(("round",) if n % 2 else ()))) if f.sides]
        again = photo if n % 2 else enlarged(photo, LARGER[n // 2 % 2])
        faces += [f for f in bands_with_truth(again, ("loose",)) if f.sides]
    model, told = fit(table_of(faces))
    save_strip_model(model, args.out)
    print(", ".join(f"{k} {v:.3g}" for k, v in told.items()), f"in {args.out.stat().st_size / 1e3:.0f} kB")


if __name__ == "__main__":
    main()

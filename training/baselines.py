"""Two baselines judged on the same panels in the same run, and paired comparisons with them.

The first reads the panel's crop alone with the image backbone (efficientnet-lite0): a ridge-penalised logistic regression on
its channel statistics, authors left out, temperature, sets and rule for deciding learnt on inner folds as for our own
classifier and under the same prior. The statistics are a stronger baseline than the backbone's 1280 pooled numbers:

    python -m training.baselines --photos DIR       prints both on the same folds

The second is the usual checklist (`training/baselines_checklist.py`).
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training.config_file import Config, ExpertSettings
from training.experts import Array
from training.figures import Scored, figures, group_weight
from training.tables import Table
from vision.inference.joint import FACES

EMBEDDING, CHECKLIST = "embedding of the panel, logistic regression", "the usual checklist"
PENALTIES = (0.005, 0.01, 0.02, 0.05, 0.1, 0.2)
#: Of those, the one with the lowest log loss on all authors left out: the choice favours the baseline.
PENALTY = 0.01
#: Figures a comparison is made on, and whether more is better.
COMPARED = {
    "face: log loss (uniform 1.792)": False, "face: Brier (uniform 0.833)": False, "face: balanced accuracy, forced": True,
    "AUC solid against veneer": True, "AUC wood against print": True, "AUC wood against paint, board, other": True,
    "face: coverage (decided)": True, "area under risk and coverage": False,
    "core at edges: balanced, forced": True, "view: balanced": True,
}
#: Figures that only a classifier asked about cores and views can be compared on.
BESIDES_FACES = ("core at edges: balanced, forced", "view: balanced")
ROUNDS = 300
#: Fewer specimens of the rarer side of a figure carry no claim, whatever their interval: a handful cannot be resampled.
LEAST_CLAIM = 10


def embedding_config(config: Config, penalty: float = PENALTY) -> Config:
    """The settings of the first baseline: one expert on the panel's crop, nothing located."""
    one = ExpertSettings("embedding", "overall_look", penalty, crops=("panel",))
    return replace(config, experts=(one,), located=())


def risk_curve(certain: Array, right: NDArray[np.bool_], weight: Array, coverage: Array) -> Array:
    """Share wrong among the most certain rows that make up each `coverage` (0..1] of all weight; rows of equal certainty
    come in together, in proportion."""
    order = np.argsort(-certain, kind="stable")
    order = order[weight[order] > 0]
    c, w, bad = certain[order], weight[order], weight[order] * ~right[order]
    ends = np.flatnonzero(np.append(np.diff(c) != 0, True))
    covered = np.concatenate([[0.0], np.cumsum(w)[ends]])
    wrong = np.concatenate([[0.0], np.cumsum(bad)[ends]])
    at = coverage * covered[-1]
    return np.asarray(np.interp(at, covered, wrong) / np.maximum(at, 1e-12))


GRID = np.linspace(0.02, 1.0, 50)


def curve(s: Scored, times: Array | None = None, specimen: NDArray[np.intp] | None = None) -> Array:
    """(GRID,) risk of the leading face by coverage of labelled faces."""
    at = np.unique(s.specimen, return_inverse=True)[1] if specimen is None else specimen
    use = (s.true_face >= 0) & (s.true_view == 0)
    w = group_weight(at, use, np.ones(len(at)) if times is None else times)
    return risk_curve(s.face.max(axis=1), s.face.argmax(axis=1) == s.true_face, w, GRID)


def compared(s: Scored, times: Array | None = None, specimen: NDArray[np.intp] | None = None) -> dict[str, float]:
    """The figures of COMPARED."""
    found = figures(s, times, specimen)
    found["area under risk and coverage"] = float(curve(s, times, specimen).mean())
    return {k: found[k] for k in COMPARED}


@dataclass(frozen=True)
class Paired:
    """Ours minus theirs. `specimens`, `authors`: 95 % intervals by resampling whole specimens, whole authors; `rarer`:
    specimens on the rarer side of the figure."""

    figure: str
    ours: float
    theirs: float
    specimens: tuple[float, float]
    authors: tuple[float, float]
    rarer: int

    @property
    def verdict(self) -> str:
        """"better" or "worse" only where both intervals exclude zero and there are specimens enough."""
        if self.rarer < LEAST_CLAIM:
            return f"too few ({self.rarer}) to say"
        up = COMPARED[self.figure]
        sides = {np.sign(v) for pair in (self.specimens, self.authors) for v in pair}
        if sides == {1.0}:
            return "better" if up else "worse"
        if sides == {-1.0}:
            return "worse" if up else "better"
        return "no difference shown"


def draws(groups: NDArray[np.str_], rounds: int, seed: int) -> Iterator[Array]:
    """(n,) how often each row's group was drawn, `rounds` times."""
    names, at = np.unique(groups, return_inverse=True)
    rng = np.random.default_rng(seed)
    for _ in range(rounds):
        yield np.bincount(rng.integers(0, len(names), len(names)), minlength=len(names))[at].astype(np.float64)


def _rarer(s: Scored, figure: str) -> int:
    """Specimens on the rarer side of a figure: of prints where prints are told, of veneers where veneers are."""
    faces = s.true_view == 0
    counts = {k: len(np.unique(s.specimen[faces & (s.true_face == FACES.index(k))])) for k in ("solid_wood", "veneer", "printed")}
    if figure.endswith("print"):
        return counts["printed"]
    if figure in BESIDES_FACES:
        label, among = (s.true_core, s.true_view > 0) if figure.startswith("core") else (s.true_view, s.true_view >= 0)
        return min(len(np.unique(s.specimen[among & (label == k)])) for k in np.unique(label[among & (label >= 0)]))
    return min(counts["solid_wood"], counts["veneer"]) if figure.endswith("veneer") else len(np.unique(s.specimen[faces]))


def paired(
    ours: Scored, others: Mapping[str, Scored], measure: Callable[..., dict[str, float]] = compared, rounds: int = ROUNDS,
    seed: int = 0,
) -> dict[str, list[Paired]]:
    """Compare ours with each of some other classifiers' answers to the same rows."""
    at = np.unique(ours.specimen, return_inverse=True)[1]
    unknown = (-float("inf"), float("inf"))
    spans: dict[tuple[str, str, str], tuple[float, float]] = {}
    for kind, groups in (("specimens", ours.specimen), ("authors", ours.author)):
        gone: dict[tuple[str, str], list[float]] = defaultdict(list)
        for times in draws(groups, rounds, seed):
            mine = measure(ours, times, at)
            for name, other in others.items():
                for key, value in measure(other, times, at).items():
                    if np.isfinite(mine[key] - value):
                        gone[name, key].append(mine[key] - value)
        spans |= {(kind, *k): (float(np.quantile(v, 0.025)), float(np.quantile(v, 0.975)))
                  for k, v in gone.items() if len(v) > rounds / 3}
    mine = measure(ours)
    return {name: [Paired(key, mine[key], value, spans.get(("specimens", name, key), unknown),
                          spans.get(("authors", name, key), unknown), _rarer(ours, key))
                   for key, value in measure(other).items()] for name, other in others.items()}


def pooled_looks(table: Table, photos: Path, stored: Path) -> NDArray[np.float16]:
    """(n, crops, 1280) the backbone's pooled numbers of each panel's crop, standardised and turned to principal directions,
    the same for every crop; kept in `stored`, which belongs to one table."""
    from training.measuring import _panel
    from training.panel_facts import aligned
    from training.real_photos import labelled_panels
    from vision.backbone import embed_batch
    from vision.intake import load_photo
    from vision.looks import panel_crop
    from vision.panels import rectify

    if not stored.exists():
        found, last, photo = [], None, None
        for row in aligned(table, labelled_panels(photos)):
            if row.path != last:
                last, photo = row.path, load_photo(row.path, "photo")
            assert photo is not None
            whole, panel = _panel(row, photo)
            found.append(embed_batch(panel_crop(rectify(whole, panel))[None])[0])
        stored.parent.mkdir(parents=True, exist_ok=True)
        np.save(stored, np.array(found, dtype=np.float32))
    numbers = np.load(stored)
    z = (numbers - numbers.mean(axis=0)) / (numbers.std(axis=0) + 1e-3)
    turned = z @ np.linalg.svd(z, full_matrices=False)[2].T
    # Many more numbers than the projected looks have: scaled so that one range of penalties suits both.
    scaled = 0.3 * turned / np.sqrt(turned.var(axis=0).mean())
    return np.repeat(scaled[:, None], table.looks.shape[1], axis=1).astype(np.float16)


def main() -> None:
    """Print the first baseline with both kinds of numbers."""
    from training.config_file import load_config
    from training.heldout import held_out
    from training.teach import load_tables

    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--photos", type=Path, required=True)
    ap.add_argument("--cache", type=Path, default=Path("build/figures/pooled.npy"), help="file for the pooled numbers")
    args = ap.parse_args()
    real, _, _ = load_tables()
    config = load_config()
    pooled = replace(real, looks=pooled_looks(real, args.photos, args.cache))
    print(f"{int(real.headline.sum())} panels, authors left out; balanced faces, log loss,"
          " solid against veneer, wood against print")
    for name, one in (("channel statistics, 64 directions", real), ("1280 pooled numbers", pooled)):
        for penalty in PENALTIES:
            answers, _ = held_out(one, None, {"one": embedding_config(config, penalty)})["one"]
            f = figures(answers.scored(one).rows(one.headline))
            keys = ("face: balanced accuracy, forced", "face: log loss (uniform 1.792)", "AUC solid against veneer",
                    "AUC wood against print")
            print(f"{name:34s} penalty {penalty:5.3f}  " + "  ".join(f"{f[k]:.3f}" for k in keys), flush=True)


if __name__ == "__main__":
    main()

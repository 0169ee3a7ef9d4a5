"""Do prediction sets hold what they promise? By simulation with known truth, beside MAPIE's sets, on real and rendered panels.

    python -m training.conformal_check

1. Simulation: made-up specimens, exchangeable, several panels each that are alike; thresholds of `training.conformal` are
   learnt on some and tried on others. The promise is nine in ten for every class; few specimens must give near-full sets.
2. The same scores through MAPIE's split conformal classifier: one threshold for all, and one a class.
3. Coverage on real authors held out and on rendered pieces held out: thresholds learnt without them (`training.heldout`). They
   rest on real photos, so on renders nothing is promised; with thresholds learnt on other rendered pieces it is.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training import calibration, conformal
from training.binomial import exact_interval
from training.config_file import Config, load_config
from training.experts import Array, log_softmax
from training.heldout import HeldOut, held_out
from training.model_table_figures import Draws, interval, mean
from training.tables import Table
from training.teach import load_tables
from vision.inference.joint import CORES, FACES

Bools = NDArray[np.bool_]
#: Share of each face among made-up specimens, and how many panels one of them may show.
MIX = (0.30, 0.20, 0.08, 0.15, 0.10, 0.17)
MOST_PANELS = 5
LEVEL = 0.9


@dataclass(frozen=True, eq=False)
class Made:
    """Made-up panels: `face` (n, 6) what a classifier says, `label` (n,), `specimen` (n,) names."""

    face: Array
    label: NDArray[np.int8]
    specimen: NDArray[np.str_]

    @property
    def weight(self) -> Array:
        """Each specimen counts once."""
        return calibration.specimen_weight(np.ones(len(self.label)), self.specimen, np.ones(len(self.label), dtype=bool))


def make(labels: NDArray[np.int8], rng: np.random.Generator, alike: float = 0.7) -> Made:
    """Panels of one specimen a label: a share `alike` of the variance of their evidence is the specimen's own, the rest each
    panel's; read by a classifier that is too sure of itself."""
    sizes = rng.integers(1, MOST_PANELS + 1, len(labels))
    of = np.repeat(np.arange(len(labels)), sizes)
    evidence = rng.normal(0, 1.45 * alike**0.5, (len(labels), len(MIX)))[of]
    evidence += rng.normal(0, 1.45 * (1 - alike) ** 0.5, (len(of), len(MIX)))
    label = labels[of]
    evidence[np.arange(len(of)), label] += 2.0
    return Made(np.exp(log_softmax(1.5 * evidence + np.log(MIX))), label, of.astype(np.str_))


@dataclass(frozen=True)
class Trial:
    """Outcome of one setting: coverage of every class and of all by specimen, `spread` its standard error, sizes of sets."""

    coverage: Array
    overall: float
    spread: float
    size: float
    full: float


def simulate(
    per_class: int | None, specimens: int, pooled: float, rounds: int, seed: int = 0, alike: float = 0.7
) -> Trial:
    """Thresholds learnt on made-up specimens, tried on 600 others, `rounds` times.

    `per_class`: so many specimens of each class; without, `specimens` of them drawn from MIX. `pooled` as in
    `conformal.thresholds`; `alike` as in `make`.
    """
    rng = np.random.default_rng(seed)
    names = [str(k) for k in range(len(MIX))]
    hits, every, size, full = [], [], [], []
    for _ in range(rounds):
        drawn = rng.choice(len(MIX), specimens, p=MIX)
        labels = (np.repeat(np.arange(len(MIX)), per_class) if per_class is not None else drawn).astype(np.int8)
        known, new = make(labels, rng, alike), make(rng.choice(len(MIX), 600, p=MIX).astype(np.int8), rng, alike)
        limits = conformal.thresholds(known.face, known.label, known.weight, names, LEVEL, pooled=pooled)
        sets = conformal.in_sets(new.face, [limits[n] for n in names])
        held = sets[np.arange(len(sets)), new.label]
        hits.append([np.average(held[new.label == k], weights=new.weight[new.label == k]) for k in range(len(MIX))])
        every.append(np.average(held, weights=new.weight))
        size.append(np.average(sets.sum(axis=1), weights=new.weight))
        full.append(np.average(sets.all(axis=1), weights=new.weight))
    spread = float(np.std(every, ddof=1) / np.sqrt(rounds))
    return Trial(np.mean(hits, axis=0), float(np.mean(every)), spread, float(np.mean(size)), float(np.mean(full)))


class Said:
    """What MAPIE takes for a fitted classifier: it hands back the probabilities that it is given as numbers."""

    def __init__(self, classes: int) -> None:
        self.classes_ = np.arange(classes)
        self.is_fitted_ = True

    def fit(self, x: Array, y: NDArray[np.int8]) -> Said:
        """Nothing to learn."""
        return self

    def predict_proba(self, x: Array) -> Array:
        """The numbers themselves."""
        return x

    def predict(self, x: Array) -> NDArray[np.intp]:
        """The likeliest class."""
        return np.asarray(x.argmax(axis=1))


def mapie_sets(known: Array, labels: NDArray[np.int8], new: Array, level: float) -> Bools:
    """(n, classes) sets of MAPIE's split conformal classifier with the score 1 - p (LAC)."""
    from mapie.classification import SplitConformalClassifier
    from sklearn.base import BaseEstimator, ClassifierMixin

    kind = type("SaidClassifier", (Said, ClassifierMixin, BaseEstimator), {"get_params": lambda self, deep=True: {}})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = SplitConformalClassifier(kind(known.shape[1]), confidence_level=level, conformity_score="lac", prefit=True)
        other.conformalize(known, labels.astype(int))
        return np.asarray(other.predict_set(new)[1][:, :, 0], dtype=bool)


def agreement(known: Array, labels: NDArray[np.int8], new: Array, level: float, by_class: bool) -> float:
    """Share of rows whose set is MAPIE's. Where MAPIE's is empty, ours holds the likeliest class alone: that counts as the same.

    MAPIE has one threshold for all; a threshold a class comes from conformalising on the rows of that class alone.
    """
    names = [str(k) for k in range(known.shape[1])]
    ones = np.ones(len(known))
    limits = conformal.thresholds(known, labels, ones, names, level, pooled=0.0 if by_class else float("inf"))
    ours = conformal.in_sets(new, [limits[n] for n in names])
    if by_class:
        theirs = np.ones_like(ours)
        for k in range(known.shape[1]):
            own = labels == k
            # Below this many rows no finite threshold can promise the level; MAPIE refuses, we keep the class in every set.
            if int(np.ceil((own.sum() + 1) * level)) <= own.sum():
                theirs[:, k] = mapie_sets(known[own], labels[own], new, level)[:, k]
    else:
        theirs = mapie_sets(known, labels, new, level)
    top = np.eye(known.shape[1], dtype=bool)[new.argmax(axis=1)]
    return float((ours == (theirs | top)).all(axis=1).mean())


def one_a_specimen(table: Table, use: Bools) -> NDArray[np.intp]:
    """First used row of each specimen: MAPIE knows no weights."""
    rows = np.flatnonzero(use)
    return rows[np.unique(table.specimen[rows], return_index=True)[1]]


def real_agreement(table: Table, found: HeldOut, level: float, by_class: bool, seed: int = 0) -> tuple[float, int]:
    """(agreement, rows) on the held-out face probabilities of real panels: half of the authors known, the others new."""
    rows = one_a_specimen(table, table.headline & (table.view == 0) & (table.face >= 0))
    authors = np.unique(table.author[rows])
    half = np.random.default_rng(seed).permutation(authors)[: len(authors) // 2]
    known, new = rows[np.isin(table.author[rows], half)], rows[~np.isin(table.author[rows], half)]
    p = found.answers.face
    return agreement(p[known], table.face[known], p[new], level, by_class), len(new)


def from_other_half(
    table: Table, use: Bools, labels: NDArray[np.int8], p: Array, names: Sequence[str], level: float, seed: int = 0
) -> tuple[Bools, Bools]:
    """(rows, sets): sets of the used rows of half of the authors by thresholds, one a class, learnt on the other half."""
    authors = np.unique(table.author[use])
    half = np.random.default_rng(seed).permutation(authors)[: len(authors) // 2]
    known, new = use & np.isin(table.author, half), use & ~np.isin(table.author, half)
    weight = calibration.specimen_weight(np.ones(len(labels)), table.specimen, known)
    limits = conformal.thresholds(p, np.where(known, labels, -1).astype(np.int8), weight, names, level)
    return new, conformal.in_sets(p, [limits[n] for n in names])


def coverage_rows(
    table: Table, use: Bools, labels: NDArray[np.int8], sets: Bools, names: Sequence[str], rounds: int
) -> Iterator[str]:
    """A line for all classes and one a class: specimens, truth in set, exact interval over specimens, bootstrap over authors."""
    draws = Draws.of(table.author, table.specimen, rounds)
    held: Bools = sets[np.arange(len(sets)), np.maximum(labels, 0)].astype(bool)
    for name, rows in [("all", use), *((n, use & (labels == k)) for k, n in enumerate(names))]:
        n = len(np.unique(draws.specimen[rows]))
        if n == 0:
            continue
        weight = draws.weight(rows)
        share = mean(held, weight)
        low, high = interval(share)
        exact = exact_interval(round(share[0] * n), n)
        count = sets.sum(axis=1).astype(np.float64)
        size, full = (float(mean(v, weight)[0]) for v in (count, count == sets.shape[1]))
        yield (f"  {name:<15} {n:4d} specimens  in set {share[0]:.3f}  exact [{exact[0]:.2f}, {exact[1]:.2f}]  "
               f"authors [{low:.2f}, {high:.2f}]  size {size:.2f}  full {full:.2f}")


def simulation_lines(config: Config, rounds: int) -> Iterator[str]:
    """How the promise holds in simulation, from many specimens down to a handful."""
    settings: list[tuple[str, int | None, float, float]] = [
        *((f"{n} specimens a class, a threshold each", n, 0.0, 0.7) for n in (100, 20, 8, 3, 2)),
        ("8 a class, panels of one all alike", 8, 0.0, 1.0),
        ("320 in a natural mix, one threshold for all", None, float("inf"), 0.7),
        (f"320 in a natural mix, leaning on all as {config.pooled:g} (shipped)", None, config.pooled, 0.7),
    ]
    yield f"simulated, {rounds} rounds: {LEVEL:.0%} promised; coverage overall +- standard error, least and most of any class"
    for name, per_class, pooled, alike in settings:
        t = simulate(per_class, 320, pooled, rounds, alike=alike)
        yield (f"  {name:<52} {t.overall:.3f} +- {t.spread:.3f}  classes {t.coverage.min():.3f} to {t.coverage.max():.3f}  "
               f"size {t.size:.2f}  full {t.full:.2f}")


def lines(real: Table, rendered: Table, config: Config, workers: int, rounds: int) -> Iterator[str]:
    """Everything printed."""
    yield from simulation_lines(config, rounds)
    rng = np.random.default_rng(7)
    known, new = (make(rng.choice(len(MIX), n, p=MIX).astype(np.int8), rng) for n in (400, 400))
    made = [agreement(known.face, known.label, new.face, LEVEL, by_class) for by_class in (False, True)]
    ours, theirs = held_out(real, rendered, {"all": config}, workers)["all"]
    assert theirs is not None
    (one, n), (each, _) = (real_agreement(real, ours, LEVEL, by_class) for by_class in (False, True))
    yield (f"sets the same as MAPIE's: simulated {made[0]:.3f} (one threshold), {made[1]:.3f} (one a class); real panels, half "
           f"of the authors known, {n} new specimens: {one:.3f}, {each:.3f}")
    everything = np.ones(len(rendered), dtype=bool)
    for title, table, found, use in (
        (f"real, authors held out: {config.level:.0%} promised", real, ours, real.headline),
        ("rendered, pieces held out: nothing promised, thresholds rest on real photos", rendered, theirs, everything),
    ):
        face, edge = use & (table.view == 0) & (table.face >= 0), use & (table.view > 0) & (table.core >= 0)
        a = found.answers
        for what, rows, labels, sets, p, names in (("faces", face, table.face, found.face_set, a.face, FACES),
                                                   ("cores at edges", edge, table.core, found.core_set, a.core, CORES)):
            yield f"{what}, {title}"
            yield from coverage_rows(table, rows, labels, sets, names, rounds)
            if table is rendered:
                other, learnt = from_other_half(table, rows, labels, p, names, config.level)
                line = next(coverage_rows(table, other, labels, learnt, names, rounds))
                yield line.replace("all            ", "learnt on other", 1)


def main() -> None:
    """Print the check."""
    ap = argparse.ArgumentParser(description=__doc__)
    ap.add_argument("--workers", type=int, default=1, help="folds worked on at a time")
    ap.add_argument("--rounds", type=int, default=300, help="rounds of simulation and draws of a bootstrap")
    args = ap.parse_args()
    warnings.filterwarnings("ignore", message="The least populated class")
    real, rendered, _ = load_tables()
    if rendered is None:
        raise SystemExit("no rendered table is stored: measure renders first (see DEVELOPERS.md)")
    for line in lines(real, rendered, load_config(), args.workers, args.rounds):
        sys.stdout.write(line + "\n")


if __name__ == "__main__":
    main()

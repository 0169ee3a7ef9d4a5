"""Every model on every set of inputs, each author's panels judged by one that never saw the author.

Only the step from numbers to evidence differs between models: priors, table of cores, trust in what looks unlike anything taught,
what was located, and the judging of face and core together are the shipped classifier's for all. Settings and temperature are
learnt on inner folds, so that no model is worse off for shouting alone.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from training import calibration, stacking
from training.config_file import Config, ExpertSettings
from training.experts import Array, Expert, balanced, mixed_weight
from training.fit import Fitted, columns, combine, fit, judging_use, located_terms, teaching_weight
from training.model_table_candidates import Candidate, Evidence, Numbers, Settings, candidates
from training.tables import Table
from vision.inference import evidence, joint
from vision.inference.model import TARGETS

SHIPPED = "stacked experts (shipped)"
NET = "net_"
QUESTIONS = ("face", "core")
#: Decibans in a nat.
DECIBANS = 10 / np.log(10)
Memo = dict[tuple[str, str], tuple[Expert, Array]]


@dataclass(frozen=True)
class Inputs:
    """What a model may read. `config`: the experts that read no more than that."""

    name: str
    looks: bool
    net: bool
    config: Config

    def columns(self, table: Table, target: str) -> list[int]:
        """Columns of the features asked about a target, in the order of the table."""
        found = {i for s in self.config.experts if not s.crops and target in s.targets for i in columns(table, s)}
        return sorted(found)

    def numbers(self, table: Table, target: str) -> Numbers:
        """(n, k) features, then numbers of the looks."""
        parts = [table.values[:, self.columns(table, target)]]
        if self.looks:
            parts.append(table.looks.astype(np.float32).reshape(len(table), -1))
        return np.hstack(parts).astype(np.float32)


def input_sets(table: Table, config: Config) -> tuple[Inputs, ...]:
    """With and without looks and, where the table has features of a net, with and without them; the fullest is first."""
    net = tuple(str(n) for n in table.names if str(n).startswith(NET))
    sets = []
    for with_net in (True, False) if net else (False,):
        for with_looks in (True, False):
            experts = tuple(e for e in _kept(table, config, () if with_net else net) if with_looks or not e.crops)
            name = " + ".join(["measured", *["looks"] * with_looks, *["net"] * with_net])
            sets.append(Inputs(name, with_looks, with_net, replace(config, experts=experts)))
    return tuple(sets)


def _kept(table: Table, config: Config, dropped: tuple[str, ...]) -> Iterator[ExpertSettings]:
    """Experts without the dropped features, under another name where that changes them; none that would have nothing to read."""
    for e in config.experts:
        if e.crops or not dropped:
            yield e
            continue
        less = replace(e, dropped=(*e.dropped, *dropped))
        before, after = columns(table, e), columns(table, less)
        if after:
            yield e if before == after else replace(less, name=f"{e.name}_less")


@dataclass(frozen=True, eq=False)
class Answered:
    """Held-out answers of one model: `face` (n, 6), `core` (n, 4); `gap` (n,): see `adding_gap`."""

    face: Array
    core: Array
    gap: Array


def groups(names: NDArray[np.str_]) -> NDArray[np.intp]:
    """(features,) number of the group that each feature's evidence is shown under."""
    from vision import measure

    group = {f.name: f.group for f in measure.schema()}
    return np.unique([group.get(str(n), str(n)) for n in names], return_inverse=True)[1]


def adding_gap(say: Callable[[Table], Array], table: Table, seed: int) -> Array:
    """(n,) how far evidence is from adding up over groups, decibans: 0 where each adds its own part whatever the others say.

    Rows a and b swap half of their groups: for a sum of parts f(a) + f(b) = f(mixed) + f(the other mixed) in every class.
    """
    rng = np.random.default_rng(seed)
    other = rng.permutation(len(table))
    at = groups(table.names)
    swap = rng.random((len(table), at.max() + 2)) < 0.5
    by_feature, looks = swap[:, at], swap[:, -1][:, None, None]
    second = table.rows(other)

    def mixed(a: Table, b: Table) -> Table:
        return replace(a, values=np.where(by_feature, b.values, a.values), looks=np.where(looks, b.looks, a.looks))

    off = say(mixed(table, second)) + say(mixed(second, table)) - say(table) - say(second)
    return np.asarray(np.abs(off).max(axis=1) * DECIBANS)


def learn(
    candidate: Candidate, inputs: Inputs, target: str, real: Table, rendered: Table | None, config: Config, settings: Settings,
    offset: Array, keep: Array,
) -> Evidence:
    """A candidate's evidence about a target with the setting and the temperature that inner folds like best.

    `offset` (n, classes): log of what is known of each real row without evidence; `keep` (n,): share of evidence kept.
    """
    classes = len(TARGETS[target])
    share = config.rendered[target]
    tables = [real] if rendered is None or share == 0 else [real, rendered]
    labels = np.concatenate([t.labels(target) for t in tables])
    x = np.concatenate([inputs.numbers(t, target) for t in tables])
    plain = len(inputs.columns(real, target))
    # A hidden core counts a twentieth for the experts; here it is left out, which saves most of the time.
    asked = [(t.labels(target) >= 0) & ((target != "core") | (t.core_visible == 0)) for t in tables]
    base = [np.where(a, teaching_weight(t, target), 0.0) for t, a in zip(tables, asked, strict=True)]

    def taught(left_out: NDArray[np.bool_]) -> list[Evidence]:
        kept = [np.where(left_out, 0.0, base[0]), *base[1:]]
        w = mixed_weight([t.labels(target) for t in tables], kept, [1.0, share][: len(tables)], classes)
        used = w > 0
        return candidate.fit(x[used], labels[used], w[used] / w[used].sum(), classes, plain)

    held: list[Array] = []
    for fold in stacking.author_folds(real.author, real.face, settings.inner_folds, config.seed):
        found = taught(fold)
        held = held or [np.zeros((len(real), classes)) for _ in found]
        for out, say in zip(held, found, strict=True):
            out[fold] = say(x[: len(real)][fold])
    y = real.labels(target)
    use = calibration.specimen_weight(real.weight.astype(np.float64), real.specimen, judging_use(real, target))
    even = np.zeros((len(real), classes))
    offsets = [(offset, use), (even, balanced(y, use, classes))]  # two priors that must both be met, as for the shipped weights
    twice = [np.concatenate([y] * 2), np.concatenate([w / w.sum() for _, w in offsets]), np.concatenate([o for o, _ in offsets])]
    best: tuple[float, int, float] | None = None
    for n, out in enumerate(held):
        scaled = np.concatenate([out * keep[:, None]] * 2)
        t = calibration.temperature(scaled, *twice)
        known = (twice[0] >= 0) & (twice[1] > 0)
        said = joint.normalise(twice[2] + scaled / t)[np.arange(len(scaled)), np.maximum(twice[0], 0)]
        loss = float(-(twice[1] * np.log(np.maximum(said, 1e-300)))[known].sum())
        if best is None or loss < best[0]:
            best = (loss, n, t)
    assert best is not None
    say, t = taught(np.zeros(len(real), dtype=bool))[best[1]], best[2]
    return lambda v: say(v) / t


def _fold(job: tuple[Table, Table | None, Config, Settings, NDArray[np.bool_], int]) -> dict[tuple[str, str], Answered]:
    real, rendered, config, settings, test, number = job
    warnings.filterwarnings("ignore", message="The least populated class")
    memo: Memo = {}
    seen, unseen = real.rows(~test), real.rows(test)
    out: dict[tuple[str, str], Answered] = {}
    for inputs in input_sets(real, config):
        fitted = fit(seen, rendered, inputs.config, memo)

        def shipped(table: Table, target: str = "face", m: Fitted = fitted, c: Config = inputs.config) -> Array:
            return evidence.terms(m.log_probs(table, c, target), m.weights[target]).sum(axis=1)

        terms = {t: shipped(unseen, t) for t in TARGETS}
        distance = fitted.distance(unseen, inputs.config)
        located = located_terms(unseen, config)
        answers = combine(terms, distance, fitted, located)
        out[SHIPPED, inputs.name] = Answered(answers.face, answers.core, adding_gap(shipped, unseen, number))
        keep = evidence.trust(fitted.distance(seen, inputs.config), fitted.limit)
        face = np.log(fitted.priors["face"])
        core = np.log(np.where(seen.face[:, None] >= 0, fitted.core_table[np.maximum(seen.face, 0)] + 1e-3, 0.25))
        for candidate in candidates(settings, config.seed):
            say = {t: learn(candidate, inputs, t, seen, rendered, config, settings, o, keep)
                   for t, o in (("face", np.tile(face, (len(seen), 1))), ("core", core))}
            theirs = {**terms, **{t: say[t](inputs.numbers(unseen, t)) for t in QUESTIONS}}
            answers = combine(theirs, distance, fitted, located)

            def alone(table: Table, f: Evidence = say["face"], i: Inputs = inputs) -> Array:
                return f(i.numbers(table, "face"))

            out[candidate.name, inputs.name] = Answered(answers.face, answers.core, adding_gap(alone, unseen, number))
    return out


def held_out(
    real: Table, rendered: Table | None, config: Config, settings: Settings, workers: int = 1
) -> dict[tuple[str, str], Answered]:
    """(model, inputs) -> answers to all real rows by held-out author, on the outer folds of `training.heldout`."""
    tests = list(stacking.author_folds(real.author, real.face, config.outer_folds, config.seed + 1))
    jobs = [(real, rendered, config, settings, test, n) for n, test in enumerate(tests)]
    if workers > 1:
        with ProcessPoolExecutor(max_workers=workers) as pool:
            found = list(pool.map(_fold, jobs))
    else:
        found = [_fold(job) for job in jobs]
    out = {}
    for key in found[0]:
        parts = {}
        for name in ("face", "core", "gap"):
            first: Array = getattr(found[0][key], name)
            whole = np.zeros((len(real), *first.shape[1:]))
            for test, f in zip(tests, found, strict=True):
                whole[test] = getattr(f[key], name)
            parts[name] = whole
        out[key] = Answered(**parts)
    return out

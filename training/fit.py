"""Fit the whole classifier on one set of panels: experts, their weights, tables, sets and the rule for deciding.

Everything after the experts is learnt from what experts say about authors they were not taught on (inner folds), so the
same function gives the shipped model and, called on part of the authors, honest figures on the rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training import calibration, conformal, stacking, unlike_directions
from training.config_file import Config, ExpertSettings
from training.experts import Array, Expert, balanced, fit_expert, mixed_weight
from training.tables import Table, crops
from vision.inference import evidence, joint, located
from vision.inference.decide import Rule
from vision.inference.model import TARGETS

#: Panels whose core is hidden say little about how cores look, but something; they count this much for the core's experts.
HIDDEN_CORE_WEIGHT = 0.05
Groups = dict[str, NDArray[np.intp]]


@dataclass(frozen=True, eq=False)
class Answers:
    """What a fitted classifier says of n panels under the reference prior. `visible` (n,); distributions (n, classes)."""

    face: Array
    core: Array
    view: Array
    visible: Array
    substrate: Array
    unlike: Array


@dataclass(frozen=True, eq=False)
class Fitted:
    """All that the model files hold. `experts`, `weights`: by target; `priors`: (target -> (classes,)) of the reference
    mix; `core_table` (6, 4); `centre`, `spread` (crops * dims,), `directions` (crops * dims, kept) and `quantiles` of the
    distance; `sets`: thresholds."""

    experts: dict[str, list[Expert]]
    weights: dict[str, Array]
    priors: dict[str, Array]
    core_table: Array
    centre: Array
    spread: Array
    directions: Array
    quantiles: Array
    limit: float
    sets: dict[str, dict[str, float]]
    rule: Rule
    specimens: int

    def log_probs(self, table: Table, config: Config, target: str) -> Array:
        """(n, experts, classes)."""
        pairs = zip(config.experts, self.experts[target], strict=True)
        return np.stack([e.log_probs(numbers(table, s)) for s, e in pairs], axis=1)

    def answers(self, table: Table, config: Config) -> Answers:
        """Judge every row, as `vision.inference.Model.judge` does one."""
        terms = {t: evidence.terms(self.log_probs(table, config, t), self.weights[t]).sum(axis=1) for t in TARGETS}
        return combine(terms, self.distance(table, config), self, located_terms(table, config))

    def distance(self, table: Table, config: Config) -> Array:
        """(n,) distances to what was taught, see `look_distance`."""
        return look_distance(table, config, self.centre, self.spread, self.directions)


def numbers(table: Table, settings: ExpertSettings) -> NDArray[np.float32]:
    """What one expert reads: (n, k) features of its group, or looks of its crops side by side."""
    if settings.crops:
        at = [crops().index(c) for c in settings.crops]
        return table.looks[:, at].astype(np.float32).reshape(len(table), -1)
    return table.values[:, columns(table, settings)]


def columns(table: Table, settings: ExpertSettings) -> list[int]:
    """Columns of a feature expert, without the dropped ones."""
    from vision import measure

    group = {f.name for f in measure.schema() if f.group == settings.kind} - set(settings.dropped)
    return [i for i, name in enumerate(table.names) if str(name) in group]


def look_distance(table: Table, config: Config, centre: Array, spread: Array, directions: Array) -> Array:
    """Root mean square along the leading directions of the looks: 1 is ordinary (`training.unlike_directions`)."""
    return unlike_directions.distance(_leading_looks(table, config), centre, spread, directions)


def _leading_looks(table: Table, config: Config) -> Array:
    """(n, crops * dims)."""
    return table.looks[:, :, : config.distance_dims].astype(np.float64).reshape(len(table), -1)


def located_terms(table: Table, config: Config) -> Array:
    """(n, 6) face terms of what was located on each panel, see `vision.inference.located`."""
    values = {str(name): table.values[:, i].astype(np.float64) for i, name in enumerate(table.names)}
    out = np.zeros((len(table), len(TARGETS["face"])))
    for kind, terms in located.face_terms(values).items():
        if kind in config.located:
            out += terms
    return out


def combine(terms: dict[str, Array], distance: Array, m: Fitted, found: Array | None = None) -> Answers:
    """Summed evidence by target, (n, classes), and located evidence on faces `found` to answers under the reference prior."""
    keep = evidence.trust(distance, m.limit)[:, None]
    chance = {t: joint.normalise(np.log(m.priors[t]) + keep * terms[t]) for t in ("view", "core_visible")}
    visible = chance["core_visible"][:, 0]
    table = joint.log_table(m.core_table)
    core_terms = keep * terms["core"] * joint.shown(visible)[:, None]
    face_terms = keep * terms["face"] + (0.0 if found is None else found)
    weights = joint.joint_log(np.log(m.priors["face"]), table, face_terms, core_terms)
    face, core = joint.margins(weights)
    unlike = np.interp(distance, m.quantiles, np.linspace(0, 1, len(m.quantiles)))
    return Answers(face, core, chance["view"], visible, joint.substrates(weights), unlike)


def teaching_weight(table: Table, target: str) -> Array:
    """Weight of each row for the experts of a target before classes are evened out."""
    w = table.shared_weight
    if target == "core":
        w = w * np.where(table.core_visible == 0, 1.0, HIDDEN_CORE_WEIGHT)
    return w


def judging_use(table: Table, target: str) -> NDArray[np.bool_]:
    """Rows that weights and calibration of a target are learnt from."""
    known = table.labels(target) >= 0
    if target == "face":
        return known & (table.view == 0)
    return known & (table.core_visible == 0) if target == "core" else known


def fit_target(
    real: Table, rendered: Table | None, target: str, settings: ExpertSettings, folds: list[NDArray[np.bool_]], share: float = 0.0
) -> tuple[Expert, Array]:
    """One expert taught on everything, and (n real, classes) log probabilities by experts that did not see the author. An
    expert that is not asked this question says nothing: even odds.

    `share`: total weight of rendered panels, real ones have 1."""
    classes = len(TARGETS[target])
    tables = [real] if rendered is None or share == 0 else [real, rendered]
    shares = [1.0, share][: len(tables)]
    y = np.concatenate([t.labels(target) for t in tables])
    x = np.concatenate([numbers(t, settings) for t in tables])
    base = [np.where(t.labels(target) >= 0, teaching_weight(t, target), 0.0) for t in tables]
    reference = np.concatenate([base[0], *(np.zeros(len(t)) for t in tables[1:])])

    def fit(left_out: NDArray[np.bool_], near: Expert | None) -> Expert:
        kept = [np.where(left_out, 0.0, base[0]), *base[1:]]
        w = mixed_weight([t.labels(target) for t in tables], kept, shares, classes)
        seen = np.where(np.concatenate([left_out, np.zeros(len(y) - len(real), bool)]), 0.0, reference)
        return fit_expert(x, y, w, classes, penalty=settings.penalty, prepare=not settings.crops, reference=seen, near=near)

    whole = fit(np.zeros(len(real), dtype=bool), None)
    out = np.zeros((len(real), classes))
    if target not in settings.targets:
        silent = Expert(whole.preparation, np.zeros_like(whole.coef), np.zeros_like(whole.bias))
        return silent, silent.log_probs(x[: len(real)])
    for fold in folds:
        out[fold] = fit(fold, whole).log_probs(x[: len(real)][fold])
    return whole, out


def _stack(
    log_probs: Array, labels: NDArray[np.int8], weight: Array, offsets: list[tuple[Array, Array]], folds: list[NDArray[np.bool_]],
    strength: float, scale: Array,
) -> tuple[Array, Array]:
    """Weights of experts with the temperature taken in, and held-out evidence (n, classes) made with weights learnt on
    other authors. `offsets`: (offset (n, classes), row weight (n,)) pairs that must all be met, e.g. two priors."""
    twice = len(offsets)
    lp, y, s = np.concatenate([log_probs] * twice), np.concatenate([labels] * twice), np.concatenate([scale] * twice)
    offset = np.concatenate([o for o, _ in offsets])
    w = np.concatenate([v / v.sum() for _, v in offsets])

    def weights(left_out: NDArray[np.bool_]) -> Array:
        kept = np.where(np.concatenate([left_out] * twice), 0.0, w)
        return stacking.fit_weights(lp, y, kept, offset, strength=strength, start=0.0, scale=s)

    held = np.zeros((len(labels), log_probs.shape[-1]))
    for fold in folds:
        held[fold] = evidence.terms(log_probs[fold], weights(fold)).sum(axis=1)
    t = calibration.temperature(np.concatenate([held * scale[:, None]] * twice), y, w, offset)
    return weights(np.zeros(len(labels), dtype=bool)) / t, held / t


def fit(
    real: Table, rendered: Table | None, config: Config, memo: dict[tuple[str, str], tuple[Expert, Array]] | None = None
) -> Fitted:
    """Fit on real panels, with rendered ones helping the experts as far as the settings say.

    `memo` keeps fitted experts by (target, name) for further fits on the very same panels and settings.
    """
    memo = {} if memo is None else memo
    folds = list(stacking.author_folds(real.author, real.face, config.inner_folds, config.seed))
    experts: dict[str, list[Expert]] = {}
    outputs: dict[str, Array] = {}
    for target in TARGETS:
        for s in config.experts:
            if (target, s.name) not in memo:
                memo[target, s.name] = fit_target(real, rendered, target, s, folds, config.rendered[target])
        pairs = [memo[target, s.name] for s in config.experts]
        experts[target], outputs[target] = [p[0] for p in pairs], np.stack([p[1] for p in pairs], axis=1)
    uses = {t: calibration.specimen_weight(real.weight.astype(np.float64), real.specimen, judging_use(real, t)) for t in TARGETS}
    priors = {t: calibration.mix(np.where(uses[t] > 0, real.labels(t), -1), uses[t], len(c)) for t, c in TARGETS.items()}
    # The collection shows workshops and few prints; what stands in shops has not been counted. Half way is the hedge.
    priors["face"] = calibration.hedged(priors["face"], config.prior_power)
    # Photos are taken to show an edge or not as their taker likes; how often these ones do says nothing about the next.
    for target in ("view", "core_visible"):
        priors[target] = np.full(len(TARGETS[target]), 1 / len(TARGETS[target]))
    table = calibration.core_table(real.face, real.core, real.shared_weight)
    distance, centre, spread, directions = _distances(real, config, folds)
    quantiles = np.quantile(distance, np.linspace(0, 1, 41))
    limit = float(np.quantile(distance, config.trust_quantile))
    keep = evidence.trust(distance, limit)
    weights: dict[str, Array] = {}
    held: dict[str, Array] = {}
    for target in ("face", "view", "core_visible", "core"):
        classes, y, w = len(TARGETS[target]), real.labels(target), uses[target]
        even = np.zeros((len(real), classes))
        if target == "core":
            face = joint.normalise(np.log(priors["face"]) + keep[:, None] * held["face"])
            seen = joint.normalise(np.log(priors["core_visible"]) + keep[:, None] * held["core_visible"])[:, 0]
            offsets = [(np.log(face @ table), w), (even, balanced(y, w, classes))]
            scale = keep * joint.shown(seen)
        else:
            offsets = [(even + np.log(priors[target]), w), (even, balanced(y, w, classes))]
            scale = keep
        weights[target], held[target] = _stack(outputs[target], y, w, offsets, folds, config.stack_strength, scale)
    draft = Fitted(experts, weights, priors, table, centre, spread, directions, quantiles, limit, {}, Rule(1, 1, 1, 0),
                   len(np.unique(real.specimen)))
    said = combine(held, distance, draft, located_terms(real, config))
    sets = _sets(real, said, config)
    rule = _rule(real, said, sets, config)
    return Fitted(**{**vars(draft), "sets": sets, "rule": rule})


def _distances(real: Table, config: Config, folds: list[NDArray[np.bool_]]) -> tuple[Array, Array, Array, Array]:
    """Distances of each row from what other authors show; centre, spread and directions of all."""
    z = _leading_looks(real, config)
    out = np.zeros(len(real))
    for fold in folds:
        out[fold] = unlike_directions.distance(z[fold], *unlike_directions.leading(z[~fold], config.distance_directions))
    centre, spread, directions = (v.astype(np.float32).astype(np.float64)
                                  for v in unlike_directions.leading(z, config.distance_directions))
    return out, centre, spread, directions


def substrate_labels(table: Table) -> NDArray[np.int8]:
    """(n,) index of the substrate, -1 where face or core is unknown or the pair is none."""
    from vision import registry

    out = np.full(len(table), -1, dtype=np.int8)
    for i, (f, c) in enumerate(zip(table.face, table.core, strict=True)):
        if f >= 0 and joint.FACES[f] == "not_wood":
            out[i] = joint.SUBSTRATES.index("not_wood")
        elif f >= 0 and c >= 0 and (joint.FACES[f], joint.CORES[c]) in registry.SUBSTRATE_OF:
            out[i] = joint.SUBSTRATES.index(registry.SUBSTRATE_OF[joint.FACES[f], joint.CORES[c]])
    return out


def _sets(real: Table, said: Answers, config: Config) -> dict[str, dict[str, float]]:
    weight = real.weight.astype(np.float64)
    face_use, core_use = judging_use(real, "face"), judging_use(real, "core")
    substrate = substrate_labels(real)

    def limits(p: Array, y: NDArray[np.int8], use: NDArray[np.bool_], names: tuple[str, ...], pooled: float) -> dict[str, float]:
        w = calibration.specimen_weight(weight, real.specimen, use)
        return conformal.thresholds(p, np.where(use, y, -1), w, names, config.level, pooled=pooled)

    return {
        "face": limits(said.face, real.face, face_use, joint.FACES, config.pooled),
        # Cores in view only, each by itself: what hides says little, and leaning on it broke the promise where one looks.
        "core": limits(said.core, real.core, core_use, joint.CORES, 0.0),
        # Too many substrates have a handful of specimens for a threshold each.
        "substrate": limits(said.substrate, substrate, substrate >= 0, joint.SUBSTRATES, float("inf")),
    }


def _rule(real: Table, said: Answers, sets: dict[str, dict[str, float]], config: Config) -> Rule:
    limits = {}
    for target, p in (("face", said.face), ("core", said.core)):
        names = TARGETS[target]
        single = conformal.in_sets(p, [sets[target][c] for c in names]).sum(axis=1) == 1
        use = judging_use(real, target)
        w = calibration.specimen_weight(real.weight.astype(np.float64), real.specimen, use) * single
        right = p.argmax(axis=1) == real.labels(target)
        limits[target] = calibration.least_probability(p.max(axis=1), right, w, target=config.right_when_decided)[0]
    return Rule(limits["face"], limits["core"], config.unlike, config.short_px)

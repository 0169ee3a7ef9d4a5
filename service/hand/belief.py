"""What is believed of one part: where it starts from, what was answered, and what that makes of it.

Weights add up as logarithms. Answers about the same thing do not count in full twice: of each group the strongest counts
whole, each further one with a share; what a photo verdict has used already counts with a share. How often a material gives
an answer is an estimate, so every result is a range: the strengths are drawn anew many times, each by itself and all
together. Nothing here has been calibrated on confirmed pieces, and the words say so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from service.hand.checks import CANNOT_SAY, NOT_LOOKED, SUBSTRATES, Rules
from vision import registry
from vision.errors import UsageError

Array = NDArray[np.float64]
DRAWS, SEED = 600, 1
#: Least chance that any substrate starts with: a photo verdict never rules out what a hand may find.
FLOOR = 0.002
WEIGHED = "weigh"
_PAIR = {s: pair for pair, s in registry.SUBSTRATE_OF.items() if s != "not_wood"}
FACE_OF = {s: _PAIR[s][0] if s in _PAIR else "not_wood" for s in SUBSTRATES}
CORE_OF = {s: _PAIR[s][1] if s in _PAIR else None for s in SUBSTRATES}
FACES, CORES = tuple(registry.FACES), tuple(registry.CORES)
_FACE = np.array([[float(FACE_OF[s] == f) for f in FACES] for s in SUBSTRATES])
_CORE = np.array([[float(CORE_OF[s] == c) for c in CORES] for s in SUBSTRATES])


@dataclass(frozen=True)
class Start:
    """Where a part starts from. `substrates`: probability of each; `words`: what they are; `cues`: what a photo verdict used;
    `faces`, `cores`: what it left open, at its own calibrated level; empty without a photo."""

    substrates: Mapping[str, float]
    words: str
    cues: tuple[str, ...] = ()
    faces: tuple[str, ...] = ()
    cores: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if set(self.substrates) != set(SUBSTRATES) or abs(sum(self.substrates.values()) - 1) > 1e-3:
            raise UsageError("start", "the chances of the materials are not complete or do not add up to 1.",
                             "Give an assessment printed by: grainassay look --json")
        object.__setattr__(self, "substrates", MappingProxyType(dict(self.substrates)))

    @property
    def vector(self) -> Array:
        """(substrates,) probabilities, none below FLOOR."""
        v = np.array([max(self.substrates[s], FLOOR) for s in SUBSTRATES])
        return np.asarray(v / v.sum())


@dataclass(frozen=True)
class Weight:
    """One answer as it counts. `logs`: (substrates,) its log likelihoods, already times `share` (1: counts whole); `why`: why not
    whole, or empty."""

    check: str
    answer: str
    logs: Array
    share: float
    why: str


@dataclass(frozen=True)
class Range:
    """`middle`: with the estimates as they stand; `low`, `high`: nine in ten when they are doubted."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class Fused:
    """A part after its answers. `faces`, `cores`: ranges (cores given that it is a furniture board); `face`, `core`: named,
    or None; `faces_left`, `cores_left`: not ruled out; `moved`: check -> face -> change of its probability that goes if the
    answer goes."""

    start: Start
    weights: tuple[Weight, ...]
    substrates: Mapping[str, float]
    faces: Mapping[str, Range]
    cores: Mapping[str, Range]
    face: str | None
    core: str | None
    faces_left: tuple[str, ...]
    cores_left: tuple[str, ...]
    moved: Mapping[str, Mapping[str, float]] = field(default_factory=dict)


def _normal(logs: Array) -> Array:
    p = np.exp(logs - logs.max(axis=-1, keepdims=True))
    return np.asarray(p / p.sum(axis=-1, keepdims=True))


def _strength(logs: Array) -> float:
    return float(logs.max() - logs.min())


def by_core(likelihoods: Mapping[str, float], most: float) -> Array:
    """(substrates,) log likelihoods of something that speaks of the core alone, as weight does, held to `most` to 1."""
    best = max(likelihoods.values())
    known = {c: np.log(max(v / best, 1 / most)) for c, v in likelihoods.items()}
    middle = float(np.mean(list(known.values())))
    logs = np.array([middle if (c := CORE_OF[s]) is None else known[c] for s in SUBSTRATES])
    return np.asarray(logs - logs.mean())


def weights_of(
    start: Start, answers: Mapping[str, str], rules: Rules, mass: Mapping[str, float] | None = None
) -> tuple[Weight, ...]:
    """Every answer with its weight, in the order given. `mass`: core -> likelihood of what the scale said.

    Raises
    ------
    UsageError
        for a check or an answer that is not known.
    """
    raw: list[tuple[str, str, Array, str, bool, tuple[str, ...]]] = []
    for key, answer in answers.items():
        check = rules.checks.get(key)
        if check is None:
            raise UsageError(key, "is no check that is known.", "Use one of: " + ", ".join(rules.checks) + ".")
        if answer in (CANNOT_SAY, NOT_LOOKED):
            continue
        if answer not in [a.key for a in check.answers]:
            raise UsageError(key, f"{answer!r} is no answer to it.",
                             "Use one of: " + ", ".join([*(a.key for a in check.answers), CANNOT_SAY]) + ".")
        raw.append((key, answer, check.column(answer), check.group, check.decisive, check.photo_cues))
    if mass is not None:
        raw.append((WEIGHED, "on a scale", by_core(mass, rules.most), "mass", False, ()))
    strongest: dict[str, int] = {}
    for k, row in enumerate(raw):
        if row[3] not in strongest or _strength(row[2]) > _strength(raw[strongest[row[3]]][2]):
            strongest[row[3]] = k
    out = []
    for k, (key, answer, logs, group, decisive, cues) in enumerate(raw):
        share, why = 1.0, ""
        if strongest[group] != k:
            share, why = rules.within_group, f"repeats '{raw[strongest[group]][0]}'"
        elif not decisive and set(cues) & set(start.cues):
            share, why = rules.seen_on_photo, "the photo verdict has used the same"
        out.append(Weight(key, answer, logs * share, share, why))
    return tuple(out)


def fuse(start: Start, answers: Mapping[str, str], rules: Rules, *, mass: Mapping[str, float] | None = None) -> Fused:
    """Photo and answers put together. The order of the answers does not matter."""
    weights = weights_of(start, answers, rules, mass)
    begin = np.log(start.vector)
    stack = np.array([w.logs for w in weights]).reshape(len(weights), len(SUBSTRATES))
    middle = _normal(begin + stack.sum(axis=0))
    rng = np.random.default_rng(SEED)
    together = rules.doubt_all * rng.standard_normal(DRAWS)
    strengths = [np.exp(_doubt(w, rules, together)) for w in weights]
    drawn = _normal(begin + np.stack(strengths, axis=1) @ stack) if weights else np.repeat(middle[None], DRAWS, axis=0)
    faces = _ranges(middle @ _FACE, drawn @ _FACE, FACES)
    board, boards = middle @ _CORE, drawn @ _CORE
    cores = _ranges(board / board.sum(), boards / boards.sum(axis=1, keepdims=True), CORES)
    # By the answers alone: what photos left open needs hands to speak against it, however likely the rest was to begin with.
    alone = np.stack(strengths, axis=1) @ stack if weights else np.zeros((DRAWS, len(begin)))
    face, faces_left = _called(faces, _kept(alone, middle, _FACE, FACES, start.faces, rules), rules)
    core, cores_left = _called(cores, _kept(alone, middle, _CORE, CORES, start.cores, rules), rules)
    moved = {}
    for k, w in enumerate(weights):
        without = _normal(begin + np.delete(stack, k, axis=0).sum(axis=0)) @ _FACE
        moved[w.check] = dict(zip(FACES, (middle @ _FACE - without).tolist(), strict=True))
    return Fused(start, weights, dict(zip(SUBSTRATES, middle.tolist(), strict=True)), faces, cores, face, core, faces_left,
                 cores_left, moved)


def _doubt(weight: Weight, rules: Rules, together: Array) -> Array:
    """(draws,) logarithm of the strength of one answer. One stream for each check by its name, so that the doubt of one does not
    hang on which others were answered; what shows the make itself is doubted little."""
    own = np.random.default_rng([SEED, *weight.check.encode()]).standard_normal(DRAWS)
    if weight.check in rules.checks and rules.checks[weight.check].decisive:
        return np.asarray(rules.doubt_decisive * own)
    return np.asarray(rules.doubt_each * own + together)


def _ranges(middle: Array, drawn: Array, names: Sequence[str]) -> dict[str, Range]:
    low, high = np.quantile(drawn, (0.05, 0.95), axis=0)
    return {n: Range(min(float(low[k]), float(middle[k])), float(middle[k]), max(float(high[k]), float(middle[k])))
            for k, n in enumerate(names)}


def _kept(alone: Array, middle: Array, member: Array, names: Sequence[str], left: Sequence[str], rules: Rules) -> set[str]:
    """Of what photos left open, that which the answers alone do not tell against: (draws, substrates) their log likelihoods."""
    if not left:
        return set()
    inside = member / np.maximum((middle[:, None] * member).sum(axis=0), 1e-300)
    likely = np.exp(alone - alone.max(axis=1, keepdims=True)) @ (middle[:, None] * inside)
    leader = int(np.argmax(middle @ member))
    against = np.quantile(likely[:, [leader]] / np.maximum(likely, 1e-300), 0.05, axis=0)
    return {n for k, n in enumerate(names) if n in left and k != leader and against[k] < rules.against_photo}


def _called(ranges: Mapping[str, Range], kept: set[str], rules: Rules) -> tuple[str | None, tuple[str, ...]]:
    """(the one whose low end suffices and beside which nothing is kept, those not ruled out, likeliest first)."""
    left = sorted((n for n, r in ranges.items() if r.high >= rules.ruled_out or n in kept), key=lambda n: -ranges[n].middle)
    named = next((n for n, r in ranges.items() if r.low >= rules.named and not kept - {n}), None)
    return named, tuple(left) or (max(ranges, key=lambda n: ranges[n].middle),)

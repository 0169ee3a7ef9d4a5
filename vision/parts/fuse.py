"""One verdict for one part from several sightings of it.

Model. Let S be the substrate (what the part is made of), pi(S) the prior the panels were judged with and p_i(S) the
verdict of sighting i. The sighting's evidence is L_i(S) = p_i(S) / pi(S). Sightings are of two kinds: *broad* (face,
whole, unknown), which answer for the face, and *narrow* (edge, end, joint), which answer for the core.

Within a kind the sightings show the same surface, often in the same light through the same lens: they are far from
independent. Their evidence is pooled as a geometric mean (log-opinion pool), each weighted by how many bits its verdict
holds over the prior, so that a blurred shot does not water down a sharp one, and raised to an effective number of
sightings n / (1 + (n - 1) r), n being Kish's number for the weights and r the dependence. Identical sightings can
therefore never carry more than 1 / r times the log evidence of one. How dependent real sightings are has not been
measured, so r is 1: more photos of one surface can change a verdict but never make it surer than the surest of them.

Between the kinds evidence multiplies: given the substrate, how a face looks and how a raw edge looks are taken to be
independent, the usual assumption of a naive Bayes rule. That assumption has not been measured either, so the product
gives the direction only: it is tempered until neither face nor core is surer than in the surest single sighting.

A part seen once keeps its panel's verdict to the last digit.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision import registry
from vision.types import Panel, Verdict

#: Assumed dependence of sightings of one kind (0 independent, 1 copies of each other). Not measured: the cautious end.
DEPENDENCE = 1.0
#: No sighting may rule a substrate out alone: probabilities are floored here before logarithms are taken.
FLOOR = 1e-4
#: Weight, in bits, of a sighting that says nothing over the prior.
MIN_WEIGHT = 0.01

#: Views whose question is the core; on all others it is the face.
NARROW = ("edge", "end", "joint")
_PAIRS = tuple(registry.SUBSTRATE_OF.items())
_SUBSTRATES = tuple(registry.SUBSTRATES)
_FACE_OF = {s: f for (f, _), s in _PAIRS}
_CORE_OF = {s: c for (f, c), s in _PAIRS if f != "not_wood"}


@dataclass(frozen=True, eq=False)
class Sighting:
    """One judged panel on its way into a part. `view`: key of registry.VIEWS; `colour`: mean CIE L*a*b* or None."""

    photo: str
    panel: Panel
    view: str
    verdict: Verdict
    colour: tuple[float, float, float] | None = None

    @property
    def narrow(self) -> bool:
        """True for an edge, end or joint."""
        return self.view in NARROW


def substrate_prior(face: Mapping[str, float], core: Mapping[str, float]) -> dict[str, float]:
    """Prior over substrates with the given face margin; cores keep their ratio among those a face can have."""
    out = dict.fromkeys(_SUBSTRATES, 0.0)
    for f, p in face.items():
        cores = [c for (g, c), _ in _PAIRS if g == f]
        total = sum(core[c] for c in cores)
        for c in cores:
            share = core[c] / total if total > 0 else 1 / len(cores)
            out[registry.SUBSTRATE_OF[f, c]] += p * share
    return out


def face_margin(substrate: Mapping[str, float]) -> dict[str, float]:
    """Face distribution implied by a substrate distribution."""
    out = dict.fromkeys(registry.FACES, 0.0)
    for s, p in substrate.items():
        out[_FACE_OF[s]] += p
    return out


def core_margin(substrate: Mapping[str, float]) -> dict[str, float]:
    """Core distribution implied by a substrate distribution, given that the thing is a furniture board."""
    out = dict.fromkeys(registry.CORES, 0.0)
    for s, core in _CORE_OF.items():
        out[core] += substrate[s]
    total = sum(out.values())
    return {c: p / total for c, p in out.items()} if total > 0 else dict.fromkeys(out, 1 / len(out))


def effective_number(weights: Sequence[float], dependence: float = DEPENDENCE) -> float:
    """How many independent sightings these are worth: Kish's number n = (sum w)^2 / sum w^2, then n / (1 + (n-1) r)."""
    w = np.asarray(weights, dtype=float)
    if len(w) == 0 or bool((w <= 0).any()):
        raise ValueError("weights must be positive")
    n = float(w.sum() ** 2 / (w**2).sum())
    return n / (1 + (n - 1) * dependence)


def _logs(values: Mapping[str, float]) -> NDArray[np.float64]:
    p = np.maximum(np.array([values[s] for s in _SUBSTRATES]), FLOOR)
    return np.asarray(np.log(p / p.sum()))


def information(verdict: Mapping[str, float], prior: Mapping[str, float]) -> float:
    """What a verdict holds over the prior: Kullback-Leibler divergence, bits."""
    p, q = _logs(verdict), _logs(prior)
    return float(max(0.0, (np.exp(p) * (p - q)).sum()) / np.log(2))


def pool(
    verdicts: Sequence[Mapping[str, float]], weights: Sequence[float], prior: Mapping[str, float], dependence: float
) -> NDArray[np.float64]:
    """Pooled log evidence (log likelihood up to a constant) over registry.SUBSTRATES, in that order."""
    w = np.asarray(weights, dtype=float)
    evidence = np.stack([_logs(v) - _logs(prior) for v in verdicts])
    return np.asarray((w / w.sum()) @ evidence * effective_number(weights, dependence))


def _set(values: Mapping[str, float], level: float, also: set[str]) -> tuple[str, ...]:
    """Fewest likeliest classes that reach `level`, joined with `also`, in registry order."""
    chosen, total = set(also), 0.0
    for key in sorted(values, key=lambda k: -values[k]):
        if total >= level:
            break
        chosen.add(key)
        total += values[key]
    return tuple(k for k in values if k in chosen)


def _shared(sets: Sequence[tuple[str, ...]]) -> set[str]:
    return set.intersection(*(set(s) for s in sets)) if sets else set()


def _distribution(log: NDArray[np.float64]) -> dict[str, float]:
    p = np.exp(log - log.max())
    return dict(zip(_SUBSTRATES, (p / p.sum()).tolist(), strict=True))


def _tempered(log: NDArray[np.float64], prior: Mapping[str, float], verdicts: Sequence[Verdict]) -> dict[str, float]:
    """The strongest share of the evidence with which neither face nor core is surer than in the surest verdict."""
    start = _logs(prior)
    most_face = max(max(v.face.values()) for v in verdicts) + 1e-9
    most_core = max(max(v.core.values()) for v in verdicts) + 1e-9
    for share in np.linspace(1.0, 0.0, 201):
        out = _distribution(start + share * (log - start))
        if max(face_margin(out).values()) <= most_face and max(core_margin(out).values()) <= most_core:
            return out
    return _distribution(start)


def _decided(
    broad: Sequence[Sighting], narrow: Sequence[Sighting], face: Mapping[str, float], face_set: Sequence[str],
    core_set: Sequence[str], level: float,
) -> bool:
    """Whether a fused part is decided: its face where a face is in view, else its core.

    Pooling may sharpen numbers but never turns "cannot tell" into a decision: one sighting of the kind that answers must
    be decided, and no other against it. Only an edge, being evidence of another kind, can settle an open face, and then
    only when the face reaches the level of the sets.
    """
    speakers, asked, left = (broad, "face", face_set) if broad else (narrow, "core", core_set)
    answers = set()
    for s in speakers:
        values: Mapping[str, float] = getattr(s.verdict, asked)
        if not s.verdict.undecided:
            answers.add(max(values, key=values.__getitem__))
    if len(left) != 1:
        return False
    if answers:
        return answers == set(left)
    return bool(broad and narrow) and face[left[0]] >= level


def _reason(face_set: Sequence[str], undecided: Sequence[Verdict], face_asked: bool) -> str:
    """Why a part stays open: the commonest reason among its open sightings, else what its set of faces says."""
    counts = Counter(v.reason for v in undecided if v.reason is not None)
    if counts:
        return counts.most_common(1)[0][0]
    if not face_asked:
        return "weak_evidence"
    if set(face_set) == {"solid_wood", "veneer"}:
        return "plain_face"
    if "printed" in face_set and {"solid_wood", "veneer"} & set(face_set):
        return "print_or_wood"
    return "weak_evidence"


def fuse(
    sightings: Sequence[Sighting], *, prior: Mapping[str, float], dependence: float = DEPENDENCE
) -> Verdict:
    """Verdict of a part from its sightings.

    `prior`: substrate distribution the panels were judged with (see `substrate_prior`).
    Sets are the likeliest classes reaching the level, joined with every class that all sightings keep open.
    """
    if not sightings:
        raise ValueError("nothing to fuse")
    if len(sightings) == 1:
        return sightings[0].verdict
    broad = [s for s in sightings if not s.narrow]
    narrow = [s for s in sightings if s.narrow]
    log = _logs(prior)
    for kind in (broad, narrow):
        if kind:
            weights = [max(MIN_WEIGHT, information(s.verdict.substrate, prior)) for s in kind]
            log = log + pool([s.verdict.substrate for s in kind], weights, prior, dependence)
    substrate = _distribution(log)
    if broad and narrow:
        substrate = _tempered(log, prior, [s.verdict for s in sightings])
    face, core = face_margin(substrate), core_margin(substrate)
    verdicts = [s.verdict for s in sightings]
    level = min(v.level for v in verdicts)
    substrate_set = _set(substrate, level, _shared([v.substrate_set for v in verdicts]))
    possible = {_FACE_OF[s] for s in substrate_set}
    face_set = _set(face, level, _shared([s.verdict.face_set for s in broad or narrow]) & possible)
    core_set = _set(core, level, _shared([s.verdict.core_set for s in narrow or broad]))
    decided = _decided(broad, narrow, face, face_set, core_set, level)
    open_ = [s.verdict for s in broad or narrow if s.verdict.undecided]
    cues = [c for c in registry.CUES if c != "none" and any(c in v.cues for v in verdicts)]
    return Verdict(
        face=face, core=core, core_visible=max(v.core_visible for v in verdicts), substrate=substrate,
        face_set=face_set, core_set=core_set, substrate_set=substrate_set, level=level,
        undecided=not decided, reason=None if decided else _reason(face_set, open_, bool(broad)),
        cues=tuple(cues or ["none"]), findings=tuple(dict.fromkeys(f for v in verdicts for f in v.findings)),
    )

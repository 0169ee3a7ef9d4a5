"""One verdict for one part from several sightings of it.

Model. Let S be the substrate (what the part is made of), pi(S) the prior the panels were judged with and p_i(S) the
verdict of sighting i. The sighting's evidence is L_i(S) = p_i(S) / pi(S). Sightings are of two kinds: *broad* (face,
whole, unknown), which answer for the face, and *narrow* (edge, end, joint), which answer for the core.

Sightings of one thing are far from independent: multiplied, they would count the same look again and again. Their log
evidence is therefore pooled in three steps, each time as a mean raised to an effective number of sightings
n / (1 + (n - 1) r), with the dependence r of that step: panels of one photo, photos of one kind, the two kinds. Identical
sightings can never carry more than 1 / r times the log evidence of one.

The three r were measured on real specimens whose authors the classifier had not seen (`python -m training.fuse_scores`):
panels of one photo add nothing to each other (the log loss is least at r = 1), photos agree beyond the truth at about one half,
and an edge and a face of one specimen share more than they tell apart. Weighing sightings by how sure they are made the pool
worse, a surer verdict is not a truer one; so all count alike, but one that says next to nothing does not water down the others.

A photo handed in twice gives the same evidence twice: photos that agree to COPY_NATS in everything count as one.
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


@dataclass(frozen=True)
class Dependence:
    """How far sightings repeat each other (0 independent, 1 copies): `panels` of one kind on one photo, `photos` of one kind,
    `kinds`: broad and narrow sightings."""

    panels: float
    photos: float
    kinds: float

    def __post_init__(self) -> None:
        if not all(0 <= r <= 1 for r in (self.panels, self.photos, self.kinds)):
            raise ValueError(f"dependence lies between 0 and 1: {self}")


#: As measured, see above.
DEPENDENCE = Dependence(panels=1.0, photos=0.5, kinds=0.7)
#: Photos whose evidence differs nowhere by more than this (nats) count as one photo handed in twice: of 121 pairs of real photos
#: of one face the likest differ by 0.64 somewhere.
COPY_NATS = 0.3
#: No sighting may rule a substrate out alone: probabilities are floored here before logarithms are taken.
FLOOR = 1e-4
#: From so many bits over the prior on a sighting counts in full; one that says nothing keeps MIN_WEIGHT.
FULL_BITS, MIN_WEIGHT = 0.2, 0.01

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


def effective_number(weights: Sequence[float], dependence: float) -> float:
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


def pool(evidence: Sequence[NDArray[np.float64]], prior: Mapping[str, float], dependence: float) -> NDArray[np.float64]:
    """Pooled log evidence (log likelihood up to a constant) over registry.SUBSTRATES of several, each (substrates,)."""
    if len(evidence) == 1:
        return evidence[0]
    base = _logs(prior)
    bits = [information(_distribution(base + e), prior) for e in evidence]
    w = np.clip(np.array(bits) / FULL_BITS, MIN_WEIGHT, 1.0)
    return np.asarray((w / w.sum()) @ np.stack(evidence) * effective_number(w.tolist(), dependence))


def looks_of(sightings: Sequence[Sighting], prior: Mapping[str, float], dependence: Dependence) -> list[NDArray[np.float64]]:
    """Log evidence of each photo that shows the part, from sightings of one kind; copies of a photo count once."""
    base = _logs(prior)
    photos: dict[str, list[NDArray[np.float64]]] = {}
    for s in sightings:
        found = _logs(s.verdict.substrate) - base
        photos.setdefault(s.photo, []).append(found - found.mean())
    out: list[NDArray[np.float64]] = []
    for each in photos.values():
        pooled = pool(each, prior, dependence.panels)
        if not any(float(np.abs(pooled - other).max()) < COPY_NATS for other in out):
            out.append(pooled)
    return out


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
    sightings: Sequence[Sighting], *, prior: Mapping[str, float], dependence: Dependence = DEPENDENCE
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
    kinds = [pool(looks_of(kind, prior, dependence), prior, dependence.photos) for kind in (broad, narrow) if kind]
    substrate = _distribution(_logs(prior) + pool(kinds, prior, dependence.kinds))
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

"""How far sightings of one thing repeat each other, and what fusing them is worth: held-out evidence of real specimens and
rendered parts, and simulated evidence whose dependence is known.

Everything goes through `vision.parts.fuse`, the code that is used.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from training.next_gain_evidence import Evidence
from training.tables import Table
from vision import registry
from vision.inference.joint import CORES, FACES, SUBSTRATES
from vision.parts.fuse import DEPENDENCE, Dependence, Sighting, core_margin, face_margin, fuse, information
from vision.types import Panel, Verdict

Array = NDArray[np.float64]
STEPS = tuple(np.round(np.linspace(0, 1, 11), 1).tolist())
LEAST = 1e-6
NAIVE, COPIES = Dependence(0.0, 0.0, 0.0), Dependence(1.0, 1.0, 1.0)


@dataclass(frozen=True, eq=False)
class Group:
    """Sightings of one specimen. `owner`: author or piece that a bootstrap draws whole; `face`, `core`: the truth (core None
    where unknown); `prior`: substrates before looking."""

    owner: str
    sightings: tuple[Sighting, ...]
    face: str
    core: str | None
    prior: dict[str, float]

    @property
    def photos(self) -> int:
        """Photos it was seen on."""
        return len({s.photo for s in self.sightings})


def sighting(substrate: Array, photo: str, name: str, view: str, seen: float = 0.5) -> Sighting:
    """A sighting whose verdict is a substrate distribution (16,) and nothing else."""
    named = dict(zip(SUBSTRATES, substrate.tolist(), strict=True))
    verdict = Verdict(
        face=face_margin(named), core=core_margin(named), core_visible=seen, substrate=named, face_set=FACES, core_set=CORES,
        substrate_set=SUBSTRATES, level=0.9, undecided=True, reason="weak_evidence", cues=("none",))
    return Sighting(photo, Panel(name, photo, ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0))), view, verdict)


def groups_of(table: Table, said: Evidence, specimen: NDArray[np.str_] | None = None) -> list[Group]:
    """Rows of one specimen with one label of face, seen more than once. `specimen` (n,) names, '' = left out; by default the
    table's own."""
    names = table.specimen if specimen is None else specimen
    by: dict[str, list[int]] = {}
    for i, name in enumerate(names.tolist()):
        if name and table.face[i] >= 0 and table.view[i] >= 0:
            by.setdefault(name, []).append(i)
    out = []
    for rows in by.values():
        face = int(table.face[rows[0]])
        kept = [i for i in rows if int(table.face[i]) == face]
        cores = {int(table.core[i]) for i in kept}
        if len(kept) < 2:
            continue
        views = ["face" if table.view[i] == 0 else "edge" for i in kept]
        core = CORES[cores.pop()] if len(cores) == 1 and min(cores) >= 0 else None
        seen = tuple(sighting(said.substrate[i], str(table.photo[i]), f"x{i}", v, float(said.visible[i]))
                     for i, v in zip(kept, views, strict=True))
        prior = dict(zip(SUBSTRATES, said.prior[kept[0]].tolist(), strict=True))
        out.append(Group(str(table.author[kept[0]]), seen, FACES[face], core, prior))
    return out


def of_kind(groups: Sequence[Group], kind: str) -> list[Group]:
    """'panels': faces of one photo; 'photos': faces on several photos, one a photo; 'kinds': one face and one edge or end."""
    out = []
    for g in groups:
        broad = [s for s in g.sightings if not s.narrow]
        narrow = [s for s in g.sightings if s.narrow]
        first = {s.photo: s for s in reversed(broad)}
        if kind == "panels":
            most = max(first, key=lambda p: sum(s.photo == p for s in broad), default="")
            chosen = [s for s in broad if s.photo == most]
        elif kind == "photos":
            chosen = list(first.values())
        else:
            chosen = [broad[0], narrow[0]] if broad and narrow else []
        if len(chosen) > 1:
            out.append(replace(g, sightings=tuple(chosen)))
    return out


def nats(values: Array, truth: str, names: Sequence[str]) -> float:
    """Log loss of one distribution."""
    return -float(np.log(max(LEAST, values[list(names).index(truth)])))


def face_loss(g: Group, d: Dependence) -> float:
    """Log loss of the fused face."""
    return -float(np.log(max(LEAST, fuse(g.sightings, prior=g.prior, dependence=d).face[g.face])))


def core_loss(g: Group, d: Dependence) -> float:
    """Log loss of the fused core."""
    assert g.core is not None
    return -float(np.log(max(LEAST, fuse(g.sightings, prior=g.prior, dependence=d).core[g.core])))


def single_losses(g: Group, target: str = "face") -> tuple[float, float]:
    """(mean over sightings, of the surest sighting) log loss of a sighting alone."""
    truth = g.face if target == "face" else g.core
    assert truth is not None
    losses = [-float(np.log(max(LEAST, getattr(s.verdict, target)[truth]))) for s in g.sightings]
    bits = [information(s.verdict.substrate, g.prior) for s in g.sightings]
    return float(np.mean(losses)), losses[int(np.argmax(bits))]


def draws(owners: Sequence[str], rounds: int, seed: int = 0) -> Iterator[Array]:
    """(groups,) weights of bootstrap rounds that draw owners whole."""
    names, at = np.unique(np.array(owners), return_inverse=True)
    rng = np.random.default_rng(seed)
    for _ in range(rounds):
        yield np.bincount(rng.integers(0, len(names), len(names)), minlength=len(names))[at].astype(np.float64)


def spread(values: Array, owners: Sequence[str], rounds: int = 1000) -> tuple[float, float, float]:
    """(mean, low, high): 95 % bootstrap over owners."""
    found = [float(np.average(values, weights=w)) for w in draws(owners, rounds) if w.sum() > 0]
    low, high = np.quantile(found, [0.025, 0.975])
    return float(values.mean()), float(low), float(high)


def with_step(kind: str, r: float) -> Dependence:
    """The measured dependences with that of one kind replaced."""
    return replace(DEPENDENCE, **{kind: r})


def best_dependence(groups: Sequence[Group], kind: str, rounds: int = 1000) -> tuple[float, float, float, Array]:
    """(r of least log loss, 2.5 % and 97.5 % of the same over bootstraps, losses (groups, STEPS)). For 'kinds' face and core
    count alike."""
    def loss(g: Group, d: Dependence) -> float:
        return face_loss(g, d) + (core_loss(g, d) if kind == "kinds" and g.core is not None else 0.0)

    table = np.array([[loss(g, with_step(kind, r)) for r in STEPS] for g in groups])
    owners = [g.owner for g in groups]
    found = [STEPS[int((w @ table).argmin())] for w in draws(owners, rounds)]
    low, high = np.quantile(found, [0.025, 0.975])
    return STEPS[int(table.mean(axis=0).argmin())], float(low), float(high), table


def cross_fitted(table: Array, owners: Sequence[str], folds: int = 8) -> float:
    """Mean loss when each owner's r is the one that others' losses (groups, STEPS) ask for."""
    names, at = np.unique(np.array(owners), return_inverse=True)
    fold = (np.random.default_rng(3).permutation(len(names)) % folds)[at]
    out = np.zeros(len(table))
    for k in range(folds):
        mine = fold == k
        if mine.any():
            out[mine] = table[mine, int(table[~mine].mean(axis=0).argmin())]
    return float(out.mean())


def likeness(groups: Sequence[Group]) -> tuple[float, int]:
    """(correlation, pairs): how alike two sightings' face evidence is beyond the mean of their true face."""
    def log_face(s: Sighting, g: Group) -> Array:
        p = np.array([s.verdict.face[f] for f in FACES])
        q = np.array([face_margin(g.prior)[f] for f in FACES])
        e = np.log(np.maximum(p, LEAST)) - np.log(q)
        return np.asarray(e - e.mean())

    each = [np.stack([log_face(s, g) for s in g.sightings]) for g in groups]
    means = {f: np.mean([e.mean(axis=0) for e, g in zip(each, groups, strict=True) if g.face == f], axis=0) for f in FACES
             if any(g.face == f for g in groups)}
    common, own, pairs = [], [], 0
    for e, g in zip(each, groups, strict=True):
        rest = e - means[g.face]
        n = len(rest)
        products = rest @ rest.T
        common.append((products.sum() - np.trace(products)) / (n * (n - 1)))
        own.append(np.trace(products) / n)
        pairs += n * (n - 1) // 2
    return float(np.mean(common) / np.mean(own)), pairs


def stated_and_true(groups: Sequence[Group], d: Dependence) -> tuple[Array, Array]:
    """(groups,) leading face probability of the fused verdict, and whether it is right."""
    fused = [fuse(g.sightings, prior=g.prior, dependence=d).face for g in groups]
    top = [max(f, key=f.__getitem__) for f in fused]
    stated = np.array([f[t] for f, t in zip(fused, top, strict=True)])
    return stated, np.array([t == g.face for t, g in zip(top, groups, strict=True)])


def simulated(pieces: int, photos: int, r: float, strength: float, seed: int) -> list[Group]:
    """Pieces whose evidence is calibrated photo by photo and repeats itself by `r`.

    Each photo shows x = strength * (unit vector of the true face) + noise of unit variance, of which a share r is the
    piece's own and comes back on each of its photos. Its verdict is Bayes' rule for x alone. The right pool of n photos is then
    the mean of their evidence times n / (1 + (n - 1) r).
    """
    rng = np.random.default_rng(seed)
    cells = [[k for k, s in enumerate(SUBSTRATES) if _face_of(s) == f] for f in FACES]
    out = []
    for piece in range(pieces):
        face = int(rng.integers(len(FACES)))
        own = rng.normal(size=len(FACES))
        seen = []
        for photo in range(photos):
            x = np.sqrt(r) * own + np.sqrt(1 - r) * rng.normal(size=len(FACES))
            x[face] += strength
            p = np.exp(strength * x - (strength * x).max())
            p /= p.sum()
            whole = np.zeros(len(SUBSTRATES))
            for k, cell in enumerate(cells):
                whole[cell] = p[k] / len(cell)
            seen.append(sighting(whole, f"p{photo}", f"x{photo}", "face"))
        prior = {s: 1 / len(FACES) / len(next(c for c in cells if k in c)) for k, s in enumerate(SUBSTRATES)}
        out.append(Group(f"piece{piece}", tuple(seen), FACES[face], None, prior))
    return out


def _face_of(substrate: str) -> str:
    return next(f for (f, _), s in registry.SUBSTRATE_OF.items() if s == substrate)



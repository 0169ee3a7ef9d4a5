"""Foretold gain of a second photo against the gain it really brought, on parts that were seen twice.

The gain that really came is log2 of the probability of the true substrate after fusing (`vision.parts.fuse`) less before.
Tables are learnt without the author (or piece); verdicts are by classifiers that never saw it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training import next_gain as made
from training.fuse_dependence import Group, groups_of, spread
from training.next_gain_evidence import Evidence
from training.tables import Table
from vision import registry
from vision.inference.joint import FACES, SUBSTRATES
from vision.next_gain import bits, gain, settles
from vision.next_reading import KINDS
from vision.next_shown import ASKS
from vision.parts.fuse import FLOOR, fuse

Array = NDArray[np.float64]
FOLDS = 8
#: Second photo -> (tables it is foretold with, ask whose table of common practice it is compared with).
SECOND = {"narrow": ("edge", "edge_close"), "face": ("face", "macro")}
#: About what `worths` finds, for the chance to settle alone.
NOMINAL_WORTH = {"narrow": 1.0, "face": 0.4}
LEVEL = 0.9
MEMBER: Array = np.array([[float(made.FACE_GROUP[k] == f) for f in range(len(FACES))] for k in range(len(SUBSTRATES))])
_HAND = {a.key: a.rows for a in ASKS}


@dataclass(frozen=True)
class Pair:
    """One group and kind of second photo; means over the group's pairs of first and second sighting. `foretold`, `came`: bits;
    `by_hand`: bits that the table of common practice foretells; `chance` and `settled`: foretold and real share of pairs whose
    leading face then reaches LEVEL; `group`: which specimen."""

    owner: str
    second: str
    foretold: float
    came: float
    by_hand: float
    chance: float = 0.0
    settled: float = 0.0
    group: str = ""


def truth_of(g: Group) -> str | None:
    """The true substrate."""
    if g.face == "not_wood":
        return "not_wood"
    return registry.SUBSTRATE_OF.get((g.face, g.core)) if g.core is not None else None


def pairs_of(g: Group, tables: dict[str, made.Learnt]) -> Iterator[Pair]:
    """A face first, then an edge or end, or the face on another photo."""
    truth = truth_of(g)
    if truth is None:
        return
    faces = [s for s in g.sightings if not s.narrow]
    for second, (kind, ask) in SECOND.items():
        found = []
        for x in faces:
            p = np.array([x.verdict.substrate[k] for k in SUBSTRATES])
            told, hand = bits(p, tables[kind].shown), gain(x.verdict.substrate, _HAND[ask])
            now, worth = float((p @ MEMBER).max() >= LEVEL), NOMINAL_WORTH[second]
            chance = worth * settles(p, tables[kind].shown, MEMBER, LEVEL) + (1 - worth) * now
            for y in g.sightings:
                if y.narrow != (second == "narrow") or y is x or (second == "face" and x.photo == y.photo):
                    continue
                fused = fuse([x, y], prior=g.prior)
                came = np.log2(max(FLOOR, fused.substrate[truth]) / max(FLOOR, x.verdict.substrate[truth]))
                found.append((told, float(came), hand, chance, float(max(fused.face.values()) >= LEVEL)))
        if found:
            first = g.sightings[0]
            told, came, hand, chance, settled = np.mean(found, axis=0).tolist()
            yield Pair(g.owner, second, told, came, hand, chance, settled, f"{first.photo}/{first.panel.id}")


def pairs(groups: Sequence[Group], rows: dict[str, made.Rows]) -> list[Pair]:
    """Pairs of all groups, each foretold by tables without its owner's fold."""
    owners = np.unique([g.owner for g in groups])
    fold = dict(zip(owners.tolist(), (np.random.default_rng(2).permutation(len(owners)) % FOLDS).tolist(), strict=True))
    out: list[Pair] = []
    for k in range(FOLDS):
        left_out = [o for o, n in fold.items() if n == k]
        tables = made.learn({kind: r.of(~np.isin(r.owner, left_out)) for kind, r in rows.items()})
        for g in groups:
            if fold[g.owner] == k:
                out += pairs_of(g, tables)
    return out


def real_pairs(real: Table, ours: Evidence, rendered: Table | None, theirs: Evidence | None) -> list[Pair]:
    """Pairs of real specimens."""
    return pairs(groups_of(real, ours), made.all_rows(real, ours, rendered, theirs))


def worths(found: Sequence[Pair]) -> tuple[dict[str, float], float]:
    """(kind -> gain that came over gain foretold, at most 1; the same over the table of common practice, all kinds together)."""
    def ratio(chosen: Sequence[Pair], name: str) -> float:
        told = sum(getattr(p, name) for p in chosen)
        return float(np.clip(sum(p.came for p in chosen) / told, 0.0, 1.0)) if told > 0 else 0.0

    by = {second: [p for p in found if p.second == second] for second in SECOND}
    worth = {kind: ratio(by["face" if kind == "face" else "narrow"], "foretold") for kind in KINDS}
    return worth, float(np.mean([ratio(each, "by_hand") for each in by.values()]))


def reliability(title: str, found: Sequence[Pair]) -> Iterator[str]:
    """Foretold against come, by thirds of what was foretold."""
    for second in SECOND:
        mine = [p for p in found if p.second == second]
        if len(mine) < 6:
            yield f"{title}, second photo {second}: {len(mine)} groups, too few"
            continue
        told, came, hand = (np.array([getattr(p, n) for p in mine]) for n in ("foretold", "came", "by_hand"))
        owners = [p.owner for p in mine]
        mean, low, high = spread(came, owners)
        yield (f"{title}, second photo {second}: {len(mine)} groups of {len(set(owners))}; foretold {told.mean():.2f} bits, came "
               f"{mean:+.2f} [{low:+.2f}, {high:+.2f}], common practice {hand.mean():.2f}")
        thirds = np.array_split(np.argsort(told, kind="stable"), 3)
        yield ("  foretold/came by thirds: " + ", ".join(f"{told[t].mean():.2f}/{came[t].mean():+.2f}" for t in thirds)
               + f"; rank correlation {rank_correlation(told, came, owners)}, of common practice "
               f"{rank_correlation(hand, came, owners)}")
        chance, settled = (np.array([getattr(p, n) for p in mine]) for n in ("chance", "settled"))
        mean, low, high = spread(settled - chance, owners)
        yield (f"  leading face at {LEVEL:g} or more after it: foretold {chance.mean():.2f}, came {settled.mean():.2f}, "
               f"difference {mean:+.2f} [{low:+.2f}, {high:+.2f}]; rank correlation {rank_correlation(chance, settled, owners)}")


def rank_correlation(a: Array, b: Array, owners: Sequence[str], rounds: int = 500) -> str:
    """Spearman's, with a 95 % bootstrap over owners."""
    def rank(v: Array) -> Array:
        return np.unique(v, return_inverse=True)[1].astype(np.float64)

    names, at = np.unique(np.array(owners), return_inverse=True)
    rng = np.random.default_rng(0)
    found = []
    for _ in range(rounds):
        rows = np.concatenate([np.flatnonzero(at == k) for k in rng.integers(0, len(names), len(names))])
        x, y = rank(a[rows]), rank(b[rows])
        if x.std() > 0 and y.std() > 0:
            found.append(float(np.corrcoef(x, y)[0, 1]))
    low, high = np.quantile(found, [0.025, 0.975])
    return f"{float(np.corrcoef(rank(a), rank(b))[0, 1]):+.2f} [{low:+.2f}, {high:+.2f}]"


def lines(real: Table, ours: Evidence, rendered: Table, theirs: Evidence, renders: Path | None) -> Iterator[str]:
    """Everything that `--check` prints."""
    rows = made.all_rows(real, ours, rendered, theirs)
    yield "Bits a real specimen by which tables of other authors foretell a photo's outcome better than the mean of substrates:"
    for kind in KINDS:
        told = ", ".join(f"{pull:g}: {made.foretold(rows[kind], kind, pull):.2f}" for pull in (2.0, made.PULL, 20.0))
        n = rows[kind]
        authors, drawn = len(np.unique(n.owner[n.real])), int((~n.real).sum())
        yield (f"  {kind}: by specimens pulled in {told}; {n.weight[n.real].sum():.0f} real specimens of {authors} authors, "
               f"{drawn} rendered panels at {made.RENDERED_SHARE[kind]:g}")
    found = real_pairs(real, ours, rendered, theirs)
    yield from reliability("Real", found)
    worth, by_hand = worths(found)
    yield ("Worth used: " + ", ".join(f"{k} {v:.2f}" for k, v in worth.items())
           + f"; a table of common practice, read by the classifier: {by_hand:.2f}")
    both = [(a, b) for a in found for b in found if a.group == b.group and (a.second, b.second) == ("narrow", "face")]
    if both:
        better = np.array([a.came > b.came for a, b in both])
        ranked = np.array([worth["edge"] * a.foretold > worth["face"] * b.foretold for a, b in both])
        hand = np.array([a.by_hand > b.by_hand for a, b in both])
        yield (f"Edge or another face, on {len(both)} specimens with both: the one ranked first brought more "
               f"{(ranked == better).sum()} times, by common practice {(hand == better).sum()}, the edge always {better.sum()}")
    if renders is not None:
        from training.fuse_scores import parts_of_rows

        yield from reliability("Rendered", pairs(groups_of(rendered, theirs, parts_of_rows(renders, rendered)), rows))

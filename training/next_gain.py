"""What a further photo tells, learnt from what the classifier says of photos by authors it never saw.

    python -m training.next_gain                          # writes vision/models/next_gain.json
    python -m training.next_gain --check --renders DIR    # foretold gain against what a second photo really brought

An outcome is what a photo's evidence leads with, and whether strongly or weakly: one of the faces, or on a narrow side solid
wood, other lumber or another core (with solid wood apart, outcomes by other authors were foretold better). P(outcome | substrate)
is counted over held-out panels, a specimen counting once and a rendered panel as a fraction of one, and pulled towards the mean
of its group and then of all: where nothing was seen of a substrate, nothing is told of it.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.fit import substrate_labels
from training.next_gain_evidence import CACHE, Evidence, stored_evidence
from training.tables import CUES, Table
from vision import registry
from vision.inference.joint import CORES, FACES, SUBSTRATES
from vision.next_reading import FILE, FORMAT, KINDS
from vision.parts.fuse import DEPENDENCE

Array = NDArray[np.float64]
#: Specimens' worth of the wider mean that a substrate's own counts are pulled towards.
PULL = 6.0
#: A rendered narrow side counts as this share of a real specimen; rendered faces count nothing: they made the real ones be
#: foretold worse. Both, and PULL, are where real outcomes by other authors were foretold best, or nearly (`--check` prints it).
RENDERED_SHARE = {"edge": 0.1, "end": 0.1, "face": 0.0}
#: Specimens that a table of common practice counts for beside photos that were learnt from. A choice, not measured.
LEAN = 20.0
VIEWS = {"edge": (1, 3), "end": (2,), "face": (0,)}
_FACE_OF = {s: f for (f, _), s in registry.SUBSTRATE_OF.items()}
_CORE_OF = {s: c for (f, c), s in registry.SUBSTRATE_OF.items() if f != "not_wood"}
#: What a face and a narrow side can lead with; (16,) group of each substrate, beyond the last for what never leads.
LEADS = {"face": FACES, "narrow": ("solid", *CORES)}
FACE_GROUP = np.array([FACES.index(_FACE_OF[s]) for s in SUBSTRATES])
NARROW_GROUP = np.array([0 if s == "solid_lumber" else 1 + CORES.index(_CORE_OF[s]) if s in _CORE_OF else 1 + len(CORES)
                         for s in SUBSTRATES])


@dataclass(frozen=True, eq=False)
class Rows:
    """Panels that a kind of photo is learnt from. `lead` (n,): leading class of the evidence, `gap` (n,): its lead over the
    second, nats; `substrate` (n,) index; `weight` (n,): shares of a real specimen; `owner` (n,): author or piece; `hidden` (n,):
    the side shows a band or paint; `real` (n,)."""

    lead: NDArray[np.intp]
    gap: Array
    substrate: NDArray[np.int8]
    weight: Array
    owner: NDArray[np.str_]
    hidden: NDArray[np.bool_]
    real: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.weight)

    def of(self, which: NDArray[np.bool_]) -> Rows:
        """Some of the panels."""
        return Rows(**{k: v[which] for k, v in vars(self).items()})

    def outcomes(self, cut: float) -> NDArray[np.intp]:
        """(n,) 2 * leading class + whether it leads by `cut` or more."""
        return np.asarray(2 * self.lead + (self.gap >= cut))

    @property
    def cut(self) -> float:
        """Median lead of the real ones: what divides weak from strong."""
        return float(np.median(self.gap[self.real])) if self.real.any() else float(np.median(self.gap))


def joined(parts: list[Rows]) -> Rows:
    """Several one after the other."""
    return Rows(**{k: np.concatenate([getattr(p, k) for p in parts]) for k in vars(parts[0])})


def groups(kind: str) -> tuple[NDArray[np.intp], int]:
    """((16,) group of each substrate, number of groups that can lead) of a kind of photo."""
    return (FACE_GROUP, len(LEADS["face"])) if kind == "face" else (NARROW_GROUP, len(LEADS["narrow"]))


def leading(said: Evidence, kind: str) -> tuple[NDArray[np.intp], Array]:
    """(leading group, nats by which it leads the second) of each panel's evidence."""
    group, n = groups(kind)
    member = (group[:, None] == np.arange(n)).astype(np.float64)

    def log_share(p: Array) -> Array:
        q = np.maximum(p @ member, 1e-4)
        return np.asarray(np.log(q / q.sum(axis=1, keepdims=True)))

    e = log_share(said.substrate) - log_share(said.prior)
    ranked = np.sort(e, axis=1)
    return e.argmax(axis=1), ranked[:, -1] - ranked[:, -2]


def rows_of(kind: str, table: Table, said: Evidence, *, real: bool) -> Rows:
    """Labelled panels of a table that show what a kind of photo shows."""
    label = substrate_labels(table)
    use = np.isin(table.view, VIEWS[kind]) & (label >= 0)
    shown = table.cues[:, CUES.index("edge")] | table.cues[:, CUES.index("end")]
    # Renders know where a band or paint covers the core; collectors of real photos chose sides that show it.
    hidden = np.zeros(len(table), dtype=bool) if real or kind == "face" else ~shown
    _, at = np.unique(table.specimen, return_inverse=True)
    counts = np.bincount(at[use], minlength=int(at.max()) + 1)
    weight = table.weight.astype(np.float64) / np.maximum(counts[at], 1) * (1.0 if real else RENDERED_SHARE[kind])
    lead, gap = leading(said, kind)
    use &= weight > 0
    return Rows(lead[use], gap[use], label[use], weight[use], table.author[use], hidden[use], np.full(int(use.sum()), real))


def table_of(rows: Rows, cut: float, kind: str, pull: float = PULL, wider: Array | None = None) -> tuple[Array, Array]:
    """((16, outcomes) P(outcome | substrate, the thing shows), (outcomes,) P(outcome | it is hidden)).

    `wider` (16, outcomes): what a substrate's counts are pulled towards, by default the mean of its group.
    """
    group, n = groups(kind)
    k = 2 * n
    at, seen = rows.outcomes(cut), ~rows.hidden
    counts = np.zeros((len(SUBSTRATES), k))
    np.add.at(counts, (rows.substrate[seen], at[seen]), rows.weight[seen])
    cells = np.stack([counts[group == g].sum(axis=0) for g in range(int(group.max()) + 1)])
    some = cells.sum(axis=1) > 0
    # Each class speaks alike for the mean, so that it does not lean to what was photographed most.
    even = np.full((1, k), 1 / k)
    known = np.vstack([cells[some], np.zeros((0, k))]) if some.any() else 0 * even
    mean = ((known + even) / (known.sum(axis=1, keepdims=True) + 1)).mean(axis=0)
    if wider is None:
        wider = ((cells + pull * mean) / (cells.sum(axis=1, keepdims=True) + pull))[group]
    own = (counts + pull * wider) / (counts.sum(axis=1, keepdims=True) + pull)
    hidden = np.bincount(at[rows.hidden], weights=rows.weight[rows.hidden], minlength=k)
    return own, (hidden + pull * mean) / (hidden.sum() + pull)


@dataclass(frozen=True, eq=False)
class Learnt:
    """Tables of one kind of photo: `shown` (16, outcomes), `hidden` (outcomes,), real `specimens` and `authors`."""

    shown: Array
    hidden: Array
    specimens: float
    authors: int


def all_rows(real: Table, ours: Evidence, rendered: Table | None, theirs: Evidence | None) -> dict[str, Rows]:
    """What every kind is learnt from."""
    found = {}
    for kind in KINDS:
        parts = [rows_of(kind, real, ours, real=True)]
        if rendered is not None and theirs is not None and RENDERED_SHARE[kind] > 0:
            parts.append(rows_of(kind, rendered, theirs, real=False))
        found[kind] = joined(parts)
    return found


def learn(found: dict[str, Rows]) -> dict[str, Learnt]:
    """Tables of every kind; an end leans on narrow sides of all kinds for what was not seen of it."""
    narrow = joined([found["edge"], found["end"]])
    cut = narrow.cut
    wide, _ = table_of(narrow, cut, "edge")
    out = {}
    for kind, rows in found.items():
        if kind == "face":
            shown, hidden = table_of(rows, rows.cut, kind)
        else:
            shown, hidden = table_of(rows, cut, kind, wider=wide)
        out[kind] = Learnt(shown, hidden, float(rows.weight[rows.real].sum()), len(np.unique(rows.owner[rows.real])))
    return out


def foretold(rows: Rows, kind: str, pull: float = PULL, folds: int = 8) -> float:
    """Bits per real specimen by which tables of other authors foretell its outcome better than the mean over substrates does."""
    owners = np.unique(rows.owner)
    number = np.random.default_rng(1).permutation(len(owners))[np.searchsorted(owners, rows.owner)] % folds
    total = weight = 0.0
    for k in range(folds):
        test, rest = rows.of((number == k) & rows.real), rows.of(number != k)
        own, _ = table_of(rest, rest.cut, kind, pull)
        at, w = test.outcomes(rest.cut), test.weight
        total += float(w @ np.log2(own[test.substrate, at] / own.mean(axis=0)[at]))
        weight += float(w.sum())
    return total / weight


def rounded(p: Array) -> list[float]:
    """A distribution with four decimals, nothing ruled out."""
    q = np.maximum(np.round(p, 4), 1e-4)
    return [round(float(v), 5) for v in q / q.sum()]


def document(learnt: dict[str, Learnt], worth: dict[str, float], by_hand: float) -> str:
    """The JSON text."""
    kinds: dict[str, Any] = {
        kind: {"specimens": round(t.specimens, 1), "authors": t.authors, "worth": round(worth[kind], 3),
               "hidden": rounded(t.hidden), "shown": {s: rounded(row) for s, row in zip(SUBSTRATES, t.shown, strict=True)}}
        for kind, t in learnt.items()}
    again = (1 - DEPENDENCE.photos) / (1 + DEPENDENCE.photos)
    made = {"format": FORMAT, "about": "P(outcome of a further photo | substrate), see training/next_gain.py", "lean": LEAN,
            "by_hand": round(by_hand, 3), "again": round(again, 3), "kinds": kinds}
    return json.dumps(made, separators=(",", ":"), sort_keys=True) + "\n"


def main() -> None:
    """Command line."""
    from training import next_gain_check as check

    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--check", action="store_true", help="print how well gains are foretold instead of writing")
    ap.add_argument("--renders", type=Path, help="rendered photos, to know which rendered panels are one part")
    ap.add_argument("--cache", type=Path, default=CACHE)
    args = ap.parse_args()
    real, ours, rendered, theirs = stored_evidence(args.cache)
    if args.check:
        print("\n".join(check.lines(real, ours, rendered, theirs, args.renders)))
        return
    learnt = learn(all_rows(real, ours, rendered, theirs))
    worth, by_hand = check.worths(check.real_pairs(real, ours, rendered, theirs))
    text = document(learnt, worth, by_hand)
    Path(str(files("vision").joinpath(FILE))).write_text(text, encoding="utf-8")
    print(f"{FILE}: {len(text)} bytes")


if __name__ == "__main__":
    main()

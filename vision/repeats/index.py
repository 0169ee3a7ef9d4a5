"""Which sheets are worth comparing: an inverted file over all features, so that work grows with the sheets, not their pairs.

Features of all sheets are sorted into words (two levels of nearest centres, more words the more features there are), so a
feature meets a bounded number of others whatever the size of the collection. Every meeting votes for a pair of sheets, a
laying and a coarse move; each sheet then keeps its few strongest partners. What is kept is only a hint: the pairs
are compared feature by feature afterwards (`vote.moves`).

Everything is deterministic: centres start from evenly spaced features, ties keep the order in which sheets were added.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from vision.repeats.describe import SIGNS, Described
from vision.repeats.vote import LEAST_LIKENESS, turn_of

#: Features aimed at per word, words looked into per feature, and best meetings kept per feature and laying.
PER_WORD, PROBES, MEETINGS = 48, 3, 10
#: Rounds of centre fitting, and how many features the centres are fitted on at most per centre.
_ROUNDS, _SAMPLE = 4, 40
#: Scale ratios a move may have (natural logarithm), and the width of a voting cell as share of the sheet's longer side.
_SCALES: Final = np.log(np.array([0.5, 0.64, 0.8, 1.0, 1.25, 1.56, 2.0]))
_CELL = 0.14
#: Fewest features that agree on a move, and most partners a sheet keeps.
LEAST_VOTES, PARTNERS = 3, 12
#: Pairs whose moves are counted, as a multiple of the partners a sheet may keep.
_LOOKED_INTO = 4
#: Up to this many sheets every pair is worth comparing: it costs less than sorting out.
EVERY_PAIR = 6


@dataclass(frozen=True)
class Candidate:
    """Sheets `a` < `b` (in the order added) whose features agree on a move with figure laid by `signs` (see describe.SIGNS).

    `votes`: features of a that agree; `weight`: by how much they are alike, above what chance brings to the busiest cell.
    """

    a: int
    b: int
    signs: tuple[int, int]
    votes: int
    weight: float


@dataclass(frozen=True, eq=False)
class _Meetings:
    """n meetings: `query`, `found`: global feature numbers; `signs`: index into SIGNS; `like`: cosine."""

    query: NDArray[np.int64]
    found: NDArray[np.int64]
    signs: NDArray[np.int64]
    like: NDArray[np.float32]


class CandidateIndex:
    """Collects described sheets, then tells which pairs to compare."""

    def __init__(self) -> None:
        self._sheets: list[Described] = []

    def __len__(self) -> int:
        return len(self._sheets)

    def add(self, described: Described) -> int:
        """Add a sheet; its number, counted from 0."""
        self._sheets.append(described)
        return len(self._sheets) - 1

    def candidates(self, *, partners: int = PARTNERS, least_votes: int = LEAST_VOTES) -> tuple[Candidate, ...]:
        """Pairs of different sheets to compare, most weight first; at most `partners` times the number of sheets.

        A pair may come twice with different signs. With up to EVERY_PAIR sheets all pairs in all layings are given.
        """
        full = [k for k, s in enumerate(self._sheets) if len(s.points) >= least_votes]
        if len(full) < 2:
            return ()
        if len(full) <= EVERY_PAIR:
            return tuple(Candidate(a, b, s, 0, 0.0) for i, a in enumerate(full) for b in full[i + 1 :] for s in SIGNS)
        owner = np.concatenate([np.full(len(self._sheets[k].points), k) for k in full])
        number = np.concatenate([np.arange(len(self._sheets[k].points)) for k in full])
        base = np.concatenate([self._sheets[k].descriptors for k in full])
        layings = [np.concatenate([self._sheets[k].seen(s) for k in full]) for s in SIGNS]
        met = _meet(base, layings, owner)
        return _strongest(self._vote(met, owner, number, least_votes, _LOOKED_INTO * partners), partners)

    def _vote(self, met: _Meetings, owner: NDArray[np.int64], number: NDArray[np.int64], least: int,
              looked_into: int) -> list[Candidate]:
        """Candidates from meetings: the busiest cell of moves for each pair of sheets and laying.

        Only the `looked_into` pairs and layings of each sheet with most meetings are looked into.
        """
        n = len(self._sheets)
        group = (owner[met.query] * n + owner[met.found]) * len(SIGNS) + met.signs
        order = np.argsort(group, kind="stable")
        group = group[order]
        starts = np.flatnonzero(np.r_[True, group[1:] != group[:-1]]) if len(group) else np.zeros(0, np.int64)
        ends = np.r_[starts[1:], len(group)] if len(group) else starts
        worth = np.add.reduceat(met.like[order] - LEAST_LIKENESS + 0.05, starts) if len(group) else np.zeros(0)
        pairs = group[starts] // len(SIGNS)
        enough = (ends - starts >= least) & _most_of_either(pairs // n, pairs % n, worth, looked_into)
        out = []
        for start, end in zip(starts[enough], ends[enough], strict=True):
            rows = order[start:end]
            pair, k = divmod(int(group[start]), len(SIGNS))
            a, b = divmod(pair, n)
            i, j = number[met.query[rows]], number[met.found[rows]]
            votes, weight = _busiest(self._sheets[a], self._sheets[b], SIGNS[k], i, j, met.like[rows])
            if votes >= least:
                out.append(Candidate(a, b, SIGNS[k], votes, weight))
        return out


def _busiest(a: Described, b: Described, signs: tuple[int, int], i: NDArray[np.int64], j: NDArray[np.int64],
             like: NDArray[np.float32]) -> tuple[int, float]:
    """(features that agree, weight above chance) of the move that most meetings of a pair agree on."""
    size = float(max(b.figure.mask.shape) * b.figure.scale)
    turned = (a.points[i] - a.points.mean(axis=0)) @ turn_of(a, b, signs).T
    step = np.log(b.sizes[j] / a.sizes[i])
    near = np.abs(step[None] - _SCALES[:, None]) < 0.34
    k, m = np.nonzero(near)
    if not len(m):
        return 0, 0.0
    land = (b.points[j[m]] - np.exp(_SCALES[k])[:, None] * turned[m]) / (_CELL * size)
    cell = np.floor(land + 64.0).astype(np.int64)
    worth = (like[m] - LEAST_LIKENESS + 0.05).astype(np.float64)
    # each meeting votes for the four cells nearest to it, so that a move on a border between cells is not split
    side = np.where(land + 64.0 - cell < 0.5, -1, 1)
    keys = []
    for dy in (0, 1):
        for dx in (0, 1):
            q = cell + np.array([dx, dy]) * side
            keys.append((k * 4096 + q[:, 1]) * 4096 + q[:, 0])
    key, back = np.unique(np.concatenate(keys), return_inverse=True)
    total = np.bincount(back, np.tile(worth, 4), len(key))
    best = int(total.argmax())
    agree = np.tile(i[m], 4)[back == best]
    votes = len(np.unique(agree))
    # what the busiest of so many cells would hold if the meetings fell anywhere
    mean = 4.0 * len(m) / (len(_SCALES) * (2.0 / _CELL) ** 2)
    chance = mean + 2.0 * np.sqrt(mean)
    share = votes / max(len(agree), 1)
    return votes, float(total[best] * share - chance * worth.mean())


def _most_of_either(a: NDArray[np.int64], b: NDArray[np.int64], worth: NDArray, most: int) -> NDArray[np.bool_]:
    """(n,) whether a row is among the `most` worthiest rows of its sheet a or of its sheet b."""
    keep = np.zeros(len(a), bool)
    sheet, row, value = np.r_[a, b], np.tile(np.arange(len(a)), 2), np.tile(worth, 2)
    order = np.lexsort((row, -value, sheet))
    first = np.searchsorted(sheet[order], sheet[order])
    keep[row[order[np.arange(len(order)) - first < most]]] = True
    return keep


def _strongest(found: list[Candidate], partners: int) -> tuple[Candidate, ...]:
    """The `partners` strongest candidates of each sheet: kept when either of its two sheets keeps it."""
    room: dict[int, int] = {}
    out = []
    for c in sorted(found, key=lambda c: (-c.weight, c.a, c.b, c.signs)):
        if room.get(c.a, 0) < partners or room.get(c.b, 0) < partners:
            out.append(c)
            room[c.a] = room.get(c.a, 0) + 1
            room[c.b] = room.get(c.b, 0) + 1
    return tuple(out)


def _centres(rows: NDArray[np.float32], count: int) -> NDArray[np.float32]:
    """(count, d) centres of unit vectors, fitted from evenly spaced starts (spherical k-means)."""
    count = max(1, min(count, len(rows)))
    sample = rows[np.linspace(0, len(rows) - 1, min(len(rows), _SAMPLE * count)).astype(np.int64)]
    centres = sample[np.linspace(0, len(sample) - 1, count).astype(np.int64)].copy()
    for _ in range(_ROUNDS):
        word = (sample @ centres.T).argmax(axis=1)
        order = np.argsort(word, kind="stable")
        held, start = np.unique(word[order], return_index=True)
        sums = np.add.reduceat(sample[order], start, axis=0)
        centres[held] = sums / np.maximum(np.linalg.norm(sums, axis=1, keepdims=True), 1e-6)
    return centres


def _words(rows: NDArray[np.float32], outer: NDArray[np.float32], inner: NDArray[np.float32],
           probes: int) -> NDArray[np.int64]:
    """(n, probes) words nearest to each row: the best inner centres of the best outer centre or two."""
    branches, leaves = len(outer), inner.shape[1]
    near = rows @ outer.T
    tried = min(2 if probes > 1 else 1, branches)
    top = np.argsort(-near, axis=1, kind="stable")[:, :tried]
    best = np.full((len(rows), tried * leaves), -2.0, np.float32)
    for branch in range(branches):
        for t in range(tried):
            at = np.flatnonzero(top[:, t] == branch)
            if len(at):
                best[at, t * leaves : (t + 1) * leaves] = rows[at] @ inner[branch].T
    pick = np.argsort(-best, axis=1, kind="stable")[:, :probes]
    return np.asarray(np.take_along_axis(top, pick // leaves, axis=1) * leaves + pick % leaves, dtype=np.int64)


def _meet(base: NDArray[np.float32], layings: list[NDArray[np.float32]], owner: NDArray[np.int64]) -> _Meetings:
    """Best meetings of every feature in every laying with features of later sheets."""
    words = max(1, len(base) // PER_WORD)
    branches = max(1, round(words**0.5))
    leaves = max(1, -(-words // branches))
    outer = _centres(base, branches)
    branch = (base @ outer.T).argmax(axis=1)
    inner = np.zeros((len(outer), leaves, base.shape[1]), np.float32)
    for b in range(len(outer)):
        mine = base[branch == b]
        fitted = _centres(mine, leaves) if len(mine) else outer[b : b + 1]
        inner[b, : len(fitted)] = fitted  # unused leaves stay zero: cosine 0, below any centre that is near
    held = _words(base, outer, inner, 1)[:, 0]
    order = np.argsort(held, kind="stable")
    count = len(outer) * leaves
    begin = np.searchsorted(held[order], np.arange(count + 1))
    parts: list[tuple[NDArray, NDArray, NDArray, NDArray]] = []
    for s, rows in enumerate(layings):
        asked = _words(rows, outer, inner, PROBES)
        query = np.repeat(np.arange(len(rows)), asked.shape[1])
        by_word = np.argsort(asked.ravel(), kind="stable")
        cut = np.searchsorted(asked.ravel()[by_word], np.arange(count + 1))
        for w in range(count):
            members, askers = order[begin[w] : begin[w + 1]], query[by_word[cut[w] : cut[w + 1]]]
            if not len(members) or not len(askers):
                continue
            like = rows[askers] @ base[members].T
            like[owner[members][None, :] <= owner[askers][:, None]] = -1.0
            if like.shape[1] > MEETINGS:
                weakest = np.partition(like, -MEETINGS, axis=1)[:, -MEETINGS]
                like[like < weakest[:, None]] = -1.0
            r, c = np.nonzero(like >= LEAST_LIKENESS)
            parts.append((askers[r], members[c], np.full(len(r), s), like[r, c]))
    if not parts:
        none = np.zeros(0, np.int64)
        return _Meetings(none, none, none, np.zeros(0, np.float32))
    q, f, s_all, like_all = (np.concatenate(p) for p in zip(*parts, strict=True))
    return _Meetings(q, f, s_all, like_all)

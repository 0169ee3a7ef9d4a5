"""Moves worth registering among the sheets of one piece: what local features vote for, and what whole figures agree on.

Votes are quick and reach every scale; where hardly a feature survives they fail, and the dense correlation takes over. It costs
more, so it is asked only of pairs without a clear vote, of so many a sheet, those with the heaviest votes first.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor

from vision.repeats.correlate import dense_moves
from vision.repeats.describe import Described
from vision.repeats.index import CandidateIndex
from vision.repeats.vote import Move, moves

#: Moves registered at most of each source: so many for the whole piece, and so many more a sheet; the weightiest come first.
REGISTERED_BASE, REGISTERED_PER_SHEET = 5, 0.5
#: Moves of less weight than this are not worth registering.
LEAST_WEIGHT = 0.45
#: Pairs with a move of at least this weight are clear: unrelated boards seldom reach it.
CLEAR_WEIGHT = 3.0
#: Pairs correlated densely at most: so many for the whole piece, and so many more a sheet.
DENSE_BASE, DENSE_PER_SHEET = 1, 0.25


def candidate_moves(described: Sequence[Described], pool: Executor) -> list[tuple[int, int, Move]]:
    """(a, b, move) worth registering, most weight first, within sheets (a == b) and between them (a < b)."""
    own = pool.map(lambda d: [m for m in moves(d, d, most=3) if _forward(m)], described)
    index = CandidateIndex()
    for d in described:
        index.add(d)
    pairs = index.candidates()
    others = pool.map(lambda c: moves(described[c.a], described[c.b], signs=(c.signs,)), pairs)
    out = [(k, k, m) for k, found in enumerate(own) for m in found if m.weight >= LEAST_WEIGHT]
    voted: dict[tuple[int, int], list[Move]] = {(c.a, c.b): [] for c in pairs}
    for c, found in zip(pairs, others, strict=True):
        voted[c.a, c.b] += found
    out += [(a, b, m) for (a, b), found in voted.items() for m in found if m.weight >= LEAST_WEIGHT]
    out.sort(key=lambda item: -item[2].weight)
    most = int(REGISTERED_BASE + REGISTERED_PER_SHEET * len(described))
    return out[:most] + _dense(described, voted, pool)[:most]


def moves_between(a: Described, b: Described) -> list[Move]:
    """The moves of one sheet onto another that a search among just these two registers: dense ones, then voted ones.

    Where the votes are clear there are only those.
    """
    found = sorted((m for m in moves(a, b) if m.weight >= LEAST_WEIGHT), key=lambda m: -m.weight)
    if found and found[0].weight >= CLEAR_WEIGHT:
        return found
    return dense_moves(a, b) + found


def _dense(described: Sequence[Described], voted: dict[tuple[int, int], list[Move]],
           pool: Executor) -> list[tuple[int, int, Move]]:
    """Dense moves of the pairs whose votes are heaviest without being clear, highest peak first."""
    heaviest = {pair: max((m.weight for m in found), default=0.0) for pair, found in voted.items()}
    open_pairs = sorted((p for p, w in heaviest.items() if w < CLEAR_WEIGHT), key=lambda p: (-heaviest[p], p))
    asked = open_pairs[: int(DENSE_BASE + DENSE_PER_SHEET * len(described))]
    found = pool.map(lambda p: dense_moves(described[p[0]], described[p[1]]), asked)
    out = [(a, b, m) for (a, b), dense in zip(asked, found, strict=True) for m in dense]
    out.sort(key=lambda item: -item[2].peak)
    return out


def _forward(move: Move) -> bool:
    """Of a move of a sheet onto itself and its inverse, one: to the right, or straight down. Mirrors are their own."""
    if move.motion != "shift":
        return True
    c = move.points_a.mean(axis=0)
    d = move.transform[:2, :2] @ c + move.transform[:2, 2] - c
    return bool(d[0] > abs(d[1]) * 1e-3 or (abs(d[0]) <= abs(d[1]) * 1e-3 and d[1] > 0))

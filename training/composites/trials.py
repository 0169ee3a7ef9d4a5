"""Which pairs are made for the scores: a fixed list from seeds, so that every method meets the same pictures."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from training.composites.camera import DAMAGES
from training.composites.figures import Figure
from training.composites.pairs import Pair, make_pair, make_rendered_pair

ROWS = tuple(DAMAGES)


@dataclass(frozen=True)
class Trial:
    """One pair to be made. `first`, `second`: figures' places in the list of their part (-1: cut from a rendered log)."""

    part: str
    kind: str
    damage: str
    first: int
    second: int
    seed: int


@dataclass(frozen=True)
class Counts:
    """How many of each: copies and negatives a row, leaves over all rows, rendered pairs a kind, negatives to tune
    on, and single panels with recurring figure a row."""

    copies: int = 48
    negatives: int = 34
    leaves: int = 52
    rendered: int = 10
    tune_negatives: int = 14
    recurring: int = 3


QUICK = Counts(copies=5, negatives=5, leaves=12, rendered=4, tune_negatives=4, recurring=1)
COPY_KINDS = ("copy", "copy_turned", "copy", "copy_mirrored")


def plan(tune: list[Figure], report: list[Figure], counts: Counts) -> list[Trial]:
    """All trials. Rows of damages take turns; no two figures meet twice as negatives of one part."""
    trials: list[Trial] = []
    seed = 100
    rng = np.random.default_rng(3)
    total = counts.copies * len(ROWS)
    firsts = by_turns(report, total, rng)
    for k in range(total):
        kind = COPY_KINDS[(k // len(ROWS)) % len(COPY_KINDS)]
        trials.append(Trial("report", kind, ROWS[k % len(ROWS)], firsts[k], firsts[k], seed + k))
    seed += total
    for part, figures, n in (("report", report, counts.negatives), ("tune", tune, counts.tune_negatives)):
        couples = negative_couples(figures, n * len(ROWS), rng)
        for k, (i, j) in enumerate(couples):
            trials.append(Trial(part, "none", ROWS[k % len(ROWS)], i, j, seed + k))
        seed += len(couples)
    for kind, share in (("slip", 1.0), ("book", 0.5), ("rotary", 0.5)):
        n = int(counts.leaves * share)
        firsts = by_turns(report, n, rng)
        for k in range(n):
            second = alike(report, firsts[k])[int(rng.integers(3))]
            trials.append(Trial("report", kind, ROWS[k % len(ROWS)], firsts[k], second, seed + k))
        seed += n
    for kind in ("slip", "book", "rotary", "none"):
        for k in range(counts.rendered):
            trials.append(Trial("report", kind, "none", -1, -1, seed + k))
        seed += counts.rendered
    return trials


def make(trial: Trial, figures: list[Figure]) -> Pair:
    """The pair of a trial from the figures of its part."""
    rng = np.random.default_rng([trial.seed, 77])
    if trial.first < 0:
        return make_rendered_pair(trial.kind, rng, trial.damage)
    return make_pair([figures[trial.first], figures[trial.second]], trial.kind, rng, trial.damage)


def negative_couples(figures: list[Figure], count: int, rng: np.random.Generator) -> list[tuple[int, int]]:
    """Pairs of figures that must not match, hardest kinds first: boards of one author, two parts of one board, straight
    boards, then the boards most alike in colour and coarseness (as near to one species as these pictures allow)."""
    n = len(figures)
    same_author = [(i, j) for i in range(n) for j in range(i + 1, n) if figures[i].group == figures[j].group]
    same_board = [(i, i) for i in range(n) if max(figures[i].pixels.shape[:2]) >= 500]
    straight = [i for i in range(n) if figures[i].kind == "straight"]
    straights = [(i, j) for i in straight for j in straight if i < j]
    lookalikes = [(i, j) for i in range(n) for j in alike(figures, i)[:12] if i < j]
    out: list[tuple[int, int]] = []
    pools = [list(dict.fromkeys(p)) for p in (same_author, same_board, straights, lookalikes)]
    for pool in pools:
        rng.shuffle(pool)
    while len(out) < count and any(pools):
        for pool in pools:
            while pool and len(out) < count:
                couple = tuple(int(v) for v in pool.pop())
                if couple not in out:
                    out.append((couple[0], couple[1]))
                    break
    spare = [(i, j) for i in range(n) for j in range(i + 1, n) if (i, j) not in set(out)]
    rng.shuffle(spare)
    out += [(int(i), int(j)) for i, j in spare[: count - len(out)]]
    order = rng.permutation(len(out))
    return [out[k] for k in order]


def by_turns(figures: list[Figure], count: int, rng: np.random.Generator) -> list[int]:
    """`count` figures so that every group comes equally often, and every figure of a group in turn."""
    groups: dict[str, list[int]] = {}
    for i, figure in enumerate(figures):
        groups.setdefault(figure.group, []).append(i)
    out: list[int] = []
    turn = 0
    while len(out) < count:
        order = [list(groups)[k] for k in rng.permutation(len(groups))]
        out += [groups[g][turn % len(groups[g])] for g in order]
        turn += 1
    return out[:count]


_LIKE: dict[tuple[int, int], list[int]] = {}


def alike(figures: list[Figure], one: int) -> list[int]:
    """Other figures by likeness of mean colour and of how coarse their detail is, most alike first."""
    key = (id(figures), one)
    if key not in _LIKE:
        marks = np.array([_mark(f) for f in figures])
        for i in range(len(figures)):
            order = np.argsort(np.linalg.norm(marks - marks[i], axis=1), kind="stable")
            _LIKE[(id(figures), i)] = [int(k) for k in order if k != i]
    return _LIKE[key]


def _mark(figure: Figure) -> list[float]:
    lab = cv2.cvtColor(figure.pixels, cv2.COLOR_RGB2LAB).astype(np.float32)
    light = lab[..., 0]
    fine = float((light - cv2.GaussianBlur(light, (0, 0), 3)).std())
    coarse = float((cv2.GaussianBlur(light, (0, 0), 3) - cv2.GaussianBlur(light, (0, 0), 15)).std())
    return [*(float(v) for v in lab.reshape(-1, 3).mean(axis=0)), 4 * fine, 4 * coarse]

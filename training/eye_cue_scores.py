"""What the eye's cues are worth on real photos: each number by itself, and the group beside all other experts, authors left out.

    python -m training.eye_cue_scores

Reads the committed tables only. The group's numbers were chosen among some sixty on these very panels, so all figures flatter
them.
"""

from __future__ import annotations

import sys
import warnings
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from training import calibration, stacking, tables
from training import fit as fitting
from training.config_file import Config, ExpertSettings, load_config
from training.experts import Array, balanced, log_softmax
from training.figures import auc
from training.tables import Table
from vision.inference import evidence
from vision.inference.joint import FACES

KIND = "eye_cues"
#: Middle share of a bootstrap over authors that is told, and its draws.
SHARE, DRAWS = 0.90, 1000
_WOOD, _REST = ("solid_wood", "veneer"), ("opaque", "bare_board", "not_wood")
QUESTIONS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "print/wood": (("printed",), _WOOD), "solid/veneer": (("solid_wood",), ("veneer",)), "wood/rest": (_WOOD, _REST),
}


def _interval(values: Sequence[float]) -> tuple[float, float]:
    low, high = np.quantile(values, [(1 - SHARE) / 2, (1 + SHARE) / 2])
    return float(low), float(high)


def _draws(author: NDArray[np.str_], rng: np.random.Generator) -> Array:
    """(DRAWS, n) how often each row counts when authors are drawn with repetition."""
    names, at = np.unique(author, return_inverse=True)
    drawn = rng.multinomial(len(names), np.full(len(names), 1 / len(names)), size=DRAWS)
    return np.asarray(drawn[:, at], np.float64)


def _sides(table: Table, question: str) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    one, two = (np.isin(table.face, [FACES.index(f) for f in names]) for names in QUESTIONS[question])
    return one, two


def univariate(table: Table, column: NDArray[np.float32], weight: Array, question: str) -> str:
    """Area under the ROC curve of one number for one question with its interval and the panels of either side."""
    one, two = _sides(table, question)
    use = (one | two) & (weight > 0) & np.isfinite(column)
    n, m = int(one[use].sum()), int(two[use].sum())
    if min(n, m) < 8:
        return f"- ({n}/{m})"
    y, w, x = one[use], weight[use], column[use].astype(np.float64)
    drawn = _draws(table.author[use], np.random.default_rng(0))[:200] * w
    found = [auc(x, y, v) for v in drawn if v[y].sum() > 0 and v[~y].sum() > 0]
    low, high = _interval(found)
    return f"{auc(x, y, w):.2f} {low:.2f}-{high:.2f} ({n}/{m})"


def _held(table: Table, config: Config) -> dict[bool, Array]:
    """With the group or without it: (n, faces) log probabilities of faces by classifiers that never saw the author."""
    out = {k: np.zeros((len(table), len(FACES))) for k in (True, False)}
    for test in stacking.author_folds(table.author, table.face, config.outer_folds, config.seed + 1):
        seen, unseen = table.rows(~test), table.rows(test)
        inner = list(stacking.author_folds(seen.author, seen.face, config.inner_folds, config.seed))
        fitted = [fitting.fit_target(seen, None, "face", s, inner) for s in config.experts]
        held = np.stack([lp for _, lp in fitted], axis=1)
        said = np.stack([e.log_probs(fitting.numbers(unseen, s)) for s, (e, _) in zip(config.experts, fitted, strict=True)], 1)
        use = fitting.judging_use(seen, "face")
        y = np.where(use, seen.face, -1).astype(np.int8)
        w = calibration.specimen_weight(seen.weight.astype(np.float64), seen.specimen, use)
        prior = np.log(calibration.hedged(calibration.mix(y, w, len(FACES)), config.prior_power))
        even = np.zeros((len(seen), len(FACES)))
        offsets = [(even + prior, w), (even, balanced(y, w, len(FACES)))]
        for kept in (True, False):
            which = [i for i, s in enumerate(config.experts) if kept or s.kind != KIND]
            weights, _ = fitting._stack(held[:, which], y, w, offsets, inner, config.stack_strength, np.ones(len(seen)))
            out[kept][test] = log_softmax(prior + evidence.terms(said[:, which], weights).sum(axis=1))
    return out


def _score(log_probs: Array, question: str) -> Array:
    one, two = ([FACES.index(f) for f in names] for names in QUESTIONS[question])
    return np.asarray(np.logaddexp.reduce(log_probs[:, one], axis=1) - np.logaddexp.reduce(log_probs[:, two], axis=1))


def main() -> int:
    """Print the figures."""
    warnings.filterwarnings("ignore", message="The least populated class")
    table, config = tables.Table.load(tables.REAL), load_config()
    names = [str(n) for n in table.names]
    from vision import cues_seen

    ours = [f.name for f in cues_seen.FEATURES]
    if not set(ours) <= set(names):
        print("the tables hold no eye cues yet: measure and teach first", file=sys.stderr)
        return 1
    if all(s.kind != KIND for s in config.experts):
        config = replace(config, experts=(*config.experts, ExpertSettings(KIND, KIND, 0.1, targets=("face",))))
    use = (table.view == 0) & (table.face >= 0)
    weight = calibration.specimen_weight(table.weight.astype(np.float64), table.specimen, use)
    print(f"{int(use.sum())} real faces, {len(np.unique(table.author[use]))} authors; area under the ROC curve, {SHARE:.0%} "
          "interval over authors, (panels either side); chosen on these panels")
    print(f"{'number':22s} measured  " + "  ".join(f"{q:24s}" for q in QUESTIONS))
    for name in ours:
        column = table.values[:, names.index(name)]
        row = "  ".join(f"{univariate(table, column, weight, q):24s}" for q in QUESTIONS)
        print(f"{name:22s} {np.isfinite(column[use]).mean():8.2f}  {row}".rstrip())
    held = _held(table, config)
    at, y = np.flatnonzero(weight > 0), table.face[weight > 0]
    gain = held[True][at, y] - held[False][at, y]
    w = weight[at]
    drawn = _draws(table.author[at], np.random.default_rng(1)) * w
    low, high = _interval((drawn @ gain / drawn.sum(axis=1)).tolist())
    before, after = (-float(np.average(held[k][at, y], weights=w)) for k in (False, True))
    print(f"all other experts, log loss on faces {before:.4f}; with this group {after:.4f}: gain "
          f"{np.average(gain, weights=w):+.4f} nats ({low:+.4f} to {high:+.4f})")
    for q in QUESTIONS:
        one, two = _sides(table, q)
        rows = (one | two) & (weight > 0)
        areas = [auc(_score(held[k], q)[rows], one[rows], weight[rows]) for k in (False, True)]
        print(f"  {q:14s} area without {areas[0]:.3f}, with {areas[1]:.3f}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

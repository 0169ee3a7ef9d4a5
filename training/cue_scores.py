"""What the cues in view do for a verdict, and whether print or wood stays open where there is none.

    python -m training.cue_scores [--kept build/cue_answers.npz] [--workers 1]

Works from the committed tables alone: every panel judged by a classifier taught without its author (its piece, where
rendered). A panel is tagged with the cues in view: those that its collector named or its scene is known to show, and a repeat
where the program measured one (nobody tagged those). Answered is the question of its view: the face of a face, the core of
an edge, end or joint that shows it. Means over specimens, 95 % intervals by bootstrap over authors (pieces).

Print or wood: a face that is solid wood, veneer or print asks whether it is printed. The question is answered when the verdict
is decided for one of the three; it stays open otherwise. Its odds are p(printed) : p(solid wood) + p(veneer).
"""

from __future__ import annotations

import argparse
import hashlib
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training import stacking
from training.config_file import load_config
from training.experts import Array
from training.figures import PRINTED, SOLID, VENEER, auc, group_weight
from training.fit import Answers
from training.heldout import HeldOut, held_out
from training.tables import CUES, Table
from training.teach import load_tables
from vision.inference.decide import NARROW
from vision.inference.joint import CORES, FACES
from vision.inference.model import TARGETS
from vision.repeats.numbers import HYPOTHESIS_OF

Bools = NDArray[np.bool_]
ROUNDS = 300
#: Share of print-or-wood questions without a cue that must stay open.
OPEN = 0.9
ASKED = (SOLID, VENEER, PRINTED)


def tags(table: Table) -> dict[str, Bools]:
    """Cue -> (n,) panels that show it; 'none of these' shows no other, 'knot or boards alone' only what decides little."""
    at = {c: table.cues[:, CUES.index(c)] for c in CUES}
    names = [str(n) for n in table.names]
    measured = np.max([np.nan_to_num(table.values[:, names.index(n)]) for n in HYPOTHESIS_OF], axis=0) > 0
    sides = np.isin(table.view, [TARGETS["view"].index(v) for v in ("edge", "end")])
    out = {
        "repeat (measured)": at["repeat"] | measured, "edge or end": at["edge"] | at["end"] | sides,
        "gloss pair": at["gloss_pair"], "macro": at["macro"], "wear": at["wear"],
    }
    none = ~np.any(list(out.values()), axis=0)
    out["none of these"] = none
    out["  of them with knot or boards"] = none & (at["knot"] | at["boards"])
    return out


def questions(found: HeldOut, table: Table) -> tuple[Bools, Bools, Bools]:
    """(n,) whether the core is asked for, whether the answer's truth is known, whether it is right."""
    a = found.answers
    views = [i for i, v in enumerate(TARGETS["view"]) if v in NARROW]
    narrow = np.isin(a.view.argmax(axis=1), views) & (a.visible >= 0.5)
    known = np.where(narrow, table.core >= 0, table.face >= 0)
    right = np.where(narrow, a.core.argmax(axis=1) == table.core, a.face.argmax(axis=1) == table.face)
    return narrow, known, right & known


def print_share(face: Array) -> Array:
    """(n,) p(printed) among print, solid wood and veneer."""
    return np.asarray(face[:, PRINTED] / np.maximum(1e-12, face[:, list(ASKED)].sum(axis=1)))


class Means:
    """Means over specimens with an interval by bootstrap over authors."""

    def __init__(self, author: NDArray[np.str_], specimen: NDArray[np.str_], seed: int = 0) -> None:
        names, at = np.unique(author, return_inverse=True)
        self._specimen = np.unique(np.char.add(np.char.add(author, "/"), specimen), return_inverse=True)[1]
        rng = np.random.default_rng(seed)
        draws = [rng.integers(0, len(names), len(names)) for _ in range(ROUNDS)]
        self._times = [np.ones(len(author)), *(np.bincount(d, minlength=len(names))[at].astype(float) for d in draws)]

    def specimens(self, use: Bools) -> int:
        """How many specimens are in use."""
        return len(np.unique(self._specimen[use]))

    def _told(self, values: list[float]) -> str:
        kept = [v for v in values[1:] if np.isfinite(v)]
        if not np.isfinite(values[0]):
            return "-"
        low, high = np.quantile(kept, [0.025, 0.975]) if len(kept) > ROUNDS / 3 else (float("nan"), float("nan"))
        return f"{values[0]:.2f} [{low:.2f}, {high:.2f}]"

    def mean(self, value: Bools, use: Bools) -> str:
        """Mean of a value over the panels in use."""
        return self._told([_mean(value, group_weight(self._specimen, use, t)) for t in self._times])

    def balanced(self, right: Bools, truth: NDArray[np.int8], use: Bools, classes: int) -> str:
        """Mean recall of the classes that occur."""
        def one(t: Array) -> float:
            each = [_mean(right, group_weight(self._specimen, use & (truth == c), t)) for c in range(classes)]
            known = [v for v in each if np.isfinite(v)]
            return float(np.mean(known)) if known else float("nan")

        return self._told([one(t) for t in self._times])

    def auc(self, score: Array, positive: Bools, use: Bools) -> str:
        """Area under the ROC curve."""
        def one(t: Array) -> float:
            w = group_weight(self._specimen, use & positive, t) + group_weight(self._specimen, use & ~positive, t)
            return auc(score[use], positive[use], w[use])

        return self._told([one(t) for t in self._times])


def _mean(value: Bools, weight: Array) -> float:
    return float(weight @ value.astype(np.float64) / weight.sum()) if weight.sum() > 0 else float("nan")


def cue_lines(found: HeldOut, table: Table, use: Bools) -> list[str]:
    """A line a cue."""
    means = Means(table.author, table.specimen)
    _, known, right = questions(found, table)
    face = found.answers.face
    is_face = (table.face >= 0) & (table.view == 0)
    wood = np.isin(table.face, (SOLID, VENEER))
    out = [f"  {'cue':30s} {'panels/specimens':>16s}  {'decided':17s} {'right if decided':17s} {'faces, balanced':17s} "
           f"{'cores, balanced':17s} {'wood:print AUC':17s} solid:veneer AUC"]
    for name, tag in tags(table).items():
        mine = tag & use & known
        if not mine.any():
            out.append(f"  {name:30s} {'0':>16s}")
            continue
        print_pair = mine & is_face & (wood | (table.face == PRINTED))
        narrow = mine & (table.view > 0) & (table.core >= 0)
        solid = face[:, SOLID] / np.maximum(1e-12, face[:, SOLID] + face[:, VENEER])
        size = f"{int(mine.sum())}/{means.specimens(mine)}"
        cells = [
            means.mean(found.decided, mine), means.mean(right, mine & found.decided),
            means.balanced(face.argmax(axis=1) == table.face, table.face, mine & is_face, len(FACES)),
            means.balanced(found.answers.core.argmax(axis=1) == table.core, table.core, narrow, len(CORES)),
            means.auc(1 - print_share(face), wood, print_pair),
            means.auc(solid, table.face == SOLID, mine & is_face & wood),
        ]
        out.append(f"  {name:30s} {size:>16s}  " + " ".join(f"{c:17s}" for c in cells).rstrip())
    return out


def asked(table: Table, use: Bools) -> Bools:
    """(n,) faces that truly ask print or wood and show no cue."""
    return use & (table.view == 0) & np.isin(table.face, ASKED) & tags(table)["none of these"]


def answered(found: HeldOut) -> Bools:
    """(n,) whether the verdict is decided for solid wood, veneer or print as a face."""
    narrow = np.isin(found.answers.view.argmax(axis=1), [i for i, v in enumerate(TARGETS["view"]) if v in NARROW])
    return found.decided & ~(narrow & (found.answers.visible >= 0.5)) & np.isin(found.answers.face.argmax(axis=1), ASKED)


def least_chance(top: Array, spoken: Bools, weight: Array, share: float) -> float:
    """Least probability of the leading class with which at most `share` of the weight is still answered."""
    if weight.sum() == 0:
        return 1.01
    order = np.argsort(-np.where(spoken, top, -1.0))
    within = np.cumsum(weight[order]) / weight.sum() <= share
    kept = order[within & spoken[order]]
    return float(top[kept].min()) if len(kept) else 1.01


def question_lines(found: HeldOut, table: Table, use: Bools, folds: list[Bools]) -> list[str]:
    """Whether print or wood stays open without a cue, and a rule that keeps it open with what it costs."""
    means = Means(table.author, table.specimen)
    none, spoken = asked(table, use), answered(found)
    face, odds = found.answers.face, print_share(found.answers.face)
    _, known, right = questions(found, table)
    every = use & known & (table.view == 0)
    wrong_side = spoken & ((odds < 0.5) == (table.face == PRINTED))
    far = (odds >= OPEN) | (odds <= 1 - OPEN)
    out = [
        f"  asked without a cue: {int(none.sum())} panels of {means.specimens(none)} specimens, "
        f"of them print {int((none & (table.face == PRINTED)).sum())}",
        f"  stays open                                {means.mean(~spoken, none)}  target at least {OPEN}",
        f"  answered on the wrong side                {means.mean(wrong_side, none)}",
        f"  odds print : wood beyond 9:1 either way   {means.mean(far, none)}",
    ]
    blind = tags(table)["none of these"]
    closed = spoken.copy()
    specimen = np.unique(np.char.add(np.char.add(table.author, "/"), table.specimen), return_inverse=True)[1]
    top = face.max(axis=1)
    limits = []
    for fold in folds:
        limit = least_chance(top, spoken, group_weight(specimen, none & ~fold, np.ones(len(top))), 1 - OPEN)
        closed[fold & blind] &= top[fold & blind] >= limit
        limits.append(limit)
    decided = found.decided & ~(spoken & ~closed)
    out += [
        f"  rule: without a cue, solid wood, veneer or print only from p >= {min(limits):.2f} to {max(limits):.2f} "
        "(learnt on other authors)",
        f"    stays open                              {means.mean(~closed, none)}",
        f"    faces decided, without and with it      {means.mean(found.decided, every)}  {means.mean(decided, every)}",
        f"    right when decided, without and with it {means.mean(right, every & found.decided)}  "
        f"{means.mean(right, every & decided)}",
    ]
    return out


def answers(kept: Path | None, workers: int) -> tuple[Table, HeldOut, Table | None, HeldOut | None]:
    """Tables with held-out answers, from `kept` where it fits the tables and settings."""
    real, rendered, _ = load_tables()
    config = load_config()
    asked_for = hashlib.sha256(repr(config).encode() + real.values.tobytes() + real.looks.tobytes()
                               + (rendered.values.tobytes() if rendered is not None else b"")).hexdigest()
    if kept is not None and kept.exists():
        with np.load(kept, allow_pickle=False) as d:
            if str(d["asked_for"]) == asked_for:
                return real, _unpacked(d, "real"), rendered, _unpacked(d, "rendered") if rendered is not None else None
    ours, theirs = held_out(real, rendered, {"all": config}, workers)["all"]
    if kept is not None:
        kept.parent.mkdir(parents=True, exist_ok=True)
        arrays: dict[str, Any] = {**_packed(ours, "real"), **(_packed(theirs, "rendered") if theirs else {})}
        np.savez_compressed(kept, asked_for=np.array(asked_for), **arrays)
    return real, ours, rendered, theirs


def _packed(found: HeldOut, name: str) -> dict[str, NDArray[np.generic]]:
    parts = {f"{name}.{f.name}": getattr(found.answers, f.name) for f in fields(Answers)}
    return parts | {f"{name}.{k}": getattr(found, k) for k in ("face_set", "core_set", "decided")}


def _unpacked(d: np.lib.npyio.NpzFile, name: str) -> HeldOut:
    return HeldOut(Answers(**{f.name: d[f"{name}.{f.name}"] for f in fields(Answers)}),
                   *(d[f"{name}.{k}"] for k in ("face_set", "core_set", "decided")))


def main() -> None:
    """Print the figures."""
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--kept", type=Path, help="file in which held-out answers are kept between runs")
    ap.add_argument("--workers", type=int, default=1)
    args = ap.parse_args()
    real, ours, rendered, theirs = answers(args.kept, args.workers)
    parts = [("real panels, authors held out", real, ours, real.headline)]
    if rendered is not None and theirs is not None:
        parts.append(("rendered panels, pieces held out", rendered, theirs, np.ones(len(rendered), dtype=bool)))
    for title, table, found, use in parts:
        folds = list(stacking.author_folds(table.author, table.face, 8, 3))
        print("\n".join([title, *cue_lines(found, table, use), " print or wood, without any of these cues",
                         *question_lines(found, table, use, folds)]))


if __name__ == "__main__":
    main()

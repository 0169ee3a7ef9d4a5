"""Fits the likelihoods of repeats: `python -m training.repeat_fit --photos DIR [--textures DIR] [--workers N]`.

Two questions, repeat or chance and copy or leaf, are each answered by a regularised straight line and by boosted trees whose
answers may only fall where displacement or renewed detail rises (copy or leaf). How both are blended, and how far they are
believed, follows from answers to pairs of authors held out. The least log odds of a repeat are those that few of the
unrelated pairs reach, answered by models that saw neither author, with a margin where there is room. Written to
vision/models/repeats.json.
"""

from __future__ import annotations

import argparse
import json
import pickle
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sklearn.ensemble import HistGradientBoostingClassifier
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import GroupKFold

from training.composites.statistics import auc, ratio_cost, wilson
from training.repeat_rows import CASE, Made, Row, composite_rows, seen
from vision.repeats.likelihood import CASES, FILE, INPUTS, LikelihoodModel, hypotheses, parse
from vision.repeats.trees import write_trees

#: Unrelated pairs of the tuning part that may pass for a repeat.
FALSE_ALARMS = 0.003
#: Repeats of the tuning part that may be lost beside those refused anyway; the least log odds lie halfway between both.
WEAKEST = 0.01
#: Assumptions, each stated where it enters: how often a showing of each kind lies in each motion.
MOTIONS = {
    "exact_copy": {"shift": 0.60, "half_turn": 0.37, "mirror": 0.03},  # parts are cut at will; prints are not laid face down
    "slip": {"shift": 0.94, "half_turn": 0.04, "mirror": 0.02},
    "book": {"shift": 0.01, "half_turn": 0.03, "mirror": 0.96},
    "rotary": {"shift": 0.94, "half_turn": 0.04, "mirror": 0.02},
    "coincidence": {"shift": 0.25, "half_turn": 0.25, "mirror": 0.50},  # four layings are tried, two of them mirrored
}
ROTARY_SHRINK = (0.003, 0.03)  # leaf thickness over log radius, 1 mm on 330 mm to 3 mm on 100 mm
STRETCH_SD = 0.004
#: Peaks wider than this (px) are refused before anything is judged.
WIDEST_PEAK = 2.0
#: Inputs that can only speak against an exact copy as they grow, and those that can only speak for it.
AGAINST_COPY = ("drift_along", "drift_across", "drift_slow", "slip_across_near", "slip_across_far", "slip_along_near",
                "slip_along_far", "slip_plain", "shared_across", "shared_along", "warp_explains",
                "renewed_p5", "renewed_p8", "renewed_p13", "renewed_p22", "figured_p5", "figured_p8", "figured_p13")
FOR_COPY = ("coarse", "mid", "whole")
FOLDS = 5
#: Trees grown for each question.
ROUNDS = {"repeat": 80, "copy": 200}

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Answers:
    """Fitted line and trees of one question, before they are blended."""

    line: LogisticRegression
    trees: HistGradientBoostingClassifier

    def scores(self, x: Floats, z: Floats) -> Floats:
        """(rows, 2): log odds of the line and of the trees at even odds."""
        return np.stack([self.line.decision_function(z), self.trees.decision_function(x)], axis=1)


def answers(x: Floats, z: Floats, yes: NDArray[np.bool_], weight: Floats, *, copy: bool) -> Answers:
    """Line on scaled `z`, trees on `x` as they are; `weight`: of each row."""
    signs = np.array([-1 if n in AGAINST_COPY else 1 if n in FOR_COPY else 0 for n in INPUTS]) if copy else None
    trees = HistGradientBoostingClassifier(max_depth=3, learning_rate=0.06, max_iter=ROUNDS["copy" if copy else "repeat"],
                                           min_samples_leaf=30, l2_regularization=5.0, monotonic_cst=signs,
                                           early_stopping=False, random_state=0)
    return Answers(LogisticRegression(C=0.3, max_iter=3000).fit(z, yes, sample_weight=weight),
                   trees.fit(x, yes, sample_weight=weight))


def held_out(x: Floats, z: Floats, yes: NDArray[np.bool_], weight: Floats, authors: Sequence[set[str]], *, copy: bool,
             ) -> Floats:
    """(rows, 2) scores from models that saw none of the row's authors.

    A row is tested in the fold of its first author. Authors of rows tested as related, and first authors of all, are left out
    of the training of their fold altogether.
    """
    first = np.array([sorted(a)[0] for a in authors])
    out = np.zeros((len(yes), 2))
    for _, test in GroupKFold(FOLDS).split(x, yes, first):
        shown = {first[k] for k in test}
        train = np.array([k for k in range(len(yes)) if not authors[k] & shown], dtype=int)
        out[test] = answers(x[train], z[train], yes[train], weight[train], copy=copy).scores(x[test], z[test])
    return out


def balanced(labels: NDArray[Any], share: dict[Any, float]) -> Floats:
    """Weights of mean 1 that give each label its share of the whole."""
    out = np.zeros(len(labels))
    for label, part in share.items():
        mine = labels == label
        out[mine] = part * len(labels) / max(int(mine.sum()), 1)
    return out


def blended(scores: Floats, yes: NDArray[np.bool_], weight: Floats) -> dict[str, float]:
    """Constant and shares of line and trees that the held-out rows ask for; neither share is negative."""
    fit = LogisticRegression(C=10.0).fit(scores, yes, sample_weight=weight)
    shares = fit.coef_[0]
    if min(shares) < 0:
        keep = int(np.argmax(shares))
        fit = LogisticRegression(C=10.0).fit(scores[:, [keep]], yes, sample_weight=weight)
        shares = np.zeros(2)
        shares[keep] = max(float(fit.coef_[0, 0]), 0.0)
    line, grown = (round(float(s), 4) for s in shares)
    return {"constant": round(float(fit.intercept_[0]), 4), "line": line, "trees": grown}


def nodes_of(trees: HistGradientBoostingClassifier) -> dict[str, Any]:
    """The trees as plain lists."""
    base = float(np.ravel(trees._baseline_prediction)[0])  # the library keeps fitted trees in private arrays
    out = []
    for (grown,) in trees._predictors:
        out.append([(-1 if n["is_leaf"] else int(n["feature_idx"]), float(n["num_threshold"]), int(n["left"]), int(n["right"]),
                     float(n["value"])) for n in grown.nodes])
    return write_trees(base, out)


def fit(made: Sequence[Made]) -> dict[str, Any]:
    """The content of repeats.json."""
    rows = [r for m in made for r in m.rows]
    x = np.array([r.inputs for r in rows])
    cases = np.array([r.case for r in rows])
    authors = [set(r.group.split("+")) for r in rows]
    mean, scale = x.mean(axis=0), np.maximum(x.std(axis=0), 1e-3)
    z = np.clip((x - mean) / scale, -4, 4)
    told = cases != "chance"
    content: dict[str, Any] = {}
    held: dict[str, Floats] = {}
    lines = {}
    for name, pick, yes, share in (("repeat", np.ones(len(rows), bool), told, {"copy": 0.25, "leaf": 0.25, "chance": 0.5}),
                                   ("copy", told, cases == "copy", {"copy": 0.5, "leaf": 0.5})):
        w = balanced(cases[pick], share)
        mine = [a for a, p in zip(authors, pick, strict=True) if p]
        scores = held_out(x[pick], z[pick], yes[pick], w, mine, copy=name == "copy")
        blend = blended(scores, yes[pick], w)
        whole = answers(x[pick], z[pick], yes[pick], w, copy=name == "copy")
        lines[name] = whole.line.coef_[0]
        content[name] = {"bias": round(float(whole.line.intercept_[0]), 4), "blend": blend, "trees": nodes_of(whole.trees)}
        held[name] = np.zeros(len(rows))
        held[name][pick] = blend["constant"] + scores @ np.array([blend["line"], blend["trees"]])
        if name == "copy":  # strangers are asked too, by the whole model: none of them taught it
            other = whole.scores(x[~pick], z[~pick])
            held[name][~pick] = blend["constant"] + other @ np.array([blend["line"], blend["trees"]])
    counts = {c: len({r.pair for r in rows if r.case == c}) for c in CASES}
    out = {
        "about": "Likelihoods of repeats; by training.repeat_fit on composites of real figure, part 'tune', and rendered logs.",
        "pairs": {"made": len(made), **counts}, "authors": len(set().union(*authors)),
        "held_out": _held_out_figures(rows, cases, held),
        "inputs": [{"name": n, "mean": round(float(mean[i]), 4), "scale": round(float(scale[i]), 4),
                    **{q: round(float(v[i]), 4) for q, v in lines.items()}} for i, n in enumerate(INPUTS)],
        "questions": content,
        "seen": {c: round(float(np.clip(s, 0.05, 0.98)), 3) for c, s in seen(made).items()},
        "motions": MOTIONS, "rotary_shrink": list(ROTARY_SHRINK), "stretch_sd": STRETCH_SD,
        # no ratio beyond the number of pairs behind the smallest case: one more pair could be the exception
        "limit": round(float(np.log(min(counts.values()))), 2), "accept": 0.0, "along_sd_most": WIDEST_PEAK,
    }
    out["accept"], out["tuned"] = accepted(made, rows, held, parse(out))
    return out


def _held_out_figures(rows: Sequence[Row], cases: NDArray[Any], held: dict[str, Floats]) -> dict[str, Any]:
    r, c = held["repeat"], held["copy"]
    copy, leaf, chance = (cases == k for k in CASES)
    near = leaf & np.array([0 < q.leaves <= 2 and q.kind == "slip" for q in rows])
    cost, least = ratio_cost(c[copy], c[leaf])
    repeat_cost, repeat_least = ratio_cost(np.r_[r[copy], r[leaf]], r[chance])
    return {"copy_against_leaf": {"auc": round(auc(c[copy], c[leaf]), 4), "auc_slip_1_or_2": round(auc(c[copy], c[near]), 4),
                                  "cost": round(cost, 4), "least": round(least, 4)},
            "repeat_against_chance": {"auc": round(auc(np.r_[r[copy], r[leaf]], r[chance]), 4), "cost": round(repeat_cost, 4),
                                      "least": round(repeat_least, 4)}}


def accepted(made: Sequence[Made], rows: Sequence[Row], held: dict[str, Floats], model: LikelihoodModel,
             ) -> tuple[float, dict[str, Any]]:
    """(least log odds, what they did): halfway between what FALSE_ALARMS of the unrelated pairs exceed (0 at least) and what
    all but WEAKEST of the repeats reach, or the former where the two overlap.

    The width of the peak is asked for first, as the search does.
    """
    best = dict.fromkeys((r.pair for r in rows), -np.inf)
    right = dict.fromkeys(best, -np.inf)
    for row, repeat, copy in zip(rows, held["repeat"], held["copy"], strict=True):
        if max(row.along_sd, row.across_sd) > WIDEST_PEAK:
            continue
        told = hypotheses(float(repeat), float(copy), row.motion, None, model)
        odds = max(v for k, v in told.items() if k != "coincidence") - told["coincidence"]
        best[row.pair] = max(best[row.pair], odds)
        if row.case != "chance":
            right[row.pair] = max(right[row.pair], odds)
    unrelated = [best.get(k, -np.inf) for k, m in enumerate(made) if m.kind == "none"]
    allowed = int(FALSE_ALARMS * len(unrelated))
    ordered = sorted(unrelated, reverse=True)
    least = max(0.0, float(ordered[allowed]) + 0.05 if len(ordered) > allowed else 0.0)
    judged = [v for v in right.values() if np.isfinite(v)]
    weak = float(np.quantile(judged, WEAKEST)) if judged else least
    least = max(least, 0.5 * (least + weak))
    alarms = sum(v >= least for v in unrelated)
    found = {c: [right.get(k, -np.inf) >= least for k, m in enumerate(made) if CASE[m.kind] == c] for c in ("copy", "leaf")}
    said = {"unrelated": len(unrelated), "alarms": alarms, "weakest_repeats": round(weak, 2),
            "alarm_interval": [round(v, 5) for v in wilson(alarms, len(unrelated))],
            "strongest_unrelated": [round(float(v), 2) for v in ordered[:8] if np.isfinite(v)],
            "found": {c: round(float(np.mean(v)), 4) for c, v in found.items() if v}}
    return round(least, 3), said


def written(content: dict[str, Any]) -> str:
    """JSON with one line for each input and each list of the trees."""
    text = json.dumps(content, indent=1)
    text = re.sub(r"\[\n\s+([-0-9.e,\s]+?)\n\s+\]", lambda m: "[" + re.sub(r"\s+", " ", m.group(1)) + "]", text)
    return re.sub(r"\{\n\s+(\"name\"[^{}]+?)\n\s+\}", lambda m: "{" + re.sub(r"\n\s+", " ", m.group(1)) + "}", text) + "\n"


def main(argv: Sequence[str] | None = None) -> None:
    """Command line: make composites, fit, write the model."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True, help="folder with panels.csv, photos.csv and img/")
    parser.add_argument("--textures", type=Path, help="folder of unpacked texture packages")
    parser.add_argument("--pairs", type=int, default=6000)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--rows", type=Path, help="file that keeps the measured rows")
    parser.add_argument("--out", type=Path, default=FILE)
    args = parser.parse_args(argv)
    made = composite_rows(args.photos, args.textures, args.pairs, args.seed, args.workers)
    if args.rows:
        args.rows.write_bytes(pickle.dumps(made))
    content = fit(made)
    args.out.write_text(written(content))
    print(json.dumps({k: content[k] for k in ("pairs", "authors", "held_out", "seen", "limit", "accept", "tuned")}, indent=1))
    print({q: content["questions"][q]["blend"] for q in content["questions"]})


if __name__ == "__main__":
    main()

"""Scores of the search for repeats against the baselines, on composites of real figure and on rendered leaves.

    python -m training.repeat_scores --photos DIR [--textures DIR] --json FILE [--workers 2] [--quick]

Every method gets the same pictures. Detection is counted at a threshold that 1 % of the negatives of all damages together
exceed, once set on the negatives of the tuning part (what a program can do) and once on those of the reporting part (the
method's own curve). A copy is found when its score lies above the threshold and the found place is right within 3 % of
the panel's longer side. Intervals (95 %) draw whole authors anew. The two parts share no author.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Iterable
from functools import partial
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites import recurring
from training.composites.figures import Figure, load
from training.composites.pairs import Pair
from training.composites.statistics import auc, group_bootstrap, mean_of, ratio_cost, threshold_at, wilson
from training.composites.trials import QUICK, ROWS, Counts, Trial, make, plan
from training.repeat_baselines import BASELINES, Matrix
from vision.repeats.repeat import HYPOTHESES
from vision.repeats.sheet import SHEET_PX, Sheet
from vision.resize import resize

OURS = "ours"
METHODS = (OURS, *BASELINES)
#: Largest median error of a found place, share of the panel's longer side.
RIGHT_PLACE = 0.03
RATE = 0.01
#: What a copy of this kind is in truth, and what each kind ought to be called.
TRUE_NAME = {"copy": "exact_copy", "copy_turned": "exact_copy", "copy_mirrored": "exact_copy", "slip": "slip", "book": "book",
             "rotary": "rotary", "none": "coincidence"}
NOT_FOUND = -1e9

Row = dict[str, Any]


def sheets_of(pair: Pair) -> tuple[list[Sheet], Matrix]:
    """The two panels as sheets side by side on one photo, and the matrix from the pair's pixels to the sheets' (the same
    shrinking for both, so that a scale mismatch stays)."""
    scale = min(1.0, SHEET_PX / max(*pair.a.shape, *pair.b.shape))
    sheets, x = [], 40.0
    for name, pixels in (("a", pair.a), ("b", pair.b)):
        h, w = max(8, round(pixels.shape[0] * scale)), max(8, round(pixels.shape[1] * scale))
        to_photo = np.array([[1, 0, x], [0, 1, 40.0], [0, 0, 1]])
        sheets.append(Sheet("photo", name, resize(pixels, w, h), np.ones((h, w), bool), to_photo))
        x += w + 60.0
    return sheets, np.array([[scale, 0, (scale - 1) / 2], [0, scale, (scale - 1) / 2], [0, 0, 1.0]])


def place_error(truth: Matrix, found: Matrix, a: tuple[int, ...], b: tuple[int, ...]) -> float:
    """Median distance between true and found place on b of the points of a that lie on both; share of the longer side."""
    y, x = np.mgrid[0 : a[0] - 1 : 12j, 0 : a[1] - 1 : 12j]
    points = np.stack([x.ravel(), y.ravel(), np.ones(x.size)])
    true, got = truth @ points, found @ points
    true, got = true[:2] / true[2], got[:2] / got[2]
    on = (true[0] >= 0) & (true[1] >= 0) & (true[0] <= b[1] - 1) & (true[1] <= b[0] - 1)
    if not on.any():
        return float("nan")
    return float(np.median(np.hypot(*(true - got)[:, on])) / max(*a[:2], *b[:2]))


def measure_trial(trial: Trial, figures: list[Figure], methods: tuple[str, ...]) -> Row:
    """All methods on one pair."""
    pair = make(trial, figures)
    sheets, shrink = sheets_of(pair)
    truth = None if pair.truth is None else shrink @ pair.truth @ np.linalg.inv(shrink)
    row: Row = {"part": trial.part, "kind": trial.kind, "damage": trial.damage, "group": pair.groups[0],
                "groups": list(pair.groups), "share": pair.share, "leaves": pair.leaves, "drift": pair.drift_px,
                "shrink": pair.shrink, "detail": pair.detail, "rendered": trial.first < 0,
                "figure": "rendered" if trial.first < 0 else figures[trial.first].kind}
    leaf = trial.kind in ("slip", "book", "rotary")
    for method in methods:
        if leaf and method != OURS:  # baselines say repeat or none; what kind of repeat is no question to them
            continue
        start = time.perf_counter()
        if method == OURS:
            score, matrix, more = _ours(sheets)
            row.update(more)
        else:
            match = BASELINES[method](sheets[0].pixels, sheets[1].pixels)
            score, matrix = match.score, match.matrix
        row[f"{method}_s"] = time.perf_counter() - start
        row[method] = score
        good = truth is not None and matrix is not None
        row[f"{method}_error"] = (place_error(truth, matrix, sheets[0].pixels.shape, sheets[1].pixels.shape)
                                  if good and truth is not None and matrix is not None else None)
    return row


def _ours(sheets: list[Sheet]) -> tuple[float, Matrix | None, Row]:
    from vision.repeats.find import find_repeats

    between = [r for r in find_repeats(sheets) if (r.a, r.b) == (0, 1)]
    counted = [r for r in between if not r.same_surface]
    more: Row = {"same_surface": bool(between) and not counted, "likelihoods": None, "motion": None}
    if not counted:
        return NOT_FOUND, None, more
    best = max(counted, key=lambda r: r.log_odds)
    more |= {"likelihoods": {k: float(v) for k, v in best.log_likelihoods.items()}, "motion": best.motion}
    return best.log_odds, best.transform, more


_STATE: dict[str, Any] = {}


def _start(photos: Path, textures: Path | None) -> None:
    cv2.setNumThreads(1)
    _STATE.update({part: load(photos, textures, part) for part in ("tune", "report")})


def _work_sheet(job: recurring.Job) -> Row:
    return recurring.measure_sheet(job, _STATE[job[0]])


def _work(trial: Trial, methods: tuple[str, ...]) -> Row:
    return measure_trial(trial, _STATE[trial.part], methods)


def measure_all(photos: Path, textures: Path | None, counts: Counts, methods: tuple[str, ...], workers: int,
                ) -> tuple[list[Row], list[Row]]:
    """(rows of all pairs, rows of single panels), in the order of the plan; panels only when ours is measured."""
    _start(photos, textures)
    trials = plan(_STATE["tune"], _STATE["report"], counts)
    sheets = recurring.jobs(_STATE["tune"], _STATE["report"], counts.recurring) if OURS in methods else []
    if workers <= 1:
        return [_work(t, methods) for t in trials], [_work_sheet(j) for j in sheets]
    with get_context("spawn").Pool(workers, initializer=_start, initargs=(photos, textures)) as pool:
        return (list(pool.imap(partial(_work, methods=methods), trials, chunksize=8)),
                list(pool.imap(_work_sheet, sheets, chunksize=8)))


# -- what the rows say -----------------------------------------------------------------------------------------------
def summarise(rows: list[Row], methods: Iterable[str]) -> Row:
    """Every figure that is printed, from the rows."""
    methods = tuple(methods)
    real = [r for r in rows if not r["rendered"]]
    negatives = [r for r in rows if r["kind"] == "none" and r["part"] == "report"]
    tuning = [r for r in real if r["kind"] == "none" and r["part"] == "tune"]
    copies = [r for r in real if r["kind"].startswith("copy")]
    out: Row = {"negatives": len(negatives), "tuning_negatives": len(tuning), "copies": len(copies),
                "groups": len({r["group"] for r in copies}), "thresholds": {}, "false_alarms": {}, "rows": {}}
    for m in methods:
        tuned = threshold_at(_column(tuning, m), RATE)
        own = threshold_at(_column(negatives, m), RATE)
        hits = int((_column(negatives, m) > tuned).sum())
        out["thresholds"][m] = {"tuned": tuned, "own": own}
        out["false_alarms"][m] = {"hits": hits, "of": len(negatives), "interval": wilson(hits, len(negatives)),
                                  "said": int((_column(negatives, m) > NOT_FOUND / 2).sum()) if m == OURS else None}
    for damage in (*ROWS, "any"):
        mine = [r for r in copies if damage in (r["damage"], "any")]
        if mine:
            out["rows"][damage] = _damage_row(mine, negatives, methods, out["thresholds"])
    for name, pick in (("photos", lambda r: not r["group"].startswith("texture ")),
                       ("textures", lambda r: r["group"].startswith("texture ")),
                       ("straight", lambda r: r["figure"] == "straight"),
                       ("share < 60 %", lambda r: r["share"] < 0.6)):
        mine = [r for r in copies if pick(r)]
        if mine:
            out["rows"][name] = _damage_row(mine, negatives, methods, out["thresholds"])
    if OURS in methods:
        out |= _decisions(rows)
    return out


def _column(rows: list[Row], key: str) -> NDArray[np.float64]:
    return np.array([r[key] for r in rows], dtype=float)


def found(rows: list[Row], method: str, threshold: float) -> NDArray[np.float64]:
    """1 where a copy scores above the threshold at the right place."""
    error = np.array([np.inf if r[f"{method}_error"] is None else r[f"{method}_error"] for r in rows])
    return ((_column(rows, method) > threshold) & (error <= RIGHT_PLACE)).astype(float)


def _damage_row(mine: list[Row], negatives: list[Row], methods: tuple[str, ...], thresholds: Row) -> Row:
    groups = [r["group"] for r in mine]
    out: Row = {"n": len(mine)}
    hits = {m: found(mine, m, thresholds[m]["tuned"]) for m in methods}
    for m in methods:
        got = hits[m]
        own = found(mine, m, thresholds[m]["own"])
        errors = np.array([r[f"{m}_error"] for r, g in zip(mine, got, strict=True) if g])
        out[m] = {"tuned": float(got.mean()), "interval": group_bootstrap(groups, mean_of(got)),
                  "own": float(own.mean()), "above": float((_column(mine, m) > thresholds[m]["tuned"]).mean()),
                  "auc": auc(_column(mine, m), _column(negatives, m)),
                  "error": float(np.median(errors)) if len(errors) else None,
                  "within_1_percent": float((errors <= 0.01).mean()) if len(errors) else None}
        if m != OURS and OURS in methods:
            gap = hits[OURS] - got
            out[m]["ours_minus"] = float(gap.mean())
            out[m]["ours_minus_interval"] = group_bootstrap(groups, mean_of(gap))
    return out


def leaf_log_ratio(likelihoods: dict[str, float]) -> float:
    """Log likelihood ratio of an exact copy against leaves (slip, book and rotary alike likely)."""
    leaves = np.array([likelihoods[k] for k in ("slip", "book", "rotary")])
    return float(likelihoods["exact_copy"] - (np.logaddexp.reduce(leaves) - np.log(3)))


def _decisions(rows: list[Row]) -> Row:
    """Print against leaves, confusion of decisions and the cost of the likelihood ratios, of our method."""
    told = [r for r in rows if r["part"] == "report" and r.get("likelihoods")]
    out: Row = {"print_against": {}, "confusion": {}, "ratio_cost": {}, "same_surface": sum(r["same_surface"] for r in rows)}
    copies = [r for r in told if r["kind"].startswith("copy")]
    ratio = {id(r): leaf_log_ratio(r["likelihoods"]) for r in told}
    sets = {"slip": lambda r: r["kind"] == "slip" and not r["rendered"],
            "slip, rendered": lambda r: r["kind"] == "slip" and r["rendered"],
            "slip, 1 or 2 leaves": lambda r: r["kind"] == "slip" and not r["rendered"] and r["leaves"] <= 2,
            "book": lambda r: r["kind"] == "book" and not r["rendered"],
            "rotary": lambda r: r["kind"] == "rotary" and not r["rendered"],
            "any leaves": lambda r: r["kind"] in ("slip", "book", "rotary")}
    for name, pick in sets.items():
        leaves = [r for r in told if pick(r)]
        both = copies + leaves
        values = np.array([ratio[id(r)] for r in both])
        is_copy = np.array([r["kind"].startswith("copy") for r in both])

        def area(k: NDArray[np.intp], values: NDArray[np.float64] = values, is_copy: NDArray[np.bool_] = is_copy) -> float:
            return auc(values[k][is_copy[k]], values[k][~is_copy[k]])

        made = sum(1 for r in rows if r["part"] == "report" and pick(r))
        out["print_against"][name] = {"found": len(leaves), "of": made, "auc": area(np.arange(len(both))),
                                      "interval": group_bootstrap([r["group"] for r in both], area, times=400)}
    leaves = [r for r in told if r["kind"] in ("slip", "book", "rotary")]
    chance = [r for r in told if r["kind"] == "none"]
    named = {"copy against leaves": (np.array([ratio[id(r)] for r in copies]), np.array([ratio[id(r)] for r in leaves])),
             "repeat against chance": (np.array([r["ours"] for r in copies + leaves]), np.array([r["ours"] for r in chance]))}
    for name, (true, false) in named.items():
        cost, least = ratio_cost(true, false)
        out["ratio_cost"][name] = {"cost": cost, "least": least, "n": [len(true), len(false)]}
    values = np.array([ratio[id(r)] for r in copies + leaves])
    out["ratio_table"] = reliability(values, np.r_[np.ones(len(copies)), np.zeros(len(leaves))])
    for r in rows:
        if r["part"] != "report":
            continue
        kind = r["kind"] + (" (rendered)" if r["rendered"] else "")
        name = max(r["likelihoods"], key=r["likelihoods"].get) if r["likelihoods"] else "not found"
        cell = out["confusion"].setdefault(kind, dict.fromkeys((*HYPOTHESES, "not found"), 0))
        cell[name] += 1
    return out


def reliability(log_ratios: NDArray[np.float64], truth: NDArray[np.float64]) -> list[Row]:
    """Stated chance of a copy (both sides weighted to even odds) against how often it was one, by bin."""
    if not len(truth) or truth.min() == truth.max():
        return []
    stated = 1 / (1 + np.exp(-np.clip(log_ratios, -50, 50)))
    weight = np.where(truth > 0, 0.5 / (truth > 0).sum(), 0.5 / (truth == 0).sum())
    out = []
    edges = np.array([0, 0.05, 0.2, 0.5, 0.8, 0.95, 1.0 + 1e-9])
    for low, high in pairwise(edges):
        inside = (stated >= low) & (stated < high)
        if inside.any():
            w = weight[inside]
            out.append({"from": float(low), "to": float(min(high, 1)), "n": int(inside.sum()),
                        "stated": float((w * stated[inside]).sum() / w.sum()),
                        "true": float((w * truth[inside]).sum() / w.sum())})
    return out


def text(summary: Row, methods: Iterable[str]) -> str:
    """The summary as lines for the terminal."""
    methods = tuple(methods)
    lines = [f"Copies found at the right place, threshold at {RATE:.0%} false alarms ({summary['copies']} copies, "
             f"{summary['groups']} authors)", "first figure: threshold from other authors; in brackets: from the same negatives",
             f"{'damage':12s} {'n':>4s}  " + "  ".join(f"{m:>24s}" for m in methods)]
    for damage, row in summary["rows"].items():
        cells = [f"{row[m]['tuned']:.2f} {row[m]['interval'][0]:.2f}-{row[m]['interval'][1]:.2f} ({row[m]['own']:.2f})"
                 for m in methods]
        lines.append(f"{damage:12s} {row['n']:4d}  " + "  ".join(f"{c:>24s}" for c in cells))
    lines += ["", "Area under the curve against all negatives | median error of place (share within 1 %)"]
    for damage, row in summary["rows"].items():
        cells = [f"{row[m]['auc']:.3f} | {_share(row[m]['error'])} ({_share(row[m]['within_1_percent'], 0)})" for m in methods]
        lines.append(f"{damage:12s} {row['n']:4d}  " + "  ".join(f"{c:>24s}" for c in cells))
    lines += ["", f"False alarms among {summary['negatives']} negatives at the threshold from other authors"]
    for m in methods:
        f = summary["false_alarms"][m]
        said = "" if f["said"] is None else f"; found anything at all: {f['said']}"
        lines.append(f"  {m:6s} {f['hits']:3d} = {f['hits'] / max(1, f['of']):.3f} ({f['interval'][0]:.3f}-"
                     f"{f['interval'][1]:.3f}){said}; threshold {summary['thresholds'][m]['tuned']:.3g}")
    if OURS not in methods:
        return "\n".join(lines)
    lines += ["", "Ours minus each baseline, paired"]
    for damage, row in summary["rows"].items():
        cells = [f"{m} {row[m]['ours_minus']:+.2f} ({row[m]['ours_minus_interval'][0]:+.2f} to "
                 f"{row[m]['ours_minus_interval'][1]:+.2f})" for m in methods if m != OURS]
        lines.append(f"{damage:12s} " + "   ".join(cells))
    lines += ["", "Print against leaves, of those found (area under the curve)"]
    for name, v in summary["print_against"].items():
        lines.append(f"  {name:22s} {v['auc']:.3f} ({v['interval'][0]:.3f}-{v['interval'][1]:.3f}), "
                     f"found {v['found']} of {v['of']}")
    lines += ["", f"Decisions (most likely), {summary['same_surface']} taken for one surface seen twice"]
    names = (*HYPOTHESES, "not found")
    lines.append(f"  {'truth':18s} " + " ".join(f"{n:>11s}" for n in names))
    for kind, cell in summary["confusion"].items():
        lines.append(f"  {kind:18s} " + " ".join(f"{cell[n]:11d}" for n in names))
    lines += ["", "Cost of likelihood ratios, bits (least: the same scores calibrated at best)"]
    for name, v in summary["ratio_cost"].items():
        lines.append(f"  {name:22s} {v['cost']:.3f} (least {v['least']:.3f}; n {v['n'][0]} + {v['n'][1]})")
    lines += ["Chance of a copy, stated and true (even odds)"]
    lines += [f"  {b['from']:.2f}-{b['to']:.2f}: stated {b['stated']:.2f}, true {b['true']:.2f} (n {b['n']})"
              for b in summary["ratio_table"]]
    return "\n".join(lines)


def _share(value: float | None, digits: int = 1) -> str:
    return "-" if value is None else f"{value:.{digits}%}"


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--textures", type=Path, default=None)
    parser.add_argument("--json", type=Path, required=True)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--quick", action="store_true", help="about an eighth of the pairs: a look, not a figure")
    parser.add_argument("--methods", nargs="*", default=list(METHODS), choices=METHODS)
    args = parser.parse_args()
    start = time.perf_counter()
    methods = tuple(args.methods)
    rows, panels = measure_all(args.photos, args.textures, QUICK if args.quick else Counts(), methods, args.workers)
    summary = summarise(rows, methods)
    if panels:
        summary["recurring"] = recurring.summarise(panels)
    summary["seconds"] = {m: float(np.mean([r[f"{m}_s"] for r in rows if f"{m}_s" in r])) for m in methods}
    args.json.parent.mkdir(parents=True, exist_ok=True)
    public = [{k: v for k, v in r.items() if k not in ("group", "groups")} for r in rows + panels]
    args.json.write_text(json.dumps({"summary": summary, "rows": public}, default=float))
    print(text(summary, methods))
    if panels:
        print("\n" + recurring.text(summary["recurring"]))
    print(f"\n{len(rows)} pairs and {len(panels)} panels in {time.perf_counter() - start:.0f} s; seconds a pair: "
          + ", ".join(f"{m} {s:.2f}" for m, s in summary["seconds"].items()))


if __name__ == "__main__":
    main()

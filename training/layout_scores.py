"""Scores of reading leaf layouts, on composites of real figure; mirror axes against voting of mirrored SIFT pairs.

    python -m training.layout_scores --photos DIR [--textures DIR] --json FILE [--workers 2] [--every 3] [--quick]

Names: balanced accuracy over all layouts, where 'unclear' counts as wrong, and again for the most probable name. Axes: F1
of lines within 2 % of the panel's width and 2 degrees; the baseline's vote threshold is the one with the best F1 on the
tuning part. Wedges: exact count. Intervals (95 %) draw whole authors anew; the two parts share no author.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites.camera import DAMAGES
from training.composites.figures import Figure, load
from training.composites.layouts import NAMES, LayoutTruth, make_layout
from training.composites.statistics import group_bootstrap
from training.composites.trials import alike
from training.repeat_baselines import mirror_axes
from vision.panels.rectify import WORKING_PX
from vision.resize import fit_within, resize
from vision.types import Panel, WorkingView

ROWS = tuple(d for d in DAMAGES if d != "scale")
#: Tolerances of an axis: share of the panel's width, degrees.
OFF, TURN = 0.02, 2.0  # the width taken is the panel's shorter side
#: What a made layout is called by the reader: ways of sharing out widths are said on top of book.
READER_NAME = {"parquet": "basket", "running": "book", "balance": "book", "centre_balance": "book"}
#: Leaves without relation and boards differ only in widths and tones, which overlap: also scored as one.
MERGED = {"random": "unrelated", "boards": "unrelated"}

Row = dict[str, Any]
Line = NDArray[np.float64]


def view_of(pixels: NDArray[np.uint8]) -> tuple[WorkingView, float]:
    """(working view of a picture that is all panel, its pixels per picture pixel)."""
    h, w = pixels.shape[:2]
    width, height = fit_within(w, h, max_side=WORKING_PX)
    scale = width / w
    outline = ((-0.5, -0.5), (w - 0.5, -0.5), (w - 0.5, h - 0.5), (-0.5, h - 0.5))
    panel = Panel("p1", "photo", outline, "given", "face", 1.0, outline)
    grow = np.array([[w / width, 0, 0.5 * (w / width - 1)], [0, h / height, 0.5 * (h / height - 1)], [0, 0, 1.0]])
    view = WorkingView(panel=panel, pixels=resize(pixels, width, height), mask=np.ones((height, width), bool), to_photo=grow,
                       px_scale=w / width, native=pixels, native_mask=np.ones((h, w), bool), native_origin=(0, 0))
    return view, scale


def as_line(p0: NDArray[np.float64], p1: NDArray[np.float64]) -> Line:
    """(x0, y0, x1, y1) float64."""
    return np.array([*p0, *p1], dtype=np.float64)


def same_line(one: Line, other: Line, width: float) -> bool:
    """Whether two lines agree: directions within `TURN` degrees, and the middle of `one` within `OFF` of the width."""
    d, e = one[2:] - one[:2], other[2:] - other[:2]
    cross = abs(d[0] * e[1] - d[1] * e[0]) / max(1e-9, float(np.hypot(*d) * np.hypot(*e)))
    if np.rad2deg(np.arcsin(min(1.0, cross))) > TURN:
        return False
    normal = np.array([-e[1], e[0]]) / max(1e-9, float(np.hypot(*e)))
    return bool(abs(((one[:2] + one[2:]) / 2 - other[:2]) @ normal) <= OFF * width)


def merged(lines: list[Line], width: float) -> list[Line]:
    """Lines without those that continue another (two opposite joints of a sunburst are one axis)."""
    out: list[Line] = []
    for line in lines:
        if not any(same_line(line, kept, width) for kept in out):
            out.append(line)
    return out


def count_axes(true: list[Line], found: list[Line], width: float) -> tuple[int, int, int]:
    """(matched, found, true) after a one to one matching, in the order found."""
    left = list(true)
    hits = 0
    for line in found:
        k = next((i for i, t in enumerate(left) if same_line(t, line, width)), None)
        if k is not None:
            left.pop(k)
            hits += 1
    return hits, len(found), len(true)


def true_widths(truth: LayoutTruth) -> str | None:
    """How the widths of leaves side by side share the panel; None for other layouts."""
    if truth.name not in ("book", "slip", "running", "balance", "centre_balance"):
        return None
    if truth.name == "running":
        return "running"
    return "centre_balance" if len(truth.leaves) % 2 == 0 else "balance"


def measure_panel(truth: LayoutTruth) -> Row:
    """Reading and baseline on one composite."""
    from vision.grain.field import grain_field
    from vision.layouts import read_layout

    view, scale = view_of(truth.pixels)
    h, w = view.mask.shape
    width = float(min(h, w))
    shift = 0.5 * (scale - 1)
    true = merged([as_line(a[0] * scale + shift, a[1] * scale + shift) for a in truth.axes], width)
    start = time.perf_counter()
    reading = read_layout(view, grain_field(view.pixels, mask=view.mask))
    seconds = time.perf_counter() - start
    found = merged([as_line(np.array(a.p0), np.array(a.p1)) for a in reading.axes], width)
    start = time.perf_counter()
    voted = []
    for axis in mirror_axes(view.pixels):
        n = np.array([np.cos(axis.angle), np.sin(axis.angle)])
        foot = n * axis.distance + np.array([-n[1], n[0]]) * float(np.array([w / 2, h / 2]) @ np.array([-n[1], n[0]]))
        voted.append([*as_line(foot - 50 * np.array([-n[1], n[0]]), foot + 50 * np.array([-n[1], n[0]])), axis.score])
    centre_error = None
    if truth.centre is not None and reading.centre is not None:
        off = np.array(truth.centre) * scale + shift - np.array([reading.centre.x, reading.centre.y])
        centre_error = float(np.hypot(*off) / width)
    probable = max(reading.probabilities, key=lambda n: reading.probabilities[n])
    return {"name": READER_NAME.get(truth.name, truth.name), "made": truth.name, "said": reading.name, "probable": probable,
            "stated": float(reading.probabilities[probable]), "damage": truth.damage, "group": truth.groups[0],
            "wedges": truth.wedges, "said_wedges": reading.wedges, "widths": true_widths(truth), "said_widths": reading.widths,
            "points_to": reading.points_to, "axes": count_axes(true, found, width), "true_lines": [t.tolist() for t in true],
            "voted": voted, "width": width, "centre_error": centre_error, "seconds": seconds,
            "baseline_seconds": time.perf_counter() - start}


# -- the fixed list of panels ----------------------------------------------------------------------------------------
def panels(figures: list[Figure], each: int, part: str) -> list[tuple[str, str, str, int, int]]:
    """(part, name, damage, figure, seed): `each` panels of every layout (twice as many sunbursts), damages by turns."""
    rng = np.random.default_rng(11 if part == "report" else 12)
    usable = [i for i, f in enumerate(figures) if f.kind != "boards"]
    by_group: dict[str, list[int]] = {}
    for i in usable:
        by_group.setdefault(figures[i].group, []).append(i)
    out = []
    for number, name in enumerate(NAMES):
        order = [list(by_group)[k] for k in rng.permutation(len(by_group))]
        for k in range(each * (2 if name == "sunburst" else 1)):
            mine = by_group[order[k % len(order)]]
            out.append((part, name, ROWS[(k + number) % len(ROWS)], mine[int(rng.integers(len(mine)))], 1000 * number + k))
    return out


def make_panel(job: tuple[str, str, str, int, int], figures: list[Figure]) -> LayoutTruth:
    """The composite of one job."""
    part, name, damage, first, seed = job
    rng = np.random.default_rng([seed, 5 if part == "report" else 6])
    others = [k for k in alike(figures, first) if figures[k].kind != "boards"][:2]
    return make_layout([figures[k] for k in (first, *others)], name, rng, damage)


_STATE: dict[str, Any] = {}


def _start(photos: Path, textures: Path | None) -> None:
    cv2.setNumThreads(1)
    _STATE.update({part: load(photos, textures, part) for part in ("tune", "report")})


def _work(job: tuple[str, str, str, int, int]) -> Row:
    return {"part": job[0], **measure_panel(make_panel(job, _STATE[job[0]]))}


# -- what the rows say -----------------------------------------------------------------------------------------------
def balanced(rows: list[Row], said: str, rename: dict[str, str] | None = None) -> Callable[[NDArray[np.intp]], float]:
    """Balanced accuracy of the column `said` as a statistic of row indices."""
    rename = rename or {}
    names = np.array([rename.get(r["name"], r["name"]) for r in rows])
    right = np.array([rename.get(r[said], r[said]) for r in rows]) == names

    def statistic(k: NDArray[np.intp]) -> float:
        return float(np.mean([right[k][names[k] == n].mean() for n in np.unique(names[k])])) if len(k) else float("nan")

    return statistic


def f1(counts: NDArray[np.float64]) -> Callable[[NDArray[np.intp]], float]:
    """F1 from rows of (matched, found, true) as a statistic of row indices."""
    def statistic(k: NDArray[np.intp]) -> float:
        hits, found, true = counts[k].sum(axis=0)
        return float(2 * hits / max(1e-9, found + true))

    return statistic


def baseline_counts(rows: list[Row], threshold: float) -> NDArray[np.float64]:
    """(n, 3) matched, found, true of the voted axes above a threshold."""
    return np.array([count_axes([np.array(t) for t in r["true_lines"]],
                                [np.array(v[:4]) for v in r["voted"] if v[4] >= threshold], r["width"]) for r in rows], float)


def summarise(rows: list[Row]) -> Row:
    """Every figure that is printed."""
    report, tune = [r for r in rows if r["part"] == "report"], [r for r in rows if r["part"] == "tune"]
    everyone = np.arange(len(tune))
    scores = sorted({round(v[4], 3) for r in tune for v in r["voted"]})
    tried = [scores[int(q * (len(scores) - 1))] for q in np.linspace(0, 1, 40)] if scores else [0.0]
    threshold = max(tried, key=lambda t: f1(baseline_counts(tune, t))(everyone))
    groups = [r["group"] for r in report]
    index = np.arange(len(report))
    ours, theirs = np.array([r["axes"] for r in report], float), baseline_counts(report, threshold)

    def gap(k: NDArray[np.intp]) -> float:
        return f1(ours)(k) - f1(theirs)(k)

    out: Row = {"panels": len(report), "groups": len(set(groups)), "baseline_threshold": threshold, "names": {}, "axes": {}}
    for key, said, rename in (("said", "said", None), ("probable", "probable", None), ("said, unrelated merged", "said", MERGED),
                              ("probable, unrelated merged", "probable", MERGED)):
        statistic = balanced(report, said, rename)
        out["names"][key] = {"value": statistic(index), "interval": group_bootstrap(groups, statistic)}
    for key, statistic in (("ours", f1(ours)), ("mirrored SIFT voting", f1(theirs)), ("ours minus voting", gap)):
        out["axes"][key] = {"value": statistic(index), "interval": group_bootstrap(groups, statistic)}
    out["axes"]["precision, recall"] = [float(ours[:, 0].sum() / max(1, ours[:, k].sum())) for k in (1, 2)]
    bursts = np.array([i for i in index if report[i]["wedges"]])
    right = np.array([r["said_wedges"] == r["wedges"] for r in report], float)
    names = [groups[i] for i in bursts]
    out["wedges"] = {"value": float(right[bursts].mean()) if len(bursts) else float("nan"), "n": len(bursts),
                     "interval": group_bootstrap(names, lambda k: float(right[bursts[k]].mean()))}
    wide = [r for r in report if r["widths"] and r["said"] == r["name"]]
    out["widths"] = {"right": sum(r["widths"] == r["said_widths"] for r in wide), "of": len(wide)}
    errors = [r["centre_error"] for r in report if r["centre_error"] is not None]
    out["centre_error"] = {"median": float(np.median(errors)) if errors else None, "n": len(errors)}
    decided = [r for r in report if r["said"] not in ("unclear", "none")]
    out["decided"] = {"share": len(decided) / max(1, len(report)),
                      "right": float(np.mean([r["said"] == r["name"] for r in decided])) if decided else float("nan")}
    out["damages"] = {}
    for damage in ROWS:
        k = np.array([i for i in index if report[i]["damage"] == damage], dtype=int)
        if len(k):
            out["damages"][damage] = {"n": len(k), "said": balanced(report, "said")(k),
                                      "probable": balanced(report, "probable")(k), "f1": f1(ours)(k), "f1_voting": f1(theirs)(k)}
    out["kinds"] = {}
    for name in dict.fromkeys(r["name"] for r in report):
        k = np.array([i for i in index if report[i]["name"] == name], dtype=int)
        hits, found, true = ours[k].sum(axis=0)
        out["kinds"][name] = {"n": len(k), "groups": len({groups[i] for i in k}), "f1": f1(ours)(k) if true else None,
                              "false": float((found - hits) / len(k))}
    out["stated"] = []
    for low, high in pairwise((0.0, 0.5, 0.7, 0.9, 0.97, 1.001)):
        mine = [r for r in report if low <= r["stated"] < high]
        if mine:
            out["stated"].append({"low": low, "high": min(high, 1.0), "n": len(mine),
                                  "mean": float(np.mean([r["stated"] for r in mine])),
                                  "right": float(np.mean([r["probable"] == r["name"] for r in mine]))})
    out["precision"] = {}
    for name in sorted({r["said"] for r in report} - {"unclear", "none"}):
        mine = [r for r in report if r["said"] == name]
        out["precision"][name] = {"n": len(mine), "right": sum(r["name"] == name for r in mine)}
    out["confusion"] = {}
    for r in report:
        cell = out["confusion"].setdefault(r["name"], {})
        cell[r["said"]] = cell.get(r["said"], 0) + 1
    out["seconds"] = {k: float(np.mean([r[k] for r in rows])) for k in ("seconds", "baseline_seconds")}
    return out


def text(s: Row) -> str:
    """The summary as lines for the terminal."""
    def figure(v: Row) -> str:
        return f"{v['value']:.3f} ({v['interval'][0]:.3f} to {v['interval'][1]:.3f})"

    lines = [f"Layouts of {s['panels']} made panels, {s['groups']} authors", "Balanced accuracy of the name"]
    lines += [f"  {k:28s} {figure(v)}" for k, v in s["names"].items()]
    lines.append(f"  decided {s['decided']['share']:.2f} of panels, {s['decided']['right']:.3f} of them right")
    lines.append(f"Mirror axes, F1 at {OFF:.0%} of the width and {TURN:g} degrees")
    lines += [f"  {k:28s} {figure(v)}" for k, v in s["axes"].items() if isinstance(v, dict)]
    lines.append("  ours: precision {:.3f}, recall {:.3f}".format(*s["axes"]["precision, recall"]))
    lines.append(f"Wedges counted exactly: {figure(s['wedges'])} of {s['wedges']['n']}")
    lines.append(f"Widths (balance, centre balance, running) right: {s['widths']['right']} of {s['widths']['of']} named right")
    if s["centre_error"]["median"] is not None:
        lines.append(f"Centre off by {s['centre_error']['median']:.1%} of the width (median of {s['centre_error']['n']})")
    lines.append(f"{'damage':12s} {'n':>4s} {'said':>6s} {'probable':>9s} {'F1':>6s} {'F1 voting':>10s}")
    lines += [f"{d:12s} {v['n']:4d} {v['said']:6.2f} {v['probable']:9.2f} {v['f1']:6.2f} {v['f1_voting']:10.2f}"
              for d, v in s["damages"].items()]
    lines.append(f"{'layout':16s} {'n':>4s} {'F1 axes':>8s} {'false axes a panel':>19s} {'said so, right':>15s}")
    for d, v in s["kinds"].items():
        said = s["precision"].get(d)
        told = f"{said['right']} of {said['n']}" if said else "-"
        score = "-" if v["f1"] is None else f"{v['f1']:.2f}"
        lines.append(f"{d:16s} {v['n']:4d} {score:>8s} {v['false']:19.2f} {told:>15s}")
    lines.append("Probability of the most probable name, stated and right")
    lines += [f"  {v['low']:.2f} to {v['high']:.2f}: stated {v['mean']:.2f}, right {v['right']:.2f} (n {v['n']})"
              for v in s["stated"]]
    lines.append("Made -> said")
    lines += [f"  {k:16s} " + ", ".join(f"{n} {c}" for n, c in sorted(v.items(), key=lambda t: -t[1]))
              for k, v in s["confusion"].items()]
    return "\n".join(lines)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--textures", type=Path, default=None)
    parser.add_argument("--json", type=Path, required=True)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--every", type=int, default=1, help="read only every so many-th panel of the list")
    parser.add_argument("--quick", action="store_true", help="a few panels of each layout: a look, not a figure")
    args = parser.parse_args()
    start = time.perf_counter()
    _start(args.photos, args.textures)
    jobs = [*panels(_STATE["report"], 4 if args.quick else 24, "report"), *panels(_STATE["tune"], 2 if args.quick else 5, "tune")]
    jobs = jobs[::args.every]
    if args.workers <= 1:
        rows = [_work(j) for j in jobs]
    else:
        with get_context("spawn").Pool(args.workers, initializer=_start, initargs=(args.photos, args.textures)) as pool:
            rows = list(pool.imap(_work, jobs, chunksize=4))
    summary = summarise(rows)
    args.json.parent.mkdir(parents=True, exist_ok=True)
    public = [{k: v for k, v in r.items() if k not in ("group", "true_lines", "voted")} for r in rows]
    args.json.write_text(json.dumps({"summary": summary, "rows": public}, default=float))
    print(text(summary))
    print(f"\n{len(rows)} panels in {time.perf_counter() - start:.0f} s; seconds a panel: reading "
          f"{summary['seconds']['seconds']:.2f}, voting {summary['seconds']['baseline_seconds']:.2f}")


if __name__ == "__main__":
    main()

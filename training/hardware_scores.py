"""Command: `python -m training.hardware_scores --json FILE [--photos DIR] [--renders DIR]`: hardware judged on drawn panels whose
seeds nothing was learned from (with --photos partly on real faces of authors never learned from), by traps, on rendered pieces
that nothing was learned from (their knobs and pulls are known), and what is found on real panels, whose hardware is not labelled.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from training.hardware.make import make
from training.hardware.match import is_one, matched
from training.hardware_fit import Row, grounds, rendered_rows, rows
from training.joint_scores import share
from vision.hardware.kinds import SEEN
from vision.hardware.read import judged, named, pair_among, read_hardware, stored, told

#: Draws of the bootstrap over pictures that gives the interval of F1 (95 %).
DRAWS = 400
Counts = tuple[int, int, int]


def f1(counts: np.ndarray) -> float:
    """Of (found right, said, true)."""
    right, said, true = (float(v) for v in counts)
    return 2 * right / (said + true) if said + true else math.nan


def with_interval(per_picture: Sequence[Counts], groups: Sequence[str] | None = None) -> dict[str, Any]:
    """F1, precision, recall; F1's interval from pictures, or groups of them, drawn again with replacement."""
    table = np.array(per_picture, float).reshape(-1, 3)
    if groups is not None:
        names = sorted(set(groups))
        table = np.array([table[[g == n for g in groups]].sum(axis=0) for n in names]).reshape(-1, 3)
    rng = np.random.default_rng(3)
    drawn = [f1(table[rng.integers(len(table), size=len(table))].sum(axis=0)) for _ in range(DRAWS)]
    total = table.sum(axis=0)
    return {"f1": f1(total), "low": float(np.nanpercentile(drawn, 2.5)), "high": float(np.nanpercentile(drawn, 97.5)),
            "precision": share(int(total[0]), int(total[1])), "recall": share(int(total[0]), int(total[2]))}


def kind_scores(found: Sequence[Row]) -> dict[str, Any]:
    """F1 of each kind over single things, of a missing pull over pictures, and the error of its spacing."""
    net, least = stored()
    counts: dict[str, list[Counts]] = defaultdict(list)
    off: list[tuple[float, float]] = []
    for r in found:
        p, things = r.picture, named(r.found, net)
        said = told(things, least)
        places = matched(said, p)[0]
        for kind in SEEN:
            mine = [k for t, k in zip(said, places, strict=True) if t.kind == kind and k is not None]
            counts[kind].append((sum(k >= 0 for k in mine), len(mine), sum(k == kind for k, _ in p.truth)))
        pair = pair_among(things, least, p.labels.shape)
        there = p.missing is not None and sum(k == "hole" for k, _ in p.truth) >= 2
        gone = pair is not None and pair[1] >= least["pull_missing"]
        counts["pull_missing"].append((int(gone and there), int(gone), int(there)))
        if pair is not None and gone and p.missing is not None:
            true = float(np.linalg.norm(p.missing[1] - p.missing[0]))
            off.append((abs(pair[0].px - true) / p.px_per_mm, pair[0].error / p.px_per_mm))
    out = {kind: with_interval(c) for kind, c in counts.items()}
    if off:
        errors = np.array(off)
        out["spacing_mm"] = {"median": float(np.median(errors[:, 0])), "p90": float(np.percentile(errors[:, 0], 90)),
                             "within_two_stated": share(int((errors[:, 0] < 2 * errors[:, 1]).sum()), len(errors))}
    return out


def rendered_scores(found: Sequence[Row]) -> dict[str, Any]:
    """Knobs and pulls on rendered faces: by kind, either as a grip at all, and what is told falsely on faces without any."""
    net, least = stored()
    counts: dict[str, list[Counts]] = defaultdict(list)
    false: dict[str, int] = defaultdict(int)
    bare = wronged = 0
    for r in found:
        said = told(named(r.found, net), least)
        places = matched(said, r.picture)[0]
        grips = [(k, h) for k, h in r.picture.truth]
        for kind in ("knob", "pull"):
            mine = [k for t, k in zip(said, places, strict=True) if t.kind == kind and k is not None]
            counts[kind].append((sum(k >= 0 for k in mine), len(mine), sum(k == kind for k, _ in grips)))
        mine = [any(is_one(t.hull, h) for _, h in grips) for t, k in zip(said, places, strict=True)
                if t.kind in ("knob", "pull") and k is not None]
        counts["grip of either kind"].append((sum(mine), len(mine), len(grips)))
        for t, k in zip(said, places, strict=True):
            if k == -1 and not any(is_one(t.hull, h) for _, h in grips):
                false[t.kind] += 1
        if not r.picture.labels.any():
            bare, wronged = bare + 1, wronged + bool(said)
    groups = [r.group for r in found]
    return {"faces": len(found), "pieces": len(set(groups)), "kinds": {k: with_interval(c, groups) for k, c in counts.items()},
            "false": dict(false), "bare_faces_with_a_find": share(wronged, bare)}


def trap_scores(found: Sequence[Row]) -> dict[str, Any]:
    """Pictures of the layout 'nothing' by trap on them: how many bear any find, and which."""
    net, least = stored()
    by_trap: dict[str, list[bool]] = defaultdict(list)
    what: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for r in found:
        if r.picture.layout != "nothing":
            continue
        said = [t.kind for t in told(named(r.found, net), least)]
        for name in {*r.picture.traps, "all"}:
            by_trap[name].append(bool(said))
            for kind in said:
                what[name][kind] += 1
    return {name: {**share(sum(v), len(v)), "what": dict(what[name])} for name, v in sorted(by_trap.items())}


def reliability(found: Sequence[Row]) -> list[dict[str, Any]]:
    """How often a stated chance is right, in bands."""
    net, _ = stored()
    said: list[tuple[float, bool]] = []
    for r in found:
        things = named(r.found, net)
        said += [(t.chance, k >= 0) for t, k in zip(things, matched(things, r.picture)[0], strict=True) if k is not None]
    out = []
    for low, high in ((0.05, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 1.01)):
        band = [(q, t) for q, t in said if low <= q < high]
        if band:
            out.append({"stated": float(np.mean([q for q, _ in band])), **share(sum(t for _, t in band), len(band))})
    return out


def real_panels(folder: Path, every: int) -> dict[str, Any]:
    """What is found on every so-manieth real panel of authors never learned from, by kind, label and author."""
    from training.hardware.grounds import author_part
    from training.joint_panels import panels

    seen = 0
    kinds: dict[str, int] = defaultdict(int)
    authors: dict[str, list[bool]] = defaultdict(list)
    faces: dict[str, list[bool]] = defaultdict(list)
    strongest: list[dict[str, Any]] = []
    for k, p in enumerate(panels(folder, author_part, "report")):
        if k % every:
            continue
        items = read_hardware(p.working, p.photo.pixels)
        seen += 1
        authors[p.author].append(bool(items))
        faces[p.face].append(bool(items))
        for kind in {i.kind for i in items}:
            kinds[kind] += 1
        strongest += [{"id": p.id, "kind": i.kind, "chance": round(i.chance, 3)} for i in items]
    strongest.sort(key=lambda s: -s["chance"])
    return {"panels": seen, "with_a_find": share(sum(sum(v) for v in authors.values()), seen), "panels_by_kind": dict(kinds),
            "authors_with_a_find": share(sum(any(v) for v in authors.values()), len(authors)),
            "by_face": {f: share(sum(v), len(v)) for f, v in sorted(faces.items())}, "strongest": strongest[:40]}


def speed(faces: Sequence[np.ndarray]) -> dict[str, float]:
    """Milliseconds a drawn panel, reading only, on this machine."""
    took = []
    for seed in range(12):
        p = make(990_000 + seed, faces)
        begun = time.perf_counter()
        judged(p.pixels)
        took.append(1000 * (time.perf_counter() - begun))
    return {"median_ms": float(np.median(took[2:])), "most_ms": float(np.max(took[2:]))}


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", type=Path, required=True)
    parser.add_argument("--photos", type=Path, default=None)
    parser.add_argument("--renders", type=Path, default=None)
    parser.add_argument("--count", type=int, default=400)
    parser.add_argument("--every", type=int, default=1, help="every how many real panels are looked at")
    chosen = parser.parse_args(arguments)
    faces = grounds("report", chosen.photos)
    found = rows("report", chosen.count, faces)
    result: dict[str, Any] = {"pictures": len(found), "kinds": kind_scores(found), "traps": trap_scores(found),
                              "reliability": reliability(found), "speed": speed(faces)}
    if chosen.renders is not None:
        result["rendered"] = rendered_scores(rendered_rows(chosen.renders, "report"))
    if chosen.photos is not None:
        result["real"] = real_panels(chosen.photos, chosen.every)
    chosen.json.parent.mkdir(parents=True, exist_ok=True)
    chosen.json.write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    for line in printed(result):
        print(line)


def _line(s: dict[str, Any]) -> str:
    if "f1" not in s:
        within = s["within_two_stated"]
        hits = f"within two stated {within['hits']} of {within['of']}"
        return f"median error {s['median']:.2f}, nine in ten under {s['p90']:.2f}; {hits}"
    return (f"F1 {s['f1']:.3f} ({s['low']:.3f} to {s['high']:.3f}) precision {s['precision']['share']:.2f} recall "
            f"{s['recall']['share']:.2f} of {s['recall']['of']}")


def printed(result: dict[str, Any]) -> Iterator[str]:
    """Lines of a result."""
    for kind, s in result["kinds"].items():
        yield f"spacing, mm  {_line(s)}" if kind == "spacing_mm" else f"{kind:12s} {_line(s)}"
    traps = {k: f"{v['hits']}/{v['of']} {v['what']}" for k, v in result["traps"].items()}
    yield f"traps {traps}"
    bands = [f"{r['stated']:.2f}: {r['share']:.2f} of {r['of']}" for r in result["reliability"]]
    yield f"reliability {bands}"
    yield f"speed {result['speed']}"
    if "rendered" in result:
        r = result["rendered"]
        yield f"rendered: {r['faces']} faces of {r['pieces']} pieces"
        for kind, s in r["kinds"].items():
            yield f"  {kind:19s} {_line(s)}"
        bare = r["bare_faces_with_a_find"]
        yield f"  told falsely {r['false']}; faces without any on which something is told {bare['hits']} of {bare['of']}"
    if "real" in result:
        real = result["real"]
        yield f"real panels with a find {real['with_a_find']['hits']} of {real['panels']}: {real['panels_by_kind']}"


if __name__ == "__main__":
    main()

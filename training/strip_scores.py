"""Scores of the narrow sides found beside panels: rendered pieces that taught nothing, and how many real photos show.

    python -m training.strip_scores --renders DIR [--photos DIR] --json FILE [--every 2] [--found 6]

A told band is right when it and a true narrow side share half of what either covers along the panel's side; it is not judged
where the truth names nothing (parts too small for it). A true narrow side (at least 80 px long, beside a face) is found when
any right band lies on it. A band is called the panel's own from a chance of 0.7; that is right when it lies on a narrow side of
the face's own part. Outlines are true, jittered by 2 to 4 px, drawn round face and edge, and found by the program.
Intervals (95 %) draw pieces anew. Real photos have no truth for this: only counts are told.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.composites.statistics import group_bootstrap
from training.strip_rows import (
    RIGHT,
    WAYS,
    WHOLE,
    FaceBands,
    RenderedPhoto,
    TrueSide,
    bands_with_truth,
    outlines_of,
    rendered_photos,
)
from vision.edges.find import find_strips, judged
from vision.edges.find_lines import Shrunk
from vision.edges.find_model import load_strip_model

#: Thickness of true narrow sides told apart, px, and their least length.
THICK = {"5-8": (5.0, 8.0), "8-15": (8.0, 15.0), "15+": (15.0, 1e9), "8+": (8.0, 1e9)}
LENGTH = 80.0
#: Chance from which a band is called the panel's own.
CALLED_OWN = 0.7
#: Bounds of chance between which bands are gathered to see whether chances hold.
BINS = (0.0, 0.1, 0.3, 0.5, 0.7, 0.85, 1.0)


@dataclass(frozen=True, eq=False)
class ToldBand:
    """The likeliest band of a side, told or not: where it is from, its chance and what the truth says."""

    piece: str
    chance: float
    right: bool
    own: bool | None
    own_chance: float
    is_judged: bool
    inside: bool


@dataclass(eq=False)
class WayResult:
    """What came of one way of taking outlines."""

    bands: list[ToldBand] = field(default_factory=list)
    faces: list[str] = field(default_factory=list)
    sides: list[TrueSide] = field(default_factory=list)
    found: list[bool] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)


def add_photo(result: WayResult, photo: RenderedPhoto, faces: Sequence[FaceBands], least: float) -> None:
    """Puts one photo's outlines into a way's result; `least`: chance from which a band is told."""
    model = load_strip_model()
    hit: set[int] = set()
    whole: set[int] = set()
    for face in faces:
        result.faces.append(photo.piece)
        for strip, side, n in judged(face.sides, model):
            if not side.clear(n):
                continue  # never told
            k = next(i for i, s in enumerate(face.sides) if s is side)
            right = bool(face.shared[k][n] >= RIGHT)
            own, sure = None if face.way == "found" else bool(face.own[k][n]), bool(face.judged[k][n])
            result.bands.append(ToldBand(photo.piece, strip.chance, right, own, strip.own, sure, strip.inside))
            number = int(face.which[k][n])
            if strip.chance >= least and right:
                hit.add(number)
                if photo.overlap(strip.outline, number) > WHOLE:
                    whole.add(number)
    for side_ in photo.true_sides():
        if side_.length >= LENGTH and side_.thick >= THICK["5-8"][0]:
            result.sides.append(side_)
            result.found.append(side_.key[1] in hit)
            result.whole.append(side_.key[1] in whole)


def mean_of(groups: Sequence[str], values: Sequence[bool | float], times: int = 300) -> dict[str, Any]:
    """Mean with its interval over pieces."""
    v = np.asarray(values, np.float64)
    if not len(v):
        return {"value": None, "n": 0}
    statistic: Callable[[NDArray[np.intp]], float] = lambda k: float(v[k].mean())  # noqa: E731
    low, high = group_bootstrap(list(groups), statistic, times=times)
    return {"value": float(v.mean()), "low": low, "high": high, "n": len(v), "pieces": len(set(groups))}


def figures(result: WayResult, least: float) -> dict[str, Any]:
    told = [b for b in result.bands if b.chance >= least]
    sure = [b for b in told if b.is_judged]
    wrong = [b for b in sure if not b.right]
    owned = [b for b in sure if b.right and b.own is not None]
    called = [b for b in sure if b.own is not None and b.own_chance >= CALLED_OWN]
    out: dict[str, Any] = {
        "outlines": len(result.faces), "told": len(told), "not_judged": len(told) - len(sure),
        "precision": mean_of([b.piece for b in sure], [b.right for b in sure]),
        "precision_not_judged_as_wrong": mean_of([b.piece for b in told], [b.right for b in told]),
        "own_part_when_right": mean_of([b.piece for b in owned], [bool(b.own) for b in owned]),
        "owner_right": mean_of([b.piece for b in owned], [bool(b.own) == (b.own_chance >= 0.5) for b in owned]),
        "called_own_and_is": mean_of([b.piece for b in called], [b.right and bool(b.own) for b in called]),
        "own_that_are_called": mean_of([b.piece for b in owned if b.own], [b.own_chance >= CALLED_OWN for b in owned if b.own]),
        "inside_when_told": float(np.mean([b.inside for b in told])) if told else None,
        "false_each_outline": len(wrong) / max(1, len(result.faces)),
    }
    for name, (low, high) in THICK.items():
        k = [i for i, s in enumerate(result.sides) if low <= s.thick < high]
        out[f"recall_{name}"] = mean_of([result.sides[i].piece for i in k], [result.found[i] for i in k])
        out[f"recall_whole_{name}"] = mean_of([result.sides[i].piece for i in k], [result.whole[i] for i in k])
    out["chances_hold"] = [
        {"from": lo, "to": hi, "n": len(part), "chance": float(np.mean([b.chance for b in part])),
         "right": float(np.mean([b.right for b in part]))}
        for lo, hi in pairwise(BINS)
        if (part := [b for b in result.bands if b.is_judged and lo <= b.chance < hi + (hi == 1.0)])]
    out["own_chances_hold"] = [
        {"from": lo, "to": hi, "n": len(part), "chance": float(np.mean([b.own_chance for b in part])),
         "own": float(np.mean([bool(b.own) for b in part]))}
        for lo, hi in pairwise(BINS) if (part := [b for b in owned if lo <= b.own_chance < hi + (hi == 1.0)])]
    return out


def trade(result: WayResult) -> list[dict[str, float]]:
    """Precision and bands told right at several least chances."""
    out = []
    for least in (0.5, 0.6, 0.7, 0.8, 0.9):
        told = [b for b in result.bands if b.chance >= least and b.is_judged]
        out.append({"least": least, "told": len(told), "precision": float(np.mean([b.right for b in told])) if told else 0.0})
    return out


def real_counts(folder: Path) -> dict[str, Any]:
    """How many strips are told on outlined faces of real photos."""
    from training.real_photos import labelled_panels, open_panel
    from vision.intake import load_photo

    per_face: list[int] = []
    seconds, last, photo = [], None, None
    for row in labelled_panels(folder):
        if row.view != "face" or row.line_scan:
            continue
        if row.path != last:
            photo, last = load_photo(row.path, row.path.stem), row.path
        assert photo is not None
        taken, panel = open_panel(row, photo)
        start = time.perf_counter()
        per_face.append(len(find_strips(taken.pixels, panel.outline)))
        seconds.append(time.perf_counter() - start)
    return {"faces": len(per_face), "strips": int(sum(per_face)), "faces_with_one": int(sum(c > 0 for c in per_face)),
            "ms_each": {"median": 1e3 * float(np.median(seconds)), "p90": 1e3 * float(np.percentile(seconds, 90))}}


def milliseconds(photos: Sequence[RenderedPhoto]) -> Iterator[float]:
    for photo in photos:
        pictures = Shrunk(photo.pixels)
        for outline, _ in outlines_of(photo, "true"):
            start = time.perf_counter()
            find_strips(photo.pixels, outline, pictures=pictures)
            yield 1e3 * (time.perf_counter() - start)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--renders", type=Path, required=True)
    parser.add_argument("--photos", type=Path)
    parser.add_argument("--json", type=Path, required=True)
    parser.add_argument("--every", type=int, default=2, help="use every so-manieth photo of the reported half")
    parser.add_argument("--found", type=int, default=6, help="of those, find panels on every so-manieth")
    args = parser.parse_args()
    model = load_strip_model()
    results = {way: WayResult() for way in WAYS}
    timed: list[RenderedPhoto] = []
    for n, photo in enumerate(rendered_photos(args.renders, "report", every=args.every)):
        ways = [w for w in WAYS if w != "found" or n % args.found == 0]
        faces = list(bands_with_truth(photo, ways))
        for way in ways:
            add_photo(results[way], photo, [f for f in faces if f.way == way], model.least)
        if n % 10 == 0:
            timed.append(photo)
    took = list(milliseconds(timed))
    out: dict[str, Any] = {way: {**figures(r, model.least), "trade": trade(r)} for way, r in results.items()}
    out["least"] = model.least
    out["ms_each"] = {"median": float(np.median(took)), "p90": float(np.percentile(took, 90)), "n": len(took)}
    if args.photos is not None:
        out["real"] = real_counts(args.photos)
    args.json.write_text(json.dumps(out, indent=1) + "\n", encoding="utf-8")
    for way in WAYS:
        r = out[way]
        print(f"{way:9} outlines {r['outlines']}, told {r['told']} (not judged {r['not_judged']}), "
              f"false each outline {r['false_each_outline']:.3f}")
        for name in ("precision", "own_part_when_right", "owner_right", "called_own_and_is", "own_that_are_called",
                     *(f"recall_{t}" for t in THICK), "recall_whole_8+"):
            v = r[name]
            if v["n"]:
                print(f"    {name:22} {v['value']:.3f} [{v['low']:.3f}, {v['high']:.3f}] n {v['n']}, pieces {v['pieces']}")
    print("ms each face", out["ms_each"], "real", out.get("real"))


if __name__ == "__main__":
    main()

"""How well damage regions are found: on drawn panels held out, against a baseline, and what is found on real panels.

    python -m training.damage_scores --photos DIR [--textures DIR] [--panels 900] [--net FOLDER] [--json FILE]

Drawn panels are of part 'report': no photographer, made-up tree or seed of theirs was used to teach or to fit. A found region
is right when it overlaps a true one by 0.3 (intersection over union), or when its centre lies in it and its size is within a
factor of two. A true region is a piece that hangs together; the lines 'counted once' take each drawn damage (a worn arris in
four pieces, a strewn swarm of holes) as one, and what is found of one kind on it as one. Intervals are 95 %, drawn anew over
surfaces. The real photos hold hardly any damage: of them only the number of regions is told.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.composites.statistics import group_bootstrap, wilson
from training.damage.bases import BASES
from training.damage.fooling import FOOLERS
from training.damage.kept import panels
from training.damage.make import NAMES
from training.damage.match import counted_once, f1, pair, truth_of
from training.damage.parts import part_of_group
from training.damage.tiles import baseline, tiles_of
from training.damage_fit import Seen, calibration_error
from vision.damage.find import find_damage, shown
from vision.damage.kinds import family, severity
from vision.damage.net import DamageNet
from vision.damage.regions import RawRegion, find_regions, probability

Row = dict[str, Any]


def kept_regions(seen: Seen, rules: dict[str, Any]) -> list[tuple[RawRegion, float]]:
    """Regions that the program would show, with their probabilities."""
    found = [(r, probability(r, rules)) for r in find_regions(seen.maps, float(rules["threshold"]))]
    return [(r, p) for r, p in found if p >= float(rules["least"].get(r.kind, rules["least_probability"]))]


def row_of(seen: Seen, rules: dict[str, Any], *, once: bool = False) -> Row:
    """Tallies of one panel; `once`: each drawn damage is one region, and what is found of one kind on it too."""
    truth = seen.truth
    kept = kept_regions(seen, rules)
    if once:
        merged, first = counted_once([r for r, _ in kept], truth)
        kept = [(r, kept[i][1]) for r, i in zip(merged, first, strict=True)]
        truth = replace(truth, regions=truth.drawn)
    mate, counts = pair([r for r, _ in kept], truth)
    found, false_cells = [], np.zeros(seen.maps.inside.shape, bool)
    for (region, chance), m, c in zip(kept, mate, counts, strict=True):
        if not c:
            continue
        true = None if m is None else truth.regions[m]
        if true is None:
            false_cells |= region.cells
        says = shown(region, float(rules["under_least"]))
        found.append(
            {
                "kind": region.kind,
                "chance": chance,
                "true": None if true is None else true.kind,
                "severity": severity(region.kind, min(1.0, region.area_share), region.at_border),
                "true_severity": None if true is None else true.severity,
                "shows": says,
                "true_shows": None if true is None else true.shows,
            }
        )
    return {
        "group": truth.group,
        "base": truth.base,
        "true": [(t.kind, t.severity) for t in truth.regions],
        "found": found,
        "fools": {n: bool((cells & false_cells).any()) for n, cells in truth.fools.items() if cells.any()},
        "sound": not truth.regions and not truth.unknown.any(),
    }


def _f1(
    rows: Sequence[Row], kind: str | None, *, place: bool = False, severe: str | None = None, level: Callable[[str], str] = str
) -> Row:
    """Precision, recall, F1 with its interval for one kind (None: all); `place`: the kind need not be right; `level`: takes
    kinds to what they are scored as."""
    right, found, true = (np.zeros(len(rows)) for _ in range(3))
    for i, row in enumerate(rows):
        true[i] = sum((kind in (None, level(k))) and severe in (None, s) for k, s in row["true"])
        for f in row["found"]:
            hit = f["true"] is not None and (place or level(f["true"]) == level(f["kind"]))
            if severe is not None and severe != (f["true_severity"] if hit else f["severity"]):
                continue
            if kind in (None, level(f["kind"])):
                found[i] += 1
                right[i] += hit

    def score(k: NDArray[np.intp]) -> float:
        return f1(float(right[k].sum()), float(found[k].sum()), float(true[k].sum()))

    return {
        "true": int(true.sum()),
        "found": int(found.sum()),
        "right": int(right.sum()),
        "precision": float(right.sum() / max(1, found.sum())),
        "recall": float(right.sum() / max(1, true.sum())),
        "f1": score(np.arange(len(rows))),
        "interval": group_bootstrap([r["group"] for r in rows], score, times=500),
    }


def _balanced(rows: Sequence[Row], level: Callable[[str], str]) -> Row:
    """Mean F1 over kinds (or families) with its interval, each kind counting alike."""
    names = sorted({level(k) for k in NAMES})
    at = {n: i for i, n in enumerate(names)}
    tally = np.zeros((len(rows), len(names), 3))  # right, found, true
    for i, row in enumerate(rows):
        for k, _ in row["true"]:
            tally[i, at[level(k)], 2] += 1
        for f in row["found"]:
            tally[i, at[level(f["kind"])], 1] += 1
            tally[i, at[level(f["kind"])], 0] += f["true"] is not None and level(f["true"]) == level(f["kind"])

    def score(k: NDArray[np.intp]) -> float:
        right, found, true = tally[k].sum(axis=0).T
        there = true > 0
        return float((2 * right[there] / np.maximum(1, found[there] + true[there])).mean())

    return {"f1": score(np.arange(len(rows))), "interval": group_bootstrap([r["group"] for r in rows], score, times=500)}


def summarise(rows: Sequence[Row]) -> Row:
    """All figures on drawn panels."""
    sound = [r for r in rows if r["sound"]]
    chance = np.array([f["chance"] for r in rows for f in r["found"]])
    right = np.array([f["true"] == f["kind"] for r in rows for f in r["found"]])
    mated = [f for r in rows for f in r["found"] if f["true"] == f["kind"]]
    told = [f for f in mated if f["shows"] and f["true_shows"]]
    agree, spoke = sum(f["severity"] == f["true_severity"] for f in mated), sum(f["shows"] == f["true_shows"] for f in told)
    out: Row = {
        "panels": len(rows),
        "surfaces": len({r["group"] for r in rows}),
        "sound": len(sound),
        "all": _f1(rows, None),
        "families": _f1(rows, None, level=family),
        "place": _f1(rows, None, place=True),
        "kinds_balanced": _balanced(rows, str),
        "families_balanced": _balanced(rows, family),
        "face_gone": _f1(rows, "face_gone", level=family),
        "kinds": {k: _f1(rows, k) for k in NAMES},
        "severities": {s: _f1(rows, None, severe=s) for s in ("minor", "major")},
        "severity_right": [agree, len(mated), wilson(agree, len(mated))],
        "beneath_right": [spoke, len(told), wilson(spoke, len(told))],
        "calibration_error": calibration_error(chance, right) if len(chance) else None,
        "false_a_sound_panel": {},
        "fooled": {},
    }
    for base in ("all", *BASES):
        mine = [len(r["found"]) for r in sound if base in ("all", r["base"])]
        if mine:
            out["false_a_sound_panel"][base] = {
                "panels": len(mine),
                "mean": float(np.mean(mine)),
                "with_any": int(np.count_nonzero(mine)),
            }
    for name in FOOLERS:
        hits = [r["fools"][name] for r in rows if name in r["fools"]]
        out["fooled"][name] = [sum(hits), len(hits), wilson(sum(hits), len(hits))]
    return out


def once(rows: Sequence[Row]) -> Row:
    """Figures with each drawn damage counted once."""
    return {
        "all": _f1(rows, None),
        "families": _f1(rows, None, level=family),
        "place": _f1(rows, None, place=True),
        "kinds": {k: _f1(rows, k) for k in NAMES},
    }


def real_panels(photos: Path, net: DamageNet, most: int) -> Row:
    """Regions found a real outlined panel of photographers that nothing was taught on, by whether its label tells of wear: all
    that do, and at most `most` that do not, taken at even steps. Nothing is claimed of their truth."""
    from training.real_photos import labelled_panels, open_panel
    from vision.intake import load_photo
    from vision.panels import rectify

    counts: dict[str, list[int]] = {"wear": [], "no wear": []}
    authors: dict[str, list[int]] = {}
    kinds: dict[str, int] = {}
    last: tuple[Path, Any] | None = None
    unseen = [p for p in labelled_panels(photos) if part_of_group(p.author) == "report"]
    fit = [p for p in unseen if p.view not in ("whole", "joint") and p.face != "not_wood" and not p.line_scan]
    plain = [p for p in fit if "wear" not in p.cues]
    chosen = {p.id for p in plain[:: max(1, -(-len(plain) // most))]} | {p.id for p in fit if "wear" in p.cues}
    for labelled in (p for p in fit if p.id in chosen):
        if last is None or last[0] != labelled.path:
            last = (labelled.path, load_photo(labelled.path, "photo"))
        try:
            photo, panel = open_panel(labelled, last[1])
            found = find_damage(rectify(photo, panel), net=net)
        except ValueError:
            continue
        counts["wear" if "wear" in labelled.cues else "no wear"].append(len(found))
        authors.setdefault(labelled.author, []).append(len(found))
        for region in found:
            kinds[region.kind] = kinds.get(region.kind, 0) + 1
    return {
        "kinds": kinds,
        "photographers": len(authors),
        "photographers_with_any": sum(any(v) for v in authors.values()),
        "most_of_one": max((int(np.count_nonzero(v)) for v in authors.values()), default=0),
        **{
            k: {"panels": len(v), "regions": float(np.mean(v)) if v else None, "with_any": int(np.count_nonzero(v))}
            for k, v in counts.items()
        },
    }


def text(result: Row) -> str:
    """The figures as lines."""
    s = result["drawn"]

    def line(name: str, v: Row) -> str:
        return (
            f"  {name:18s} true {v['true']:4d}  precision {v['precision']:.2f}  recall {v['recall']:.2f}  F1 {v['f1']:.2f} "
            f"({v['interval'][0]:.2f}-{v['interval'][1]:.2f})"
        )

    out = [
        f"Damage regions on {s['panels']} drawn panels of {s['surfaces']} surfaces held out, {s['sound']} of them sound",
        line("place and kind", s["all"]),
        line("place and family", s["families"]),
        line("place alone", s["place"]),
        *(line(f"{k}, counted once", result["once"][k]) for k in ("all", "families", "place") if "once" in result),
        *(
            f"  {words:18s} mean F1 {s[key]['f1']:.2f} ({s[key]['interval'][0]:.2f}-{s[key]['interval'][1]:.2f})"
            for words, key in (("kinds alike", "kinds_balanced"), ("families alike", "families_balanced"))
        ),
        *(line(k, v) for k, v in s["kinds"].items()),
        *(line(f"{k}, once", v) for k, v in result.get("once", {"kinds": {}})["kinds"].items()),
        line("face_gone (3 kinds)", s["face_gone"]),
        *(line(f"{k} ones", v) for k, v in s["severities"].items()),
    ]
    for name, key in (("severity right", "severity_right"), ("beneath right when said", "beneath_right")):
        hit, n, (low, high) = s[key]
        out.append(f"  {name}: {hit} of {n} ({low:.2f}-{high:.2f})")
    out.append(
        f"  stated against true probability: {s['calibration_error']:.3f} mean gap" if s["calibration_error"] is not None else ""
    )
    out.append(
        "False regions a sound panel (panels with any): "
        + "; ".join(f"{k} {v['mean']:.2f} ({v['with_any']}/{v['panels']})" for k, v in s["false_a_sound_panel"].items())
    )
    out.append("Look-alikes called damage: " + "; ".join(f"{k} {v[0]}/{v[1]}" for k, v in s["fooled"].items()))
    if "tiles" in result:
        out.append(
            "Tiles with damage, area under the curve (embedding with logistic regression | net): "
            + "; ".join(f"{k} {v['embedding']:.2f} | {v['net']:.2f}" for k, v in result["tiles"].items())
        )
    if "real" in result:
        out.append(f"Real outlined panels (no claim): {result['real']}")
    out.append(f"Time a panel, net and regions: {result['ms_a_panel']:.0f} ms")
    return "\n".join(out)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--textures", type=Path, default=Path("build/textures"))
    parser.add_argument("--panels", type=int, default=900)
    parser.add_argument("--baseline", type=int, default=300, help="panels a part for the baseline on tiles; 0 leaves it out")
    parser.add_argument("--net", type=Path, default=Path("vision/models"))
    parser.add_argument(
        "--real", type=int, default=400, help="real panels without wear to look at, at most; 0 leaves real ones out"
    )
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    net = DamageNet.load(args.net)
    rows, whole, tiles, spent = [], [], [], []
    for number, panel in enumerate(panels("report", args.panels, args.photos, args.textures)):
        begun = time.perf_counter()
        maps = net.look(panel.pixels, np.ones(panel.labels.shape, bool))
        find_regions(maps, float(net.rules["threshold"]))
        spent.append(time.perf_counter() - begun)
        seen = Seen(truth_of(panel), maps)
        rows.append(row_of(seen, net.rules))
        whole.append(row_of(seen, net.rules, once=True))
        if number < args.baseline:
            tiles += tiles_of(panel, maps)
    result: Row = {"drawn": summarise(rows), "once": once(whole), "ms_a_panel": 1000 * float(np.median(spent))}
    if tiles:
        known = [t for p in panels("fit", args.baseline, args.photos, args.textures) for t in tiles_of(p)]
        result["tiles"] = baseline(known, tiles)
    if args.real:
        result["real"] = real_panels(args.photos, net, args.real)
    print(text(result))
    if args.json:
        args.json.parent.mkdir(parents=True, exist_ok=True)
        args.json.write_text(json.dumps(result, indent=1))


if __name__ == "__main__":
    main()

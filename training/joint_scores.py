"""Command: `python -m training.joint_scores --photos FOLDER --json FILE`: joints and fittings judged on drawn pictures whose
seeds were never learned from, beside a general image embedding with logistic regression, and what is found on real panels.

A drawn picture is its own specimen; real panels are counted by author.
"""

from __future__ import annotations

import argparse
import json
import math
import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.binomial import exact_interval
from training.joint_measuring import Measured, TailRow, measured_more, real_wood
from training.joints.kinds import SHOWN, TRAPS
from training.joints.pictures import CACHE, picture
from vision.joints import rows, tails
from vision.joints.chances import stored
from vision.joints.finds import ROUND_NAMES, JointReading
from vision.joints.read import LEAST, holes_of, read_joints

#: What is scored a picture, and the least chance to count as found.
KINDS = ("joint", "dovetail", "fingers", *ROUND_NAMES, "hole_row", "hole_grid", "hole_pair", "staple", "gap", "relief")
_LIMIT = {"hole_row": LEAST["row"], "hole_grid": LEAST["row"], "hole_pair": LEAST["pair"], "staple": LEAST["strokes"],
          "gap": LEAST["gap"], "relief": LEAST["relief"], "joint": LEAST["tails"], "dovetail": LEAST["tails"],
          "fingers": LEAST["tails"]}
#: Picture names left out where the truth does not say (screws of hinges and holes of locks are there but not listed).
UNKNOWN = {"screw": ("hinge", "drawers"), "hole": ("keyhole", "hinge"), "nail": ("hinge",), "cam": ("hinge",),
           "knob": ("drawers",), "cap": ("drawers",)}
BASELINE_PX = 224
EMBEDDED = Path("build/joints/embedded")


def labels(m: Measured) -> dict[str, bool]:
    shown = set(SHOWN.get(m.name, ()))
    return {k: (bool(shown & {"dovetail", "fingers"}) if k == "joint" else k in shown) for k in KINDS}


def looked_at(m: Measured) -> list[TailRow]:
    """Candidates that are judged in use: those that the net 'gate' lets pass."""
    gate = stored()["gate"].chances([t.numbers for t in m.tails])[:, 1]
    return [t for t, c in zip(m.tails, gate, strict=True) if tails.passes(float(c))]


def picture_chances(m: Measured) -> dict[str, float]:
    """Highest chance of each kind on a picture."""
    nets = stored()
    out = dict.fromkeys(KINDS, 0.0)
    judged = looked_at(m)
    for t, p in zip(judged, nets["tails"].chances([t.numbers for t in judged])[:, 1], strict=True):
        if not tails.sayable(replace(t.found, chance=float(p))):
            continue
        out["joint"] = max(out["joint"], float(p))
        if t.found.name in ("dovetail", "fingers"):
            out[t.found.name] = max(out[t.found.name], float(p))
    spots = nets["round"].chances([s.numbers for s in m.spots])
    for k, name in enumerate(ROUND_NAMES):
        out[name] = float(spots[:, 1 + k].max()) if len(spots) else 0.0
    holes = holes_of(m.spots)
    found = rows.rows_of(holes)
    p = nets["row"].chances([r.numbers for r in found])[:, 1]
    grid = rows.grid_of([r for r, c in zip(found, p, strict=True) if c >= LEAST["row"]], holes)
    if grid:
        out["hole_grid"] = max(float(c) for r, c in zip(found, p, strict=True) if any(r is g for g in grid))
    out["hole_row"] = max((float(c) for r, c in zip(found, p, strict=True) if not any(r is g for g in grid)), default=0.0)
    if not (p >= LEAST["row"]).any():
        pairs = rows.pairs_of(holes, m.shape)
        out["hole_pair"] = max((float(c) for c in nets["pair"].chances([q.numbers for q in pairs])[:, 1]), default=0.0)
    out["staple"] = max((float(c) for c in nets["strokes"].chances([n for n, _ in m.strokes])[:, 1]), default=0.0)
    out["gap"] = max((float(c) for c in nets["gap"].chances([n for n, _, _ in m.gaps])[:, 1]), default=0.0)
    out["relief"] = float(nets["relief"].chances([m.relief])[0, 1])
    return out


def area(scores: Sequence[float], true: Sequence[bool]) -> float:
    """Area under the receiver operating curve; nan with one class only."""
    from sklearn.metrics import roc_auc_score

    return float(roc_auc_score(true, scores)) if 0 < sum(true) < len(true) else math.nan


def share(hits: int, trials: int) -> dict[str, Any]:
    low, high = exact_interval(hits, trials) if trials else (math.nan, math.nan)
    return {"hits": hits, "of": trials, "share": hits / trials if trials else math.nan, "low": low, "high": high}


def kind_scores(found: Sequence[Measured], chances: Sequence[dict[str, float]]) -> dict[str, Any]:
    """Per kind: precision, recall, F1 at its limit, AUC, and false finds by picture name."""
    out: dict[str, Any] = {}
    for kind in KINDS:
        keep = [k for k, m in enumerate(found) if m.name not in UNKNOWN.get(kind, ())]
        true = [labels(found[k])[kind] for k in keep]
        score = [chances[k][kind] for k in keep]
        said = [s >= _LIMIT.get(kind, LEAST["round"]) for s in score]
        tp = sum(a and b for a, b in zip(said, true, strict=True))
        false: dict[str, int] = defaultdict(int)
        for k, s, t in zip(keep, said, true, strict=True):
            if s and not t:
                false[found[k].name] += 1
        precision, recall = share(tp, sum(said)), share(tp, sum(true))
        f1 = 2 * tp / (sum(said) + sum(true)) if sum(said) + sum(true) else math.nan
        out[kind] = {"precision": precision, "recall": recall, "f1": f1, "auc": area(score, true), "false": dict(false)}
    return out


def tail_scores(found: Sequence[Measured]) -> dict[str, Any]:
    """Pitch and angle errors of joints found at the right place, how far stated errors hold, hand or machine."""
    nets = stored()
    angle: list[tuple[float, float]] = []
    pitch: list[float] = []
    named: dict[str, list[bool]] = defaultdict(list)
    told, right, could = 0, 0, 0
    every: list[tuple[float, bool]] = []
    for m in found:
        good = [t for t in looked_at(m) if t.true]
        if not good:
            continue
        p = nets["tails"].chances([t.numbers for t in good])[:, 1]
        t = good[int(np.argmax(p))]
        if p.max() < LEAST["tails"]:
            continue
        if math.isfinite(t.angle_error):
            angle.append((t.angle_error, t.found.angle_error))
        if math.isfinite(t.pitch_error):
            pitch.append(abs(t.pitch_error))
        truly = "dovetail" if "dovetail" in SHOWN[m.name] else "fingers"
        named[truly].append(t.found.name == truly)
        hand = float(nets["hand"].chances([t.hand])[0, 1])
        if t.found.fingers >= tails.LEAST_FINGERS and math.isfinite(t.found.pitch_spread):
            could += 1
            every.append((hand, bool(t.by_hand)))
            if not tails.UNDECIDED[0] < hand < tails.UNDECIDED[1]:
                told += 1
                right += (hand > 0.5) == bool(t.by_hand)
    off = np.array([a for a, _ in angle])
    stated = np.array([e for _, e in angle])
    return {
        "found": len(angle),
        "angle_degrees": {"median_size": _median(np.abs(off)), "p90_size": _p90(np.abs(off)), "bias": _median(off),
                          "within_two_stated_errors": share(int((np.abs(off) < 2 * np.hypot(stated, 0.3)).sum()), len(off))},
        "pitch_share": {"median_size": _median(np.array(pitch)), "p90_size": _p90(np.array(pitch)), "of": len(pitch)},
        "name_right": {k: share(sum(v), len(v)) for k, v in named.items()},
        "hand_or_machine": {"told": share(told, could), "right_of_told": share(right, told),
                            "auc": area([h for h, _ in every], [t for _, t in every]),
                            "right_if_all_told": share(sum((h > 0.5) == t for h, t in every), len(every))},
    }


def _median(v: NDArray[np.float64]) -> float:
    return float(np.median(v)) if len(v) else math.nan


def _p90(v: NDArray[np.float64]) -> float:
    return float(np.percentile(v, 90)) if len(v) else math.nan


def reliability(found: Sequence[Measured], chances: Sequence[dict[str, float]]) -> list[dict[str, Any]]:
    """How often a stated chance of a joint or single round thing is right, in bands of the chance, over candidates."""
    nets = stored()
    said: list[tuple[float, bool]] = []
    for m in found:
        judged = looked_at(m)
        p = nets["tails"].chances([t.numbers for t in judged])[:, 1]
        said += [(float(c), bool(t.true)) for c, t in zip(p, judged, strict=True) if t.true is not None]
        q = nets["round"].chances([s.numbers for s in m.spots])
        for row, label in zip(q, m.spot_labels, strict=True):
            if label >= 0:
                k = int(np.argmax(row[1:]))
                said.append((float(row[1 + k]), label == 1 + k))
    out = []
    for low, high in ((0.02, 0.1), (0.1, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 1.01)):
        band = [(c, t) for c, t in said if low <= c < high]
        if band:
            out.append({"stated": float(np.mean([c for c, _ in band])), **share(sum(t for _, t in band), len(band))})
    return out


def negative_scores(found: Sequence[Measured], chances: Sequence[dict[str, float]]) -> dict[str, Any]:
    """Share of each trap's pictures on which anything at all is found, and what."""
    out: dict[str, Any] = {}
    for name in TRAPS:
        mine = [c for m, c in zip(found, chances, strict=True) if m.name == name]
        what: dict[str, int] = defaultdict(int)
        for c in mine:
            for kind in KINDS:
                if name not in UNKNOWN.get(kind, ()) and c[kind] >= _LIMIT.get(kind, LEAST["round"]):
                    what[kind] += 1
        asked = [k for k in KINDS if name not in UNKNOWN.get(k, ())]
        hits = sum(any(c[k] >= _LIMIT.get(k, LEAST["round"]) for k in asked) for c in mine)
        out[name] = {**share(hits, len(mine)), "what": dict(what)}
    return out


def embeddings(found: Sequence[Measured], cache: Path | None, kept: Path | None = EMBEDDED) -> NDArray[np.float32]:
    """(pictures, 1280) efficientnet-lite0 embeddings of the whole pictures; `kept`: where they stay for the next run."""
    from vision.backbone import embed_batch
    from vision.resize import resize

    out = []
    for m in found:
        stored_at = None if kept is None else kept / f"{m.name}_{m.seed}.npy"
        if stored_at is not None and stored_at.exists():
            out.append(np.load(stored_at))
            continue
        crop = resize(picture(m.name, m.seed, cache).pixels, BASELINE_PX, BASELINE_PX)
        out.append(embed_batch(crop[None])[0])
        if stored_at is not None:
            stored_at.parent.mkdir(parents=True, exist_ok=True)
            np.save(stored_at, out[-1])
    return np.stack(out)


def baseline_scores(fit: Sequence[Measured], found: Sequence[Measured], cache: Path | None) -> dict[str, Any]:
    """AUC and F1 (at even odds) of logistic regression on embeddings of the same pictures, learned on the same parts."""
    from sklearn.linear_model import LogisticRegression
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    x, z = embeddings(fit, cache), embeddings(found, cache)
    out: dict[str, Any] = {}
    for kind in KINDS:
        a = [k for k, m in enumerate(fit) if m.name not in UNKNOWN.get(kind, ())]
        b = [k for k, m in enumerate(found) if m.name not in UNKNOWN.get(kind, ())]
        y, t = [labels(fit[k])[kind] for k in a], [labels(found[k])[kind] for k in b]
        if not any(y) or not any(t):
            continue
        model = make_pipeline(StandardScaler(), LogisticRegression(C=0.01, max_iter=300, class_weight="balanced")).fit(x[a], y)
        p = model.predict_proba(z[b])[:, 1]
        said = p >= 0.5
        tp = int(sum(s and u for s, u in zip(said, t, strict=True)))
        out[kind] = {"auc": area(p.tolist(), t), "f1": 2 * tp / max(1, int(said.sum()) + sum(t))}
    return out


def real_wood_scores(folder: Path, textures: Path | None) -> dict[str, Any]:
    """False finds on real figure of people whose pictures nothing was learned from."""
    found = real_wood(folder, textures, "report")
    by_group: dict[str, list[bool]] = defaultdict(list)
    what: dict[str, int] = defaultdict(int)
    for group, m in found:
        said = [k for k, c in picture_chances(m).items() if c >= _LIMIT.get(k, LEAST["round"])]
        by_group[group].append(bool(said))
        for kind in said:
            what[kind] += 1
    return {"pictures": share(sum(sum(v) for v in by_group.values()), len(found)),
            "people": share(sum(any(v) for v in by_group.values()), len(by_group)), "what": dict(what)}


_WORDS = re.compile(r"dovetail|finger|screw|nail|tenon|dowel|hardboard|hole|knob|keyhole|hinge|staple", re.IGNORECASE)


def said_of(reading: JointReading) -> dict[str, int]:
    """Counts of finds by name."""
    out: dict[str, int] = defaultdict(int)
    for t in reading.tails:
        out[t.name if t.name != "cannot_tell" else "joint, unnamed"] += 1
    for r in reading.rounds:
        out[r.name] += 1
    for w in reading.rows:
        out[w.name] += 1
    for name, many in (("pair", reading.pairs), ("staples", reading.strokes), ("gap", reading.gaps), ("relief", reading.reliefs)):
        out[name] += len(many)
    return {k: v for k, v in out.items() if v}


def real_panels(folder: Path, every: int) -> dict[str, Any]:
    """Finds on real outlined panels of people whose pictures nothing was learned from.

    Nearly all show no joint or fitting inside the outline, but knobs and holes occur: finds are counted, not errors. Panels
    whose notes name something are listed one by one.
    """
    from training.composites.figures import part_of
    from training.panel_photos import outlined_photos
    from training.real_photos import labelled_panels, open_panel
    from vision.panels import rectify

    rows_by = {r.id: r for r in labelled_panels(folder)}
    by_author: dict[str, list[bool]] = defaultdict(list)
    counts: dict[str, int] = defaultdict(int)
    noted: list[dict[str, Any]] = []
    seen = 0
    for k, photo in enumerate(p for p in outlined_photos(folder) if part_of(p.author) == "report"):
        wanted = [r for r in photo.rows if k % every == 0 or _WORDS.search(r["evidence"] + " " + r["notes"] + " " + r["damage"])]
        if not wanted:
            continue
        loaded = photo.load()
        for r in wanted:
            row = rows_by[r["id"]]
            opened, panel = open_panel(row, loaded)
            reading = read_joints(rectify(opened, panel), opened.pixels)
            found = said_of(reading)
            text = f"{r['evidence']}; {r['notes']}; {r['damage']}"
            if _WORDS.search(text):
                noted.append({"id": row.id, "view": r["view"], "notes": text, "found": found,
                              "chances": {t.end: round(t.chance, 2) for t in reading.tails}})
            if k % every == 0:
                seen += 1
                by_author[row.author].append(bool(found))
                for name, n in found.items():
                    counts[name] += n > 0
    hit = sum(any(v) for v in by_author.values())
    return {"panels": seen, "panels_with_a_find": share(sum(sum(v) for v in by_author.values()), seen),
            "authors_with_a_find": share(hit, len(by_author)), "panels_by_find": dict(counts), "noted": noted}


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=Path, default=None, help="folder with panels.csv and img/")
    parser.add_argument("--json", type=Path, required=True)
    parser.add_argument("--each", nargs=3, type=int, default=[8, 3, 8], metavar=("FIT", "HELD_OUT", "REPORT"))
    parser.add_argument("--fingered", nargs=3, type=int, default=[24, 8, 20], metavar=("FIT", "HELD_OUT", "REPORT"))
    parser.add_argument("--textures", type=Path, default=Path("build/textures"))
    parser.add_argument("--no-baseline", action="store_true", help="leave the embedding out (it takes the longest)")
    parser.add_argument("--every", type=int, default=3, help="every how many real photos are looked at")
    chosen = parser.parse_args(arguments)
    asked = zip(("fit", "held_out", "report"), chosen.each, chosen.fingered, strict=True)
    fit, held, found = ([] if chosen.no_baseline and p != "report" else measured_more(p, n, m) for p, n, m in asked)
    chances = [picture_chances(m) for m in found]
    result: dict[str, Any] = {
        "pictures": len(found), "kinds": kind_scores(found, chances), "tails": tail_scores(found),
        "reliability": reliability(found, chances), "negatives": negative_scores(found, chances),
        "baseline": {} if chosen.no_baseline else baseline_scores([*fit, *held], found, CACHE)}
    if chosen.photos is not None:
        result["real_wood"] = real_wood_scores(chosen.photos, chosen.textures)
        result["real"] = real_panels(chosen.photos, chosen.every)
    chosen.json.parent.mkdir(parents=True, exist_ok=True)
    chosen.json.write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    for kind in KINDS:
        s, b = result["kinds"][kind], result["baseline"].get(kind, {})
        print(f"{kind:10s} precision {s['precision']['share']:.2f} recall {s['recall']['share']:.2f} F1 {s['f1']:.2f} "
              f"AUC {s['auc']:.3f}"
              f" | embedding F1 {b.get('f1', math.nan):.2f} AUC {b.get('auc', math.nan):.3f} | false {s['false']}")
    if result["baseline"]:
        print(f"embedding: logistic regression taught on {len(fit) + len(held)} pictures, judged on the same {len(found)}")
    print("tails", result["tails"])
    for key in ("real_wood", "real"):
        print(key, {k: v for k, v in result.get(key, {}).items() if k != "noted"})
    print("negatives", {k: f"{v['hits']}/{v['of']} {v['what']}" for k, v in result["negatives"].items()})
    print("reliability", [f"{r['stated']:.2f}: {r['share']:.2f} of {r['of']}" for r in result["reliability"]])


if __name__ == "__main__":
    main()

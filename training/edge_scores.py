"""Scores of the edge measures on made pictures kept aside and on outlined real edges, with intervals and a baseline.

    python -m training.edge_scores --photos DIR --json FILE

Made pictures of the part 'report' share neither seed nor photographer with those that taught net and rules or joined them.
Real edges are named by nets and rules that saw no edge of their photographer, and once more by those taught on made pictures
alone. Intervals (95 %) draw photographers or seeds anew. The baseline is a logistic regression on an embedding
(efficientnet-lite0) of the same crops, taught on the same pictures. A constant answer scores 1 / kinds in balanced accuracy
and 0.5 in area under the curve. `targets` sums up; the rest is detail.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites.statistics import auc, group_bootstrap, ratio_cost, wilson
from training.edge_counts import counted
from training.edge_fit import (
    Real,
    answers,
    chances_of,
    embeddings,
    fit_forest,
    fit_look,
    held_out_real,
    join_on,
    temperature,
    with_real,
)
from training.edge_rows import FOLDS, Row, fold_of_group, made_rows, real_rows
from training.edges.kinds import NO_SHEET
from training.edges.sets import PER_KIND
from vision.edges.edge import NAMED
from vision.edges.kinds import STRIP_KINDS
from vision.edges.naming import QUESTIONS, load_edge_model
from vision.edges.net import sheet_line
from vision.edges.plies import Plies

#: Least ply and sheet in picture px and least arris for the targets to apply.
PLY_PX, SHEET_PX, ARRIS_PX = 5.0, 3.0, 400.0
#: A sheet's line is in the right place within this many px or this share of its depth.
PLACE_PX, PLACE_SHARE = 2.0, 0.35
#: An outline is called good where both borders lie within this share of the thickness.
GOOD = 0.06
#: Kinds whose end shows real wood below a foreign face, against which continuation is hardest.
FOREIGN = ("veneer_lumber_end", "veneer_lumber_edge", "band_wood", "band_end_print", "book_arris")
#: Traps and the kinds that they only look like.
TRAPS = {"drawers": ("plies",), "books": ("plies",), "rope": ("plies",), "card": ("plies",), "louvre": ("plies",),
         "carpet": ("particles",), "band_print": ("solid_edge", "solid_end"), "band_end_print": ("solid_edge", "solid_end"),
         "band_wood": ("solid_edge", "solid_end"), "book_arris": ("solid_edge", "solid_end"),
         "veneer_lumber_end": ("banding",), "veneer_lumber_edge": ("banding",), "lipping": ("banding",),
         "stringing": ("plies", "banding"), "painted": ("fibre", "banding", "plies")}
#: What a photo shows, coarsely: a glued-on strip of wood or print beside wood is one, told apart by seam and arris only.
COARSE = {"solid_end": "wood or strip", "solid_edge": "wood or strip", "banding": "wood or strip"}

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


def balanced(true: Ints, given: Ints) -> Callable[[Ints], float]:
    """Mean over kinds of the share named right, as a statistic of indices."""
    def statistic(k: Ints) -> float:
        t, g = true[k], given[k]
        return float(np.mean([(g[t == c] == c).mean() for c in np.unique(t)]))

    return statistic


def with_interval(groups: Sequence[str], statistic: Callable[[Ints], float]) -> dict[str, Any]:
    every = np.arange(len(groups))
    low, high = group_bootstrap(groups, statistic, times=100)
    return {"value": statistic(every), "low": low, "high": high, "edges": len(groups), "groups": len(set(groups))}


def share(hits: NDArray[np.bool_]) -> dict[str, Any]:
    low, high = wilson(int(hits.sum()), len(hits))
    return {"value": float(hits.mean()) if len(hits) else float("nan"), "low": low, "high": high, "edges": len(hits)}


def kind_scores(rows: Sequence[Row], chances: Floats) -> dict[str, Any]:
    """Balanced accuracy, by kind and setting, how often 'cannot tell', and traps called plies."""
    true = np.array([list(STRIP_KINDS).index(r.strip) for r in rows])
    given = chances.argmax(axis=1)
    groups = [r.group for r in rows]
    sure = chances.max(axis=1) >= NAMED
    names = list(STRIP_KINDS)
    table = [[int(((true == i) & (given == j)).sum()) for j in range(len(names))] for i in range(len(names))]
    out: dict[str, Any] = {
        "balanced_accuracy": with_interval(groups, balanced(true, given)),
        "by_kind": {n: share(given[true == i] == i) for i, n in enumerate(names) if (true == i).any()},
        "named": share(sure), "right_when_named": share((given == true)[sure]), "table": table,
        "log_loss": float(-np.log(np.maximum(chances[np.arange(len(true)), true], 1e-9)).mean()),
    }
    edges = true != names.index("other")
    if edges.any() and not edges.all():
        without = chances.copy()
        k = np.flatnonzero(edges)
        out["balanced_accuracy_of_edges"] = with_interval([groups[i] for i in k], balanced(true[k], without[k].argmax(axis=1)))
        plies = names.index("plies")
        out["traps_called_plies"] = share(given[~edges] == plies)
    return out


def coarse(rows: Sequence[Row], chances: Floats) -> dict[str, Any]:
    """Balanced accuracy when wood and glued-on strips count as one answer."""
    names = [COARSE.get(k, k) for k in STRIP_KINDS]
    groups = sorted(set(names))
    summed = np.stack([chances[:, [i for i, n in enumerate(names) if n == g]].sum(axis=1) for g in groups], axis=1)
    true = np.array([groups.index(names[list(STRIP_KINDS).index(r.strip)]) for r in rows])
    return with_interval([r.group for r in rows], balanced(true, summed.argmax(axis=1)))


def by_setting(rows: Sequence[Row], chances: Floats) -> dict[str, Any]:
    out = {"all": {**kind_scores(rows, chances), "wood_and_strips_as_one": coarse(rows, chances)}}
    for setting in ("close", "angled"):
        k = [i for i, r in enumerate(rows) if r.truth is not None and r.truth.setting == setting]
        if k:
            some = [rows[i] for i in k]
            out[setting] = {**kind_scores(some, chances[k]), "wood_and_strips_as_one": coarse(some, chances[k])}
    return out


def well_outlined(row: Row) -> bool:
    """Both borders of the frame are about where they truly are."""
    p = row.place
    return max(abs(p.arris - p.top), abs(p.lower - p.top - p.rows)) <= GOOD * p.rows


def ply_scores(seen: Sequence[tuple[Row, Plies]]) -> dict[str, Any]:
    """Counts of made plywood whose every ply is thick enough in the picture."""
    true = np.array([r.truth.plies for r, _ in seen if r.truth is not None])
    found = np.array([p.plies for _, p in seen])
    by_hand = np.array([r.plies.plies for r, _ in seen])
    good = np.array([well_outlined(r) for r, _ in seen], bool)
    usual = np.full(len(true), int(np.median(true))) if len(true) else true
    return {"exact": share(found == true), "within_one": share(np.abs(found - true) <= 1), "constant_exact": share(usual == true),
            "exact_where_well_outlined": share((found == true)[good]), "exact_without_net": share(by_hand == true),
            "odd": share(found % 2 == 1)}


def placed(row: Row) -> bool:
    """The sheet's line is drawn where it truly is, from either broad side."""
    t = row.truth
    assert t is not None and row.net is not None and row.numbers is not None
    line, part = row.numbers.line, t.face_mm / t.layers[-1].bottom
    seen = sheet_line(row.net, row.place.top, row.place.rows)
    at = seen if seen is not None else row.place.top - 0.5 + line.row if line is not None else None
    if at is None:
        return False
    room = max(PLACE_PX, PLACE_SHARE * t.face_px) / row.place.scale
    return any(abs(at - row.place.row_at(s)) <= room for s in (part, 1 - part))


def sheet_scores(rows: Sequence[Row], chance: Floats, limit: float) -> dict[str, Any]:
    """Thin layers found at the limit and false alarms; in place means that the line is drawn in the right place too."""
    seen = [i for i, r in enumerate(rows) if r.truth is not None and r.truth.face_px >= SHEET_PX]
    without = [i for i, r in enumerate(rows) if r.truth is not None and r.truth.build in NO_SHEET]
    found = np.array([chance[i] >= limit for i in seen])
    here = np.array([placed(rows[i]) for i in seen])
    good = np.array([well_outlined(rows[i]) for i in seen], bool)
    stringing = [i for i in without if rows[i].truth is not None and rows[i].truth.build == "stringing"]  # type: ignore[union-attr]
    return {"found": share(found), "found_where_well_outlined": share(found[good]), "found_in_place": share(found & here),
            "false_alarms": share(chance[without] >= limit), "stringing_alarms": share(chance[stringing] >= limit),
            "auc": auc(chance[seen], chance[without])}


def continuation_scores(rows: Sequence[Row], chance: Floats) -> dict[str, Any]:
    """One piece against banded or veneered, on arrises long enough; then against the hardest only, by grain, and lippings."""
    def pick(test: Callable[[Row], bool]) -> list[int]:
        return [i for i, r in enumerate(rows) if r.truth is not None and r.truth.along_px >= ARRIS_PX and test(r)]

    true, known = np.zeros(len(rows), bool), []
    for i, a in enumerate(answers(rows, "continuous")):
        if a is not None:
            true[i] = bool(a)
            known.append(i)
    names = [r.truth.build if r.truth is not None else "" for r in rows]

    def score(k: list[int]) -> dict[str, Any]:
        odds = np.log(np.clip(chance, 1e-6, 1) / np.clip(1 - chance, 1e-6, 1))
        index = np.array(k)

        def area(j: Ints) -> float:
            at = index[j]
            return auc(chance[at][true[at]], chance[at][~true[at]])

        out = with_interval([rows[i].group for i in k], area)
        cost, least = ratio_cost(odds[index][true[index]], odds[index][~true[index]])
        return {**out, "solid": int(true[index].sum()), "ratio_cost_bits": cost, "least_cost_bits": least}

    every = [i for i in pick(lambda r: True) if i in set(known)]
    hard = [i for i in every if true[i] or names[i] in FOREIGN]
    out = {"all": score(every), "wood_below_a_foreign_face": score(hard)}
    for word, across in (("grain_across_the_arris", True), ("grain_along_the_arris", False)):
        k = [i for i in every if rows[i].truth is not None and rows[i].truth.across == across]  # type: ignore[union-attr]
        out[word] = score(k)
    match = np.array([r.numbers.values["arris_match_best"] if r.numbers else np.nan for r in rows])
    at = np.array([i for i in every if np.isfinite(match[i])])
    out["lines_alone"] = {"value": auc(match[at][true[at]], match[at][~true[at]]), "edges": len(at)}
    lipped = [i for i in pick(lambda r: r.strip != "other") if names[i] == "lipping"]
    out["lippings_called_one_piece"] = share(chance[lipped] >= 0.5)
    return out


def trap_scores(rows: Sequence[Row], kind: Floats, one_piece: Floats) -> dict[str, Any]:
    """By trap: how often it is named what it only looks like, and how often called one piece."""
    sure = kind.max(axis=1) >= NAMED
    named = np.where(sure, kind.argmax(axis=1), -1)
    names = list(STRIP_KINDS)
    out = {}
    for trap, looks_like in TRAPS.items():
        k = np.array([i for i, r in enumerate(rows) if r.truth is not None and r.truth.build == trap], int)
        if len(k):
            wrong = np.isin(named[k], [names.index(x) for x in looks_like])
            out[trap] = {"named_what_it_looks_like": share(wrong), "looks_like": list(looks_like)}
            if trap in FOREIGN:
                out[trap]["called_one_piece"] = share(one_piece[k] >= 0.5)
    return out


def baseline(fit_rows: Sequence[Row], rows: Sequence[Row], question: str) -> Floats:
    """(n, answers) chances by logistic regression on the embeddings."""
    from sklearn.linear_model import LogisticRegression
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    known = [(r, a) for r, a in zip(fit_rows, answers(fit_rows, question), strict=True) if a is not None]
    model = make_pipeline(StandardScaler(), LogisticRegression(C=0.003, max_iter=100, class_weight="balanced"))
    model.fit(embeddings([r for r, _ in known]), [a for _, a in known])
    out = np.zeros((len(rows), len(STRIP_KINDS) if question == "kind" else 2))
    out[:, model.classes_] = model.predict_proba(embeddings(rows))
    return out


def baseline_held_out(fit_rows: Sequence[Row], real: Sequence[Row]) -> Floats:
    """(n, kinds) baseline chances of every real edge by a rule that saw none of its photographer's."""
    fold = np.array([fold_of_group(r.group) for r in real])
    out = np.zeros((len(real), len(STRIP_KINDS)))
    for k in range(FOLDS):
        if (fold == k).any():
            taught = with_real(fit_rows, [r for r, f in zip(real, fold, strict=True) if f != k])
            out[fold == k] = baseline(taught, [r for r, f in zip(real, fold, strict=True) if f == k], "kind")
    return out


def cooled(chances: Floats, y: Ints, fold: Ints) -> Floats:
    """Chances tempered fold by fold, with a temperature from the other folds."""
    out = chances.copy()
    for k in np.unique(fold):
        p = np.maximum(chances[fold == k], 1e-12) ** temperature(chances[fold != k], y[fold != k])
        out[fold == k] = p / p.sum(axis=1, keepdims=True)
    return out


def scores(teach: Sequence[Row], stage: Sequence[Row], made: Sequence[Row], real: Real,
           plies: Sequence[tuple[Row, Plies]]) -> dict[str, Any]:
    """All scores of the stored models and the baseline."""
    model = load_edge_model()
    edges = [r for r, _ in real]
    result: dict[str, Any] = {"made_edges": len(made), "taught_on": len(teach), "joined_on": len(stage), "real_edges": len(real),
                              "ply_count": ply_scores(plies)}
    mine = {q: chances_of(model, made, q) for q in QUESTIONS}
    theirs = {q: baseline(with_real(teach, edges) if q == "kind" else teach, made, q) for q in QUESTIONS}
    for name, chances in (("ours", mine), ("embedding", theirs)):
        limit = model.joins["sheet"].limit
        if name == "embedding":  # as many alarms allowed as the target says
            no = [i for i, r in enumerate(made) if r.truth is not None and r.truth.build in NO_SHEET]
            limit = float(np.quantile(chances["sheet"][no, 1], 0.98))
        result[name] = {"made_kind": by_setting(made, chances["kind"]),
                        "traps": trap_scores(made, chances["kind"], chances["continuous"][:, 1]),
                        "thin_layer": sheet_scores(made, chances["sheet"][:, 1], limit),
                        "continuation": continuation_scores(made, chances["continuous"][:, 1])}
    if real:
        y = np.array([list(STRIP_KINDS).index(r.strip) for r in edges])
        fold = np.array([fold_of_group(r.group) for r in edges])
        forest, look = fit_forest(teach, "kind"), fit_look(teach, "kind")
        by_hand, by_look = forest.raw(np.stack([r.values for r in edges])), look.logs(embeddings(edges))
        alone = join_on(stage, "kind", forest, look).chances(np.stack([a.kind for _, a in real]), by_hand, by_look)
        result["ours"]["real_kind"] = kind_scores(edges, cooled(held_out_real(teach, stage, real), y, fold))
        result["ours"]["real_kind_made_pictures_only"] = kind_scores(edges, cooled(alone, y, fold))
        result["embedding"]["real_kind"] = kind_scores(edges, baseline_held_out(teach, edges))
        result["embedding"]["real_kind_made_pictures_only"] = kind_scores(edges, baseline(teach, edges, "kind"))
        plywood = [r for r in edges if r.strip == "plies"]
        result["real_plies"] = {"layers_found_by_hand": [r.plies.plies for r in plywood],
                                "odd": share(np.array([r.plies.odd for r in plywood]))}
    result["targets"] = targets(result)
    return result


def targets(result: dict[str, Any]) -> list[dict[str, Any]]:
    """One row a target: what, ours, the baseline (None where it cannot answer), the target."""
    def one(what: str, target: str, *path: str, beside: bool = True) -> dict[str, Any]:
        pair = []
        for name in ("ours", "embedding"):
            at: Any = result[name] if beside else result if name == "ours" else None
            for key in path:
                at = at.get(key) if isinstance(at, dict) else None
            pair.append(at)
        return {"what": what, "target": target, "ours": pair[0], "embedding": pair[1]}

    kind = "made_kind", "all", "balanced_accuracy"
    rows = [one("edge kind, made, balanced accuracy", ">= 0.92", *kind)]
    rows += [one(f"edge kind, made, {s}", ">= 0.92", "made_kind", s, "balanced_accuracy") for s in ("close", "angled")]
    return [*rows, one("the same, wood and strips as one", "", "made_kind", "all", "wood_and_strips_as_one"),
            one("edge kind, real, photographers held out", ">= 0.70 hoped", "real_kind", "balanced_accuracy"),
            one("ply count exact, ply >= 5 px", ">= 0.85", "ply_count", "exact", beside=False),
            one("ply count exact, well outlined", ">= 0.85", "ply_count", "exact_where_well_outlined", beside=False),
            one("thin layer found, >= 3 px", ">= 0.9", "thin_layer", "found"),
            one("thin layer, false alarms", "<= 0.02", "thin_layer", "false_alarms"),
            one("one piece over the arris, AUC, >= 400 px", ">= 0.95", "continuation", "all")]


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--json", type=Path, required=True)
    parser.add_argument("--each", type=int, default=PER_KIND["report"], help="made pictures of every kind and setting to score")
    parser.add_argument("--taught", type=int, default=PER_KIND["teach"])
    parser.add_argument("--joined", type=int, default=PER_KIND["stage"])
    chosen = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    teach, stage, made = (list(made_rows(part, count, chosen.photos)) for part, count in
                          (("teach", chosen.taught), ("stage", chosen.joined), ("report", chosen.each)))
    result = scores(teach, stage, made, real_rows(), list(counted(made, "report", chosen.photos, PLY_PX)))
    chosen.json.parent.mkdir(parents=True, exist_ok=True)
    chosen.json.write_text(json.dumps(result, indent=1) + "\n")
    print(json.dumps(_brief({k: v for k, v in result.items() if k != "targets"}), indent=1))
    for row in result["targets"]:
        print(f"{row['what']:45s} target {row['target']:14s} ours {_brief(row['ours'])}   embedding {_brief(row['embedding'])}")


def _brief(value: Any) -> Any:
    """The result with intervals in one line each."""
    if isinstance(value, dict):
        if "value" in value:
            ends = f" [{value['low']:.3f}, {value['high']:.3f}]" if "low" in value else ""
            return f"{value['value']:.3f}{ends} of {value['edges']}"
        return {k: _brief(v) for k, v in value.items() if k != "table"}
    return value


if __name__ == "__main__":
    main()

"""Scores of the edge measures on made pictures kept aside and on outlined real edges, with intervals and a baseline.

    python -m training.edge_scores --photos DIR --json FILE [--each 5] [--fitted 12]

Made pictures of the part 'report' share neither seed nor photographer with those of the fit. Real edges are named by rules
fitted without any edge of their photographer, and once more by rules fitted on made pictures alone. Intervals (95 %) draw
photographers or seeds anew. The baseline is a logistic regression on an embedding (efficientnet-lite0) of the same crops,
taught on the same pictures. A constant answer scores 1 / kinds in balanced accuracy and 0.5 in area under the curve.
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
from training.edge_fit import NO_SHEET, answers, fit_question, with_real
from training.edge_rows import Row, made_rows, real_rows
from vision.edges.edge import NAMED
from vision.edges.kinds import STRIP_KINDS
from vision.edges.naming import load_edge_model

#: Least ply and sheet in picture px and least arris for the targets to apply.
PLY_PX, SHEET_PX, ARRIS_PX = 5.0, 3.0, 400.0
#: A sheet's line is in the right place within this many px or this share of its depth.
PLACE_PX, PLACE_SHARE = 2.0, 0.35
#: Kinds whose end shows real wood below a foreign face, against which continuation is hardest.
FOREIGN = ("veneer_lumber_end", "veneer_lumber_edge", "band_wood", "band_end_print", "book_arris")
#: Groups of photographers, each left out once.
REAL_FOLDS = 4
TESTS = ("kind", "sheet", "seam", "continuous")

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


def by_setting(rows: Sequence[Row], chances: Floats) -> dict[str, Any]:
    out = {"all": kind_scores(rows, chances)}
    for setting in ("close", "angled"):
        k = [i for i, r in enumerate(rows) if r.truth is not None and r.truth.setting == setting]
        if k:
            out[setting] = kind_scores([rows[i] for i in k], chances[k])
    return out


def ply_scores(rows: Sequence[Row]) -> dict[str, Any]:
    """Counts of made plywood whose every ply is thick enough in the picture."""
    seen = [r for r in rows if r.truth is not None and r.truth.plies and r.truth.ply_px >= PLY_PX]
    true = np.array([r.truth.plies for r in seen if r.truth is not None])
    found = np.array([r.plies.plies for r in seen])
    three = np.full(len(true), int(np.median(true))) if len(true) else true
    return {"exact": share(found == true), "within_one": share(np.abs(found - true) <= 1), "constant_exact": share(three == true),
            "odd": share(found % 2 == 1)}


def sheet_scores(rows: Sequence[Row], chance: Floats, limit: float) -> dict[str, Any]:
    """Thin layers found at the limit and false alarms; found means that the line is in the right place too."""
    def placed(r: Row) -> bool:
        t = r.truth
        assert t is not None
        above = r.numbers.line_above
        places = [r.line_px, above.row * (r.line_px / r.numbers.line.row) if above and r.numbers.line else 0.0]
        return any(abs(p - t.face_px) <= max(PLACE_PX, PLACE_SHARE * t.face_px) for p in places)

    seen = [i for i, r in enumerate(rows) if r.truth is not None and r.truth.face_px >= SHEET_PX]
    without = [i for i, r in enumerate(rows) if r.truth is not None and r.truth.build in NO_SHEET]
    found = np.array([chance[i] >= limit for i in seen])
    here = np.array([placed(rows[i]) for i in seen])
    stringing = [i for i in without if rows[i].truth is not None and rows[i].truth.build == "stringing"]  # type: ignore[union-attr]
    return {"found": share(found), "found_in_place": share(found & here), "false_alarms": share(chance[without] >= limit),
            "stringing_alarms": share(chance[stringing] >= limit), "auc": auc(chance[seen], chance[without])}


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
    match = np.array([r.numbers.values["arris_match_best"] for r in rows])
    at = np.array([i for i in every if np.isfinite(match[i])])
    out["lines_alone"] = {"value": auc(match[at][true[at]], match[at][~true[at]]), "edges": len(at)}
    lipped = [i for i in pick(lambda r: r.strip != "other") if names[i] == "lipping"]
    out["lippings_called_one_piece"] = share(chance[lipped] >= 0.5)
    return out


def baseline(fit_rows: Sequence[Row], rows: Sequence[Row], question: str) -> Floats:
    """(n, answers) chances by logistic regression on the embeddings."""
    from sklearn.linear_model import LogisticRegression
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    known = [(r, a) for r, a in zip(fit_rows, answers(fit_rows, question), strict=True) if a is not None]
    model = make_pipeline(StandardScaler(), LogisticRegression(C=0.003, max_iter=100, class_weight="balanced"))
    model.fit(np.stack([r.embedding for r, _ in known]), [a for _, a in known])
    out = np.zeros((len(rows), len(STRIP_KINDS) if question == "kind" else 2))
    out[:, model.classes_] = model.predict_proba(np.stack([r.embedding for r in rows]))
    return out


def held_out(fit_rows: Sequence[Row], real: Sequence[Row]) -> tuple[Floats, Floats]:
    """(ours, baseline): chances of the kind of every real edge by rules that saw none of its photographer's."""
    groups = np.unique([r.group for r in real], return_inverse=True)[1]
    fold = np.random.default_rng(2).permutation(int(groups.max()) + 1)[groups] % REAL_FOLDS
    ours, theirs = np.zeros((len(real), len(STRIP_KINDS))), np.zeros((len(real), len(STRIP_KINDS)))
    for k in range(REAL_FOLDS):
        out = [r for r, f in zip(real, fold, strict=True) if f == k]
        taught = with_real(fit_rows, [r for r, f in zip(real, fold, strict=True) if f != k])
        ours[fold == k] = fit_question(taught, "kind").chances(np.stack([r.values for r in out]))
        theirs[fold == k] = baseline(taught, out, "kind")
    return ours, theirs


def scores(fit_rows: Sequence[Row], made: Sequence[Row], real: Sequence[Row]) -> dict[str, Any]:
    """All scores of the stored model and the baseline."""
    model = load_edge_model()
    result: dict[str, Any] = {"made_edges": len(made), "fitted_on": len(fit_rows), "real_edges": len(real),
                              "ply_count": ply_scores(made)}
    mine = {q: model.forests[q].chances(np.stack([r.values for r in made])) for q in TESTS}
    theirs = {q: baseline(with_real(fit_rows, real) if q == "kind" else fit_rows, made, q) for q in TESTS}
    seen = np.array([a for a in answers(fit_rows, "sheet") if a is not None])
    for name, chances in (("ours", mine), ("embedding", theirs)):
        limit = model.forests["sheet"].limit
        if name == "embedding":  # as many alarms allowed as ours has
            no = [i for i, r in enumerate(made) if r.truth is not None and r.truth.build in NO_SHEET]
            limit = float(np.quantile(chances["sheet"][no, 1], 0.98))
        result[name] = {"made_kind": by_setting(made, chances["kind"]),
                        "thin_layer": sheet_scores(made, chances["sheet"][:, 1], limit),
                        "continuation": continuation_scores(made, chances["continuous"][:, 1])}
    result["thin_layer_taught"] = {"with": int(seen.sum()), "without": int((seen == 0).sum())}
    if real:
        alone = fit_question(fit_rows, "kind").chances(np.stack([r.values for r in real]))
        result["ours"]["real_kind_made_pictures_only"] = kind_scores(real, alone)
        result["embedding"]["real_kind_made_pictures_only"] = kind_scores(real, baseline(fit_rows, real, "kind"))
        for name, named in zip(("ours", "embedding"), held_out(fit_rows, real), strict=True):
            result[name]["real_kind"] = kind_scores(real, named)
        plywood = [r for r in real if r.strip == "plies"]
        odd = np.array([r.plies.odd for r in plywood])
        result["real_plies"] = {"layers_found": [r.plies.plies for r in plywood], "odd": share(odd)}
    return result


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--json", type=Path, required=True)
    parser.add_argument("--each", type=int, default=5, help="made pictures of every kind and setting to score")
    parser.add_argument("--fitted", type=int, default=12, help="made pictures of every kind and setting that the fit used")
    chosen = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    fit_rows = list(made_rows("tune", chosen.fitted, chosen.photos))
    made = list(made_rows("report", chosen.each, chosen.photos))
    result = scores(fit_rows, made, real_rows(chosen.photos))
    chosen.json.parent.mkdir(parents=True, exist_ok=True)
    chosen.json.write_text(json.dumps(result, indent=1))
    print(json.dumps(_brief(result), indent=1))


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

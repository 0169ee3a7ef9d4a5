"""What the classifier reaches on rows of a rendered test: each figure with its interval and, where one is set, its target.

    python -m training.rendered_scores --rows FILE.npz [FILE.npz ...] [--model DIR] [--prior NAME] [--rounds 200]
    python -m training.rendered_scores --rows FILE.npz --net-alone judged_NAME.npz      # the panel net by itself

Rows come from `training.rendered_test`. Every panel counts as one; intervals are 95 % bootstraps over pieces, pieces alike (the
same figure as solid wood, veneer and print) drawn together. Rendered panels say nothing about photos.
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training import rendered_scores_stats as stats
from training.rendered_scores_answers import MIX, Said, answers, said_by_net, with_net, without
from training.rendered_scores_stats import Figure, Value
from training.rendered_test_rows import RenderedRows, load
from training.rendered_test_truth import CUES
from vision.inference import Model, load_model
from vision.inference.joint import CORES, FACES

Bools = NDArray[np.bool_]
Wanted = dict[str, tuple[Figure, Bools]]
Put = Callable[[str, Figure, Bools], None]
SOLID, VENEER, PRINTED = (FACES.index(f) for f in ("solid_wood", "veneer", "printed"))
CONFIDENT = 0.9
#: Labelled faces of furniture from which on a photo counts as one of many parts; mm a pixel from which on a face is distant.
MANY_PARTS, DISTANT_MM = 3, 1.0
KINDS = {
    "close-up": ("shot", ("close",)), "part of a piece": ("shot", ("part",)), "whole piece": ("shot", ("whole",)),
    "as the camera wrote it": ("delivery", ("camera",)), "sent as listing or message": ("delivery", ("listing", "message")),
    "listing thumbnail": ("delivery", ("thumbnail",)),
}
#: Figure -> (least or most, value).
TARGETS = {
    "coverage": (">=", 0.70), "decided: balanced accuracy": (">=", 0.90),
    "wood/print AUC: a cue in view": (">=", 0.97), "wood/print AUC: whole piece, 3 faces or more": (">=", 0.90),
    "core: balanced accuracy, edge shows": (">=", 0.90), "core: said not visible where hidden": (">=", 0.90),
    **{f"ECE {c}": ("<=", 0.04) for c in (*FACES, *CORES)},
    "wrong at p >= 0.9": ("<=", 0.02), "core: wrong at p >= 0.9, edge shows": ("<=", 0.02),
    "veneer or print called solid at p >= 0.9": ("<=", 0.01),
    "wood/print AUC: whole piece, pooled by photo": (">=", 0.90), "cue none: left open": (">=", 0.90),
}


@dataclass(frozen=True, eq=False)
class Truth:
    """Indices of true classes (n,), -1 unknown, and the panels each question is asked of."""

    face: NDArray[np.intp]
    core: NDArray[np.intp]
    faces: Bools
    wood: Bools
    shown: Bools
    hidden: Bools

    @staticmethod
    def of(rows: RenderedRows) -> Truth:
        """`shown`: a bare core, whatever side it is on; `hidden`: any other panel of furniture, banded edges included."""
        face, core = (np.array([names.index(v) if v in names else -1 for v in said], dtype=np.intp)
                      for names, said in ((FACES, rows.face.tolist()), (CORES, rows.core.tolist())))
        faces = (rows.view == "face") & (face >= 0)
        shown = (rows.facts["core_shown"] | (faces & (rows.face == "bare_board"))) & (core >= 0)
        furniture = rows.facts["role"] != "background"
        return Truth(face, core, faces, faces & np.isin(face, [SOLID, VENEER]), shown & furniture, furniture & ~shown)

    @property
    def asked(self) -> Bools:
        """Faces of wood or print."""
        return self.wood | (self.faces & (self.face == PRINTED))


def figures(rows: RenderedRows, said: Said, rounds: int = 200, seed: int = 0) -> dict[str, Value]:
    """Every figure by name, with its interval and what it rests on."""
    return stats.values(wanted(rows, said), rows.group, rounds, seed)


def wanted(rows: RenderedRows, said: Said) -> Wanted:
    """Every figure as a function of the panels' weights."""
    t = Truth.of(rows)
    leading = said.face.argmax(axis=1)
    right, sure = leading == t.face, said.face.max(axis=1) >= CONFIDENT
    decided = t.faces & said.decided
    out: Wanted = {}

    def put(name: str, figure: Figure, use: Bools) -> None:
        out[name] = (figure, use)

    put("coverage", stats.mean(said.decided, t.faces), t.faces)
    put("decided: right", stats.mean(right, decided), decided)
    put("decided: balanced accuracy", stats.balanced(t.face, leading, decided, len(FACES)), decided)
    put("forced: balanced accuracy", stats.balanced(t.face, leading, t.faces, len(FACES)), t.faces)
    for c, name in enumerate(FACES):
        put(f"recall {name}", stats.mean(right, t.faces & (t.face == c)), t.faces & (t.face == c))
        put(f"decided recall {name}", stats.mean(right, decided & (t.face == c)), decided & (t.face == c))
    for name, use in _subsets(rows, t).items():
        put(f"wood/print AUC: {name}", stats.area(wood_score(said), t.wood, t.asked & use), t.asked & use)
    pooled, at = _pooled(rows, t, said, t.asked & _subsets(rows, t)["whole piece, 3 faces or more"])
    put("wood/print AUC: whole piece, pooled by photo", stats.area(pooled, t.wood, at), at)
    edge = rows.cue("edge") | rows.cue("end")
    for name, use in (("all", t.wood), ("bare edge in view", t.wood & edge), ("no bare edge in view", t.wood & ~edge)):
        put(f"solid/veneer AUC: {name}", stats.area(solid_score(said), t.face == SOLID, use), use)
    _core(put, t, said)
    for c, name in enumerate(FACES):
        put(f"ECE {name}", stats.calibration_error(said.face[:, c], t.face == c, t.faces), t.faces)
    for c, name in enumerate(CORES):
        put(f"ECE {name}", stats.calibration_error(said.core[:, c], t.core == c, t.shown), t.shown)
    skinned = t.faces & np.isin(t.face, [VENEER, PRINTED])
    put("wrong at p >= 0.9", stats.mean(sure & ~right, t.faces), t.faces)
    put("veneer or print called solid at p >= 0.9", stats.mean(said.face[:, SOLID] >= CONFIDENT, skinned), skinned)
    for what, p, y, use in (("face", said.face, t.face, t.faces), ("core", said.core, t.core, t.shown)):
        base = stats.base_rate(y, use, p.shape[1])
        put(f"{what} log loss", stats.log_loss(p, y, use), use)
        put(f"{what} log loss of the base rate", stats.log_loss(base, y, use), use)
        put(f"{what} Brier", stats.brier(p, y, use), use)
        put(f"{what} Brier of the base rate", stats.brier(base, y, use), use)
    for what, held, y, use in (("face", said.face_set, t.face, t.faces), ("core", said.core_set, t.core, t.shown)):
        put(f"{what} truth in set", stats.mean(held[np.arange(len(y)), np.maximum(y, 0)], use), use)
        put(f"{what} set size", stats.mean(held.sum(axis=1), use), use)
    _groups(put, rows, t, said)
    _twins(put, rows, t, said)
    return out


def wood_score(said: Said) -> NDArray[np.float64]:
    """(n,) p(wood) among wood and print."""
    wood = said.face[:, SOLID] + said.face[:, VENEER]
    return np.asarray(wood / np.maximum(1e-12, wood + said.face[:, PRINTED]))


def solid_score(said: Said) -> NDArray[np.float64]:
    """(n,) p(solid) among solid and veneer."""
    return np.asarray(said.face[:, SOLID] / np.maximum(1e-12, said.face[:, SOLID] + said.face[:, VENEER]))


def _subsets(rows: RenderedRows, t: Truth) -> dict[str, Bools]:
    many = rows.facts["faces"] >= MANY_PARTS
    return {"all": np.ones(len(rows), dtype=bool), "a cue in view": rows.cues.any(axis=1), "no cue": ~rows.cues.any(axis=1),
            "whole piece, 3 faces or more": (rows.facts["shot"] == "whole") & many,
            "distant, 1 or 2 faces": (rows.facts["mm_per_px"] >= DISTANT_MM) & ~many & (rows.facts["role"] != "background")}


def _pooled(rows: RenderedRows, t: Truth, said: Said, use: Bools) -> tuple[NDArray[np.float64], Bools]:
    """Mean log odds of wood against print over the faces of a photo in `use`, put at its first such panel, and those panels;
    photos whose faces are some wood, some print are left out."""
    odds = np.log(np.maximum(1e-9, wood_score(said))) - np.log(np.maximum(1e-9, 1 - wood_score(said)))
    score, at = np.zeros(len(rows)), np.zeros(len(rows), dtype=bool)
    for photo in np.unique(rows.photo[use]):
        mine = np.flatnonzero(use & (rows.photo == photo))
        if len(np.unique(t.wood[mine])) == 1:
            score[mine[0]], at[mine[0]] = odds[mine].mean(), True
    return score, at


def _core(put: Put, t: Truth, said: Said) -> None:
    leading = said.core.argmax(axis=1)
    edges = t.shown & ~t.faces
    put("core: balanced accuracy, edge shows", stats.balanced(t.core, leading, edges, len(CORES)), edges)
    sure = said.core.max(axis=1) >= CONFIDENT
    put("core: wrong at p >= 0.9, edge shows", stats.mean(sure & (leading != t.core), edges), edges)
    put("core: said visible where an edge shows", stats.mean(said.visible >= 0.5, edges), edges)
    put("core: said not visible where hidden", stats.mean(said.visible < 0.5, t.hidden), t.hidden)
    banded = t.hidden & ~t.faces
    put("core: said not visible on banded edges", stats.mean(said.visible < 0.5, banded), banded)
    put("core: said not visible on faces", stats.mean(said.visible < 0.5, t.hidden & t.faces), t.hidden & t.faces)


def _groups(put: Put, rows: RenderedRows, t: Truth, said: Said) -> None:
    """Figures by cue in view and by kind of photo."""
    leading = said.face.argmax(axis=1)
    right = leading == t.face
    named = said.decided & np.isin(leading, [SOLID, VENEER, PRINTED])
    both = said.face_set[:, PRINTED] & (said.face_set[:, SOLID] | said.face_set[:, VENEER])
    sure = said.face.max(axis=1) >= CONFIDENT
    subsets = {f"cue {c}": rows.cue(c) for c in CUES} | {"cue none": ~rows.cues.any(axis=1)}
    subsets |= {f"kind {k}": np.isin(rows.facts[what], kinds) for k, (what, kinds) in KINDS.items()}
    for name, use in subsets.items():
        faces, asked = t.faces & use, t.asked & use
        put(f"{name}: coverage", stats.mean(said.decided, faces), faces)
        put(f"{name}: right", stats.mean(right, faces & said.decided), faces & said.decided)
        put(f"{name}: forced", stats.balanced(t.face, leading, faces, len(FACES)), faces)
        put(f"{name}: wood/print", stats.area(wood_score(said), t.wood, asked), asked)
        put(f"{name}: wrong at p >= 0.9", stats.mean(sure & ~right, faces), faces)
        put(f"{name}: left open", stats.mean(~named, asked), asked)
        put(f"{name}: set holds both", stats.mean(both, asked), asked)


def _twins(put: Put, rows: RenderedRows, t: Truth, said: Said) -> None:
    """Hard negatives: one figure in one light as solid wood, veneer and print."""
    twin = (rows.facts["twin"] != "") & t.asked
    right = said.face.argmax(axis=1) == t.face
    put("twins: forced right", stats.mean(right, twin), twin)
    put("twins: coverage", stats.mean(said.decided, twin), twin)
    put("twins: right when decided", stats.mean(right, twin & said.decided), twin & said.decided)
    shot = np.array([p.rpartition("_")[2] for p in rows.photo.tolist()])
    key = np.array(["/".join(k) for k in zip(rows.group.tolist(), shot.tolist(), rows.facts["part"].tolist(),
                                             rows.facts["side"].tolist(), strict=True)])
    kinds = {name: twin & (t.face == c) for name, c in (("solid", SOLID), ("veneer", VENEER), ("print", PRINTED))}
    for a, b, score in (("solid", "print", wood_score(said)), ("veneer", "print", wood_score(said)),
                        ("solid", "veneer", solid_score(said))):
        figure, pairs = stats.order_within(score, kinds[a], kinds[b], key)
        put(f"twins: {a} over {b}, same panel", figure, kinds[a] if pairs else np.zeros(len(rows), dtype=bool))


def taught_on(rows: RenderedRows) -> int:
    """How many groups of pieces the committed table of rendered panels also holds: those are not held out."""
    from training.tables import RENDERED, Table, short_hash

    if not RENDERED.exists():
        return 0
    seen = set(Table.load(RENDERED).author.tolist())
    return sum(short_hash(g) in seen for g in np.unique(rows.group).tolist())


def verdict_on(name: str, v: Value) -> str:
    """Whether a target is met, and whether the interval leaves that open; '' without a target."""
    if name not in TARGETS or not np.isfinite(v.value):
        return ""
    sign, limit = TARGETS[name]
    met = v.value >= limit if sign == ">=" else v.value <= limit
    return f"{sign} {limit:.2f} {'met' if met else 'missed'}{', not surely' if v.low < limit < v.high else ''}"


def _line(label: str, name: str, found: Mapping[str, Value]) -> str:
    v = found[name]
    if not np.isfinite(v.value):
        return f"  {label:<50}     -  n {v.panels}"
    return f"  {label:<50}{v.value:6.3f} ({v.low:.3f} to {v.high:.3f})  n {v.panels:<6}{verdict_on(name, v)}".rstrip()


def _short(v: Value) -> str:
    return f"{v.value:6.3f}" if np.isfinite(v.value) else "     -"


def text(rows: RenderedRows, said: Said, found: Mapping[str, Value], model: str) -> Iterator[str]:
    """The printed page."""
    t = Truth.of(rows)
    groups, taught = len(np.unique(rows.group)), taught_on(rows)
    photos = len(np.unique(rows.photo))
    yield (f"Rendered test: {len(rows)} panels ({int(t.faces.sum())} faces) on {photos} photos of {groups} groups of pieces; "
           f"model {model}")
    yield (f"{taught} of these groups also taught the classifier: these figures are not held out" if taught
           else "No group among those that the tables teach on. Every panel counts once; 95 % intervals over groups of pieces")
    if said.missing:
        some = ", ".join(said.missing[:3])
        yield f"{len(said.missing)} numbers of the model are not in the rows, taken as not measurable: {some} ..."
    for label in ("coverage", "decided: right", "decided: balanced accuracy", "forced: balanced accuracy"):
        yield _line(label, label, found)
    yield "  recall, decided / forced: " + ", ".join(
        f"{c} {_short(found[f'decided recall {c}']).strip()}/{_short(found[f'recall {c}']).strip()}" for c in FACES)
    for name in (n for n in found if "AUC: " in n):
        yield _line(name, name, found)
    for label in ("wrong at p >= 0.9", "veneer or print called solid at p >= 0.9"):
        yield _line(label, label, found)
    for name in (n for n in found if n.startswith("core: ")):
        yield _line(name, name, found)
    yield f"Expected calibration error, {stats.BINS} bins of equal mass; in brackets what luck alone gives a true forecaster"
    for classes, p, use in ((FACES, said.face, t.faces), (CORES, said.core, t.shown)):
        for c, name in enumerate(classes):
            v = found[f"ECE {name}"]
            luck = stats.error_by_luck(p[:, c], use)
            yield f"{_line(name, f'ECE {name}', found)} [{luck:.3f}], {v.groups} groups"
    yield "Scores (base rate: the test's own mix, known to it)"
    for what in ("face", "core"):
        parts = []
        for s in ("log loss", "Brier"):
            v, base = found[f"{what} {s}"], found[f"{what} {s} of the base rate"]
            parts.append(f"{s} {v.value:.3f} ({v.low:.3f} to {v.high:.3f}), base {base.value:.3f}")
        sets = f"truth in set {found[f'{what} truth in set'].value:.3f}, size {found[f'{what} set size'].value:.2f}"
        yield f"  {what}: {'; '.join(parts)}; {sets}"
    yield from _tables(found)
    forced, coverage, right = (found[f"twins: {k}"] for k in ("forced right", "coverage", "right when decided"))
    yield (f"One figure as solid wood, veneer and print: {forced.panels} faces, forced right {_short(forced).strip()} "
           f"({forced.low:.3f} to {forced.high:.3f}), decided {_short(coverage).strip()}, right then {_short(right).strip()}")
    for name in (n for n in found if n.startswith("twins: ") and " over " in n):
        yield _line(name[7:], name, found)


def _tables(found: Mapping[str, Value]) -> Iterator[str]:
    widths = {"faces": 7, "decided": 9, "right": 8, "forced": 8, "wood/print": 12, "p>=0.9 wrong": 14, "left open": 11,
              "set: both": 11}
    head = "".join(f"{name:>{width}}" for name, width in widths.items())
    for title, prefix in (("By cue in view (one panel may show several)", "cue "), ("By kind of photo", "kind ")):
        yield f"{title:<44}{head}"
        for name in dict.fromkeys(re.sub(r": [^:]*$", "", n) for n in found if n.startswith(prefix)):
            row = [found[f"{name}: {k}"] for k in ("coverage", "right", "forced", "wood/print", "wrong at p >= 0.9", "left open",
                                                   "set holds both")]
            cells = "".join(f"{_short(v):>{w}}" for v, w in zip(row, list(widths.values())[1:], strict=True))
            yield f"  {name[len(prefix):]:<42}{row[0].panels:>7}{cells}  {verdict_on(f'{name}: left open', row[5])}".rstrip()


def judged(
    paths: Sequence[Path], model: Model | None = None, prior: str = "reference", net: Path | None = None,
    silent: str | None = None,
) -> tuple[RenderedRows, Said]:
    """Rows of some files and what a model (default: the shipped one) says of them under a prior. `net`: what the panel net
    answered on them, where they were measured without it; `silent`: a group of numbers taken as not measurable."""
    rows = load(*paths) if net is None else with_net(load(*paths), net)
    rows = rows if silent is None else without(rows, silent)
    return rows, answers(rows, load_model() if model is None else model, prior)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", type=Path, nargs="+", required=True)
    parser.add_argument("--model", type=Path, help="folder of another model")
    parser.add_argument("--prior", default="reference", help=f"of the model, or {MIX}: the test's own mix of faces")
    parser.add_argument("--rounds", type=int, default=200)
    parser.add_argument("--net-alone", type=Path, help="judge these answers of the panel net instead of a model")
    parser.add_argument("--net", type=Path, help="what the panel net answered on these rows, if they were measured without it")
    parser.add_argument("--without", metavar="GROUP", help="as if this group of numbers could not be measured, e.g. net_region")
    args = parser.parse_args()
    if args.net_alone is not None:
        rows, said = said_by_net(load(*args.rows), args.net_alone)
        name = "none: the panel net alone"
    else:
        model = load_model(args.model)
        rows, said = judged(args.rows, model, args.prior, args.net, args.without)
        name = f"{model.tables['id']}, prior {args.prior}" + (f", without {args.without}" if args.without else "")
    print("\n".join(text(rows, said, figures(rows, said, args.rounds), name)))


if __name__ == "__main__":
    main()

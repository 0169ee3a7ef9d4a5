"""The first page of docs/accuracy.md: what is reached on real photos, what is not, and which targets are met."""

# ruff: noqa: E501  (sentences of a document)
from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.accuracy_tables import LEAST_PANELS, Side, header, kind_masks, number, pair_auc, span, veneer_masks
from training.baselines import Paired
from training.binomial import exact_interval
from training.experts import Array
from training.figures import figures, group_weight, intervals
from training.plots_accuracy import calibration_error
from training.tables import CUES
from vision.inference.joint import CORES, FACES

WOODS = ("solid_wood", "veneer")
LOSS = "face: log loss (uniform 1.792)"
#: Figures in a few words.
_PLAIN = {
    LOSS: "log loss", "face: Brier (uniform 0.833)": "Brier score", "face: balanced accuracy, forced": "balanced accuracy of faces",
    "AUC solid against veneer": "solid against veneer", "AUC wood against print": "wood against print",
    "AUC wood against paint, board, other": "wood against the rest", "face: coverage (decided)": "how much it decides",
    "area under risk and coverage": "errors by coverage", "core at edges: balanced, forced": "cores at edges", "view: balanced": "which side is seen",
}
#: A class recalled less often than this, forced, counts as hardly known.
HARDLY = 0.5


def _specimens(side: Side, face: str) -> int:
    return side.specimens(side.faces & (side.table.face == FACES.index(face)))


def wrongly(side: Side, called: str, among: NDArray[np.bool_], p: float = 0.9) -> tuple[int, int, tuple[float, float]]:
    """Specimens of `among` with a panel called something at `p` or more, how many there are, exact 95 % interval."""
    said = among & (side.ours.answers.face[:, FACES.index(called)] >= p)
    hits, trials = side.specimens(said), side.specimens(among)
    return hits, trials, exact_interval(hits, trials) if trials else (0.0, 1.0)


def reached(side: Side, compared: Mapping[str, Sequence[Paired]]) -> Iterator[str]:
    """Ten lines on real photographs."""
    s = side.scored()
    f, ci = figures(s), intervals(s)

    def v(key: str, digits: int = 2) -> str:
        return f"{number(f[key], digits)} {span(ci.get(key))}"

    edges = side.use & (side.table.view > 0) & (side.table.core >= 0)
    not_solid = side.faces & (side.table.face != FACES.index("solid_wood"))
    hits, trials, exact = wrongly(side, "solid_wood", not_solid)
    yield f"It decides {v('face: coverage (decided)')} of faces by itself and says \"cannot tell\" of the rest; of those it decides, {v('face: right when decided')} are right."
    yield f"Made to name one of six faces every time, it is right {v('face: balanced accuracy, forced')} of the time, classes counted alike (chance 0.17)."
    yield f"Log loss of its face probabilities {v(LOSS)}; knowing nothing costs 1.79."
    yield f"Solid wood against veneer: area under the ROC curve {v('AUC solid against veneer')} (0.5 is chance)."
    yield f"Real wood against print: {v('AUC wood against print')}, from {_specimens(side, 'printed')} printed specimens."
    yield f"Wood against paint, raw board and other surfaces: {v('AUC wood against paint, board, other')}."
    yield f"Cores where an edge, end or joint shows ({side.specimens(edges)} specimens): {v('core at edges: balanced, forced')} of four kinds (chance 0.25)."
    yield f"Sure and wrong (a wrong face at 0.9 or more): {v('face: confident and wrong (p>=0.9)', 3)} of faces. Called solid at 0.9 or more and is not: {hits} of {trials} specimens [{exact[0]:.3f}, {exact[1]:.3f}]."
    yield f"Sets that should hold the truth nine times in ten hold it {v('face: truth in set')}, and name {v('face: mean set size')} of six faces."
    told: dict[str, list[str]] = {}
    for words, found in compared.items():
        better, worse, open_ = ([_PLAIN.get(p.figure, p.figure) for p in found if p.verdict.startswith(v)] for v in ("better", "worse", ("no", "too")))
        line = (f"better on {', '.join(better) or 'nothing'}" + (f", worse on {', '.join(worse)}" if worse else "")
                + (f"; nothing can be said on {', '.join(open_)}" if open_ else ""))
        told.setdefault(line, []).append(words)
    against = ". ".join(f"Against {' and against '.join(names)}: {line}" for line, names in told.items())
    yield f"Baselines on the same panels. {against}. Said only where paired intervals over specimens and over authors exclude zero."


def not_reached(side: Side) -> Iterator[str]:
    """What the figures do not carry; each line stands only where the figures say so."""
    s = side.scored()
    f, ci = figures(s), intervals(s)
    low, high = ci.get("AUC wood against print", (0.0, 1.0))
    printed = _specimens(side, "printed")
    if printed < 30 or low <= 0.5:
        yield (f"**Print is hardly known**: {printed} specimens, an interval from {low:.2f} to {high:.2f}"
               + (", which holds chance" if low <= 0.5 else "") + f"; forced, {number(f['face: recall printed, forced'], 2)} of prints are called print. A print may be called wood.")
    weak = [(name, f[f"face: recall {name}, forced"]) for name in FACES if name != "printed" and f[f"face: recall {name}, forced"] < HARDLY]
    for name, value in weak:
        yield f"**{name.replace('_', ' ').capitalize()}** is named in {value:.2f} of its specimens only, when made to choose."
    for name, rows in veneer_masks(side).items():
        if rows.any():
            ones = np.ones(len(side.table))
            yield f"Solid wood against {name} ({side.specimens(rows)} specimens): area {pair_auc(side, side.ours, rows, ones):.2f}; the one figure above mixes both kinds."
    core_low, core_high = ci.get("core at edges: balanced, forced", (0.0, 1.0))
    counts = [f"{name} {side.specimens(side.use & (side.table.view > 0) & (side.table.core == k))}" for k, name in enumerate(CORES)]
    yield f"Cores rest on few edges ({', '.join(counts)} specimens); the interval runs from {core_low:.2f} to {core_high:.2f}."
    masks = kind_masks(side)
    small = masks.get("listing thumbnail")
    if small is not None and small.sum() >= LEAST_PANELS:
        g = figures(side.scored(small))
        yield f"On small photos and small panels ({side.specimens(small)} specimens) it decides {g['face: coverage (decided)']:.2f} and reaches {g['face: balanced accuracy, forced']:.2f} when forced."
    yield (f"{side.specimens(side.use)} specimens by {len(np.unique(side.table.author[side.use]))} authors are few: no calibration error is claimed on real photos, and settings chosen with all authors in view flatter the figures a little.")


@dataclass(frozen=True)
class Target:
    """What was asked for on rendered panels, what is reached, and the same on real ones for comparison. `met` None: cannot be
    said here."""

    asked: str
    found: str
    met: bool | None
    real: str


def _of(side: Side, rows: NDArray[np.bool_], key: str) -> float:
    return figures(side.scored(rows))[key] if (side.use & rows).sum() >= LEAST_PANELS else float("nan")


def _share(side: Side, rows: NDArray[np.bool_], what: NDArray[np.bool_] | Array) -> float:
    at = np.unique(side.table.specimen, return_inverse=True)[1]
    w = group_weight(at, rows, np.ones(len(side.table)))
    return float(w @ what / w.sum()) if w.sum() > 0 else float("nan")


def measures(side: Side) -> dict[str, float]:
    """The numbers that targets are set on."""
    t, a = side.table, side.ours.answers
    none = t.cues[:, CUES.index("none")]
    every = np.ones(len(t), bool)
    f = figures(side.scored())
    kinds = kind_masks(side)
    wood_or_print = side.faces & np.isin(t.face, [FACES.index(n) for n in (*WOODS, "printed")])
    sheet = side.faces & np.isin(t.face, [FACES.index(n) for n in ("veneer", "printed")])
    hidden = side.faces & (t.core_visible == 1)
    several, single = (kinds.get(k, ~every) for k in ("not close, several faces outlined", "not close, a single face"))
    return {
        "decided": f["face: coverage (decided)"], "balanced decided": _of(side, side.faces & side.ours.decided, "face: balanced accuracy, forced"),
        "print, cue": _of(side, ~none, "AUC wood against print"), "print, several": _of(side, several, "AUC wood against print"),
        "print, single": _of(side, single, "AUC wood against print"),
        "core": f["core at edges: balanced, forced"], "core hidden": _share(side, hidden, a.visible < 0.5),
        "ece": max(calibration_error(side.scored()).values()), "sure and wrong": f["face: confident and wrong (p>=0.9)"],
        "sheet called solid": _share(side, sheet, a.face[:, FACES.index("solid_wood")] >= 0.9),
        "in set": f["face: truth in set"], "none undecided": _share(side, wood_or_print & none, ~side.ours.decided),
    }


def targets(made: Side, real: Side) -> list[Target]:
    """All targets that can be judged from these panels."""
    m, r = measures(made), measures(real)

    def one(asked: str, key: str, met: bool, digits: int = 2) -> Target:
        return Target(asked, number(m[key], digits), met if np.isfinite(m[key]) else None, number(r[key], digits))

    pieces = len(np.unique(made.table.author))
    return [
        Target("faces: balanced accuracy of decided panels at least 0.90, at least 0.70 decided", f"{number(m['balanced decided'], 2)} of {number(m['decided'], 2)} decided",
               m["balanced decided"] >= 0.9 and m["decided"] >= 0.7, f"{number(r['balanced decided'], 2)} of {number(r['decided'], 2)} decided"),
        one("wood against print where a cue is in view: area at least 0.97", "print, cue", m["print, cue"] >= 0.97),
        one("wood against print on photos of several parts, not close: area at least 0.90", "print, several", m["print, several"] >= 0.9),
        Target("the same where one face is seen from afar (no target)", number(m["print, single"], 2), None, number(r["print, single"], 2)),
        one("core where an edge is in view: balanced accuracy at least 0.90", "core", m["core"] >= 0.9),
        one("core elsewhere: said to be hidden (0.90 taken as the aim)", "core hidden", m["core hidden"] >= 0.9),
        Target("calibration error of each class at most 0.04, on at least 1,000 pieces", f"worst class {number(m['ece'], 3)} on {pieces} pieces", m["ece"] <= 0.04 and pieces >= 1000,
               "no claim, too few"),
        one("sure (0.9) and wrong: at most 0.02 of faces", "sure and wrong", m["sure and wrong"] <= 0.02, 3),
        one("veneer or print called solid at 0.9: at most 0.01", "sheet called solid", m["sheet called solid"] <= 0.01, 3),
        one("truth in the set: 0.88 to 0.92", "in set", 0.88 <= m["in set"] <= 0.92, 3),
        one("no cue in view: wood-or-print questions left open, at least 0.90", "none undecided", m["none undecided"] >= 0.9),
    ]


def target_table(found: Sequence[Target]) -> Iterator[str]:
    """Targets with met or missed."""
    yield from header("asked for on rendered panels never taught", "reached there", "", "on real photos, for comparison")
    for t in found:
        yield f"| {t.asked} | {t.found} | {'-' if t.met is None else 'met' if t.met else '**missed**'} | {t.real} |"

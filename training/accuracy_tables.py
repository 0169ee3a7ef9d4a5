"""The tables of docs/accuracy.md as lines of Markdown, from held-out answers to one table of panels."""

# ruff: noqa: E501  (sentences of a document)
from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training import baselines_checklist as checklist
from training.baselines import COMPARED, GRID, Paired, curve, draws
from training.experts import Array
from training.figures import Scored, auc, figures, group_weight, intervals
from training.heldout import HeldOut
from training.panel_facts import KINDS, Facts
from training.plots_accuracy import calibration_error
from training.tables import CUES, Table
from vision import registry
from vision.inference.joint import CORES, FACES

SOLID, VENEER = FACES.index("solid_wood"), FACES.index("veneer")
#: Groups of fewer panels are left out of a table by group.
LEAST_PANELS = 10


@dataclass(frozen=True, eq=False)
class Side:
    """One table of panels with everything that was said of it. `use` (n,) rows that count in the figures; `baselines`:
    short name -> (words, answers); `facts` None where none are stored for these rows."""

    name: str
    table: Table
    use: NDArray[np.bool_]
    ours: HeldOut
    baselines: Mapping[str, tuple[str, HeldOut]]
    facts: Facts | None

    def scored(self, rows: NDArray[np.bool_] | None = None, of: HeldOut | None = None) -> Scored:
        """Answers of `of` (default ours) to the rows that count, or to those of them in `rows`."""
        return (of or self.ours).scored(self.table).rows(self.use if rows is None else self.use & rows)

    @property
    def faces(self) -> NDArray[np.bool_]:
        """(n,) rows that count and show a labelled face."""
        return self.use & (self.table.view == 0) & (self.table.face >= 0)

    def specimens(self, rows: NDArray[np.bool_]) -> int:
        """How many specimens some rows come from."""
        return len(np.unique(self.table.specimen[rows]))


def number(value: float, digits: int = 3) -> str:
    """A figure, or a dash where there is none."""
    return "-" if not np.isfinite(value) else f"{value:.{digits}f}"


def span(pair: tuple[float, float] | None) -> str:
    """An interval in square brackets, nothing without one."""
    return "" if pair is None else f"[{pair[0]:.2f}, {pair[1]:.2f}]"


def header(*names: str) -> Iterator[str]:
    """The first two lines of a table."""
    yield "| " + " | ".join(names) + " |"
    yield "|---" * len(names) + "|"


def figure_table(side: Side) -> Iterator[str]:
    """All figures with intervals over authors or pieces."""
    yield from header("figure", "value", "95 % interval")
    s = side.scored()
    ci = intervals(s)
    for key, value in figures(s).items():
        yield f"| {key} | {number(value)} | {span(ci.get(key))} |"


def confusion(truth: NDArray[np.int8], answer: NDArray[np.intp], specimen: NDArray[np.str_], use: NDArray[np.bool_],
              names: Sequence[str]) -> Iterator[str]:
    """Rows: the truth with its specimens; columns: share of its specimens that got each answer."""
    yield from header("truth", "specimens", *(f"said {n}" for n in names))
    at = np.unique(specimen, return_inverse=True)[1]
    for k, name in enumerate(names):
        rows = use & (truth == k)
        w = group_weight(at, rows, np.ones(len(at)))
        if not rows.any():
            continue
        shares = [float(w[answer == c].sum() / w.sum()) for c in range(len(names))]
        cells = [f"**{v:.2f}**" if c == k else f"{v:.2f}" if v >= 0.005 else "." for c, v in enumerate(shares)]
        yield f"| {name} | {w.sum():.0f} | " + " | ".join(cells) + " |"


def confusions(side: Side) -> Iterator[str]:
    """Faces forced, faces decided, cores at narrow sides."""
    t, a = side.table, side.ours.answers
    yield from ("Faces, the likeliest one of each panel, whether it was decided or not:", "")
    yield from confusion(t.face, a.face.argmax(axis=1), t.specimen, side.faces, FACES)
    yield from ("", "Faces that were decided:", "")
    yield from confusion(t.face, a.face.argmax(axis=1), t.specimen, side.faces & side.ours.decided, FACES)
    yield from ("", "Cores where an edge, an end or a joint is in view:", "")
    yield from confusion(t.core, a.core.argmax(axis=1), t.specimen, side.use & (t.view > 0) & (t.core >= 0), CORES)


def by_class(side: Side) -> Iterator[str]:
    """Face by face; calibration errors are given where there are specimens enough to mean something."""
    yield from header("true face", "specimens", "decided", "right when decided", "forced: right", "truth in set", "mean probability of the truth", "calibration error of its probability")
    t, answers = side.table, side.ours
    at = np.unique(t.specimen, return_inverse=True)[1]
    error = calibration_error(side.scored())
    for k, name in enumerate(FACES):
        rows = side.faces & (t.face == k)
        w = group_weight(at, rows, np.ones(len(t)))
        if w.sum() == 0:
            continue
        right = answers.answers.face.argmax(axis=1) == k

        def mean(v: Array | NDArray[np.bool_], w: Array = w) -> float:
            return float(w @ v / w.sum()) if w.sum() > 0 else float("nan")

        decided = w * answers.decided
        cells = [mean(answers.decided), mean(right, decided), mean(right), mean(answers.face_set[:, k]), mean(answers.answers.face[:, k]), error[name]]
        yield f"| {name} | {w.sum():.0f} | " + " | ".join(number(v, 2) for v in cells) + " |"


_GROUP = ("panels", "specimens", "decided", "right when decided", "balanced, forced", "log loss", "solid against veneer", "wood against print", "truth in set", "mean set")
_GROUP_KEYS = ("face: coverage (decided)", "face: right when decided", "face: balanced accuracy, forced", "face: log loss (uniform 1.792)",
               "AUC solid against veneer", "AUC wood against print", "face: truth in set", "face: mean set size")


def _group_row(side: Side, name: str, rows: NDArray[np.bool_]) -> str:
    f = figures(side.scored(rows))
    return f"| {name} | {int(rows.sum())} | {side.specimens(rows)} | " + " | ".join(number(f[k], 2) for k in _GROUP_KEYS) + " |"


def by_cue(side: Side) -> Iterator[str]:
    """Faces with each cue in view."""
    yield from header("cue in view", *_GROUP)
    for k, cue in enumerate(CUES):
        rows = side.faces & side.table.cues[:, k]
        if rows.sum() >= LEAST_PANELS:
            yield _group_row(side, f"{cue}: {registry.CUES[cue]}", rows)


def kind_masks(side: Side) -> dict[str, NDArray[np.bool_]]:
    """Rows of faces by photo type, and by whether the photo shows several parts; nothing without facts."""
    if side.facts is None:
        return {}
    kind, faces = side.facts.kind, side.facts.faces
    distant = side.faces & (kind != KINDS.index("close-up"))
    return {**{name: side.faces & (kind == k) for k, name in enumerate(KINDS)},
            "not close, several faces outlined": distant & (faces >= 2), "not close, a single face": distant & (faces < 2)}


def by_kind(side: Side) -> Iterator[str]:
    """Faces by photo type."""
    masks = kind_masks(side)
    if not masks:
        yield "No facts are stored for these panels: run `python -m training.panel_facts`."
        return
    yield from header("photo type", *_GROUP)
    for name, rows in masks.items():
        if rows.sum() >= LEAST_PANELS:
            yield _group_row(side, name, rows)


def veneer_masks(side: Side) -> dict[str, NDArray[np.bool_]]:
    """Veneers of two kinds, apart."""
    if side.facts is None:
        return {}
    veneer = side.faces & (side.table.face == VENEER)
    return {"plywood's own face": veneer & side.facts.plywood, "furniture veneer": veneer & ~side.facts.plywood}


def pair_auc(side: Side, of: HeldOut, kind: NDArray[np.bool_], times: Array) -> float:
    """Solid against one kind of veneer, each specimen of a kind once."""
    solid = side.faces & (side.table.face == SOLID)
    p = of.answers.face
    score = p[:, SOLID] / np.maximum(1e-9, p[:, SOLID] + p[:, VENEER])
    at = np.unique(side.table.specimen, return_inverse=True)[1]
    both = solid | kind
    w = group_weight(at, solid, times) + group_weight(at, kind, times)
    return auc(score[both], solid[both], w[both])


def veneers(side: Side) -> Iterator[str]:
    """Plywood faces and furniture veneers apart: ours and the baselines."""
    masks = veneer_masks(side)
    if not masks:
        yield "No facts are stored for these panels: run `python -m training.panel_facts`."
        return
    everyone = {"ours": ("ours", side.ours), **side.baselines}
    yield from header("kind", "specimens", "called solid at p >= 0.9", "forced: called veneer", *(f"solid against it: {words}" for words, _ in everyone.values()))
    at = np.unique(side.table.specimen, return_inverse=True)[1]
    ones, rounds = np.ones(len(side.table)), list(draws(side.table.author, 200, 0))
    for name, rows in masks.items():
        w = group_weight(at, rows, ones)
        if w.sum() == 0:
            continue
        p = side.ours.answers.face
        cells = []
        for _, of in everyone.values():
            found = np.array([pair_auc(side, of, rows, t) for t in rounds])
            cells.append(f"{pair_auc(side, of, rows, ones):.2f} {span((float(np.nanquantile(found, 0.025)), float(np.nanquantile(found, 0.975))))}")
        yield (f"| {name} | {side.specimens(rows)} | {float(w @ (p[:, SOLID] >= 0.9) / w.sum()):.3f} | "
               f"{float(w @ (p.argmax(axis=1) == VENEER) / w.sum()):.2f} | " + " | ".join(cells) + " |")


def coverages(side: Side) -> Iterator[str]:
    """How much each can answer at a stated share right, with hindsight."""
    everyone = {"ours": side.ours, **{words: of for words, of in side.baselines.values()}}
    curves = {words: curve(side.scored(of=of)) for words, of in everyone.items()}
    yield from header("right at least", *curves)
    for level in (0.95, 0.9, 0.85, 0.8):
        most = [max((float(c) for c, risk in zip(GRID, found, strict=True) if risk <= 1 - level), default=0.0) for found in curves.values()]
        yield f"| {level:.2f} | " + " | ".join(number(v, 2) for v in most) + " |"


def comparison(words: str, found: Sequence[Paired]) -> Iterator[str]:
    """Ours against one baseline."""
    yield from header("figure", "ours", words, "ours minus it, over specimens", "over authors", "shown")
    for p in found:
        name = p.figure if COMPARED[p.figure] else f"{p.figure}, less is better"
        spans = [f"[{low:+.3f}, {high:+.3f}]" if np.isfinite(low) else "-" for low, high in (p.specimens, p.authors)]
        yield f"| {name} | {number(p.ours)} | {number(p.theirs)} | {spans[0]} | {spans[1]} | {p.verdict} |"


def rules_table(side: Side) -> Iterator[str]:
    """The checklist's odds, and how often each question can be answered."""
    yield from header("question", "odds of a yes, solid against veneer or print", "odds of a no", f"answered on {side.name} faces")
    for k, rule in enumerate(checklist.RULES):
        seen = "-" if side.facts is None else f"{int((side.faces & (side.facts.rules[:, k] != checklist.HIDDEN)).sum())} of {int(side.faces.sum())}"
        yield f"| {rule.question} | {rule.solid:.2g} | {rule.silent:.2g} | {seen} |"


def ablation(side: Side, found: Mapping[str, HeldOut], keys: Sequence[str]) -> Iterator[str]:
    """What is lost or won in log loss without each part, and the key figures."""
    yield from header("classifier", "change of face log loss, 95 % interval over authors", *keys)
    at = np.unique(side.table.specimen[side.faces], return_inverse=True)[1]
    author = side.table.author[side.faces]
    w = group_weight(at, np.ones(len(at), bool), np.ones(len(at)))
    rows = np.flatnonzero(side.faces)

    def loss(of: HeldOut) -> Array:
        return -np.log(np.maximum(1e-6, of.answers.face[rows, side.table.face[rows]]))

    whole, rounds = loss(side.ours), [t * w for t in draws(author, 400, 0)]
    for name, of in found.items():
        change = loss(of) - whole
        means = [float(t @ change / t.sum()) for t in rounds]
        f = figures(side.scored(of=of))
        told = "" if of is side.ours else f"{float(w @ change / w.sum()):+.3f} [{np.quantile(means, 0.025):+.3f}, {np.quantile(means, 0.975):+.3f}]"
        yield f"| {name} | {told} | " + " | ".join(number(f[k]) for k in keys) + " |"

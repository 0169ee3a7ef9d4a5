"""Whether a verdict outlives small changes of its photo: resizing, cropping, recompression, colour cast, blur, mirroring.

    python -m training.robust_scores --photos DIR [--renders DIR] [--cache build/measured] [--kept build/robust] \\
        [--folds build/folds] [--every 1] [--every-rendered 6] [--minutes 3]

Judged are outlined panels whose verdict on the original photo is decided, the outline carried along with the change. Real
ones by the models of `benchmarks.heldout_grainassay --make` in --folds: an author's panels by a classifier that never saw
them, and without the panel net's numbers: the shipped net was taught on these very panels and would be steadier on them than on
a stranger's. Rendered ones, which no net was taught on, apart, by the shipped model, of which experts have seen rendered pieces.
--cache is the folder of the teaching measurements, used only to choose the panels; what is measured here lies in --kept, and
a run that ends after --minutes is taken up where it stopped.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training.binomial import exact_interval
from training.measuring import measure_all
from training.real_photos import Labelled, labelled_panels
from training.rendered import rendered_panels
from training.robust_changes import CHANGES, ORIGINAL
from training.robust_measuring import Versions, measured
from training.tables import short_hash, spread
from vision import looks as looks_room
from vision import measure, panel_net
from vision.inference import Judgement, Model, load_model
from vision.inference.decide import NARROW

TARGET = 0.05
SEED = 20
#: Probabilities are kept this far from 0 and 1 where log odds are taken.
LEAST = 1e-6


@dataclass(frozen=True)
class Answer:
    """What a verdict comes down to. `question`: 'face' or 'core'; `name`: its likeliest class; `chances`: by class."""

    question: str
    name: str
    decided: bool
    chances: Mapping[str, float]


def answer(model: Model, values: NDArray[np.float32], looks: NDArray[np.float32]) -> Answer:
    """The verdict on one panel from its numbers."""
    named = {f.name: float(v) for f, v in zip(model.schema, values, strict=True)}
    judgement = model.judge(named, dict(zip(looks_room.LOOKS, looks, strict=True)))
    return answer_of(model, judgement)


def answer_of(model: Model, judgement: Judgement) -> Answer:
    """The question that the panel's view asks, and what is answered."""
    view = max(judgement.view, key=judgement.view.__getitem__)
    narrow = view in NARROW and judgement.core_visible >= 0.5
    chances = judgement.core if narrow else judgement.face
    verdict = model.verdict(judgement, ("none",), (), ())
    return Answer("core" if narrow else "face", max(chances, key=chances.__getitem__), not verdict.undecided, chances)


@dataclass(frozen=True)
class Outcome:
    """A decided panel after one change: `moved` is how far the log odds of the first answer moved."""

    author: str
    change: str
    flipped: bool
    opened: bool
    moved: float


def log_odds(p: float) -> float:
    """Natural log odds of a probability."""
    q = float(np.clip(p, LEAST, 1 - LEAST))
    return float(np.log(q / (1 - q)))


def outcomes(panel: Versions, model: Model) -> list[Outcome]:
    """One outcome a change; none where the original is undecided."""
    found = {n: answer(model, v, k) for n, v, k in zip(panel.names, panel.values, panel.looks, strict=True)}
    first = found.get(ORIGINAL)
    if first is None or not first.decided:
        return []
    out = []
    for name in CHANGES:
        if name not in found:
            continue
        now = found[name]
        other = (now.question, now.name) != (first.question, first.name)
        moved = float("nan")
        if now.question == first.question:
            moved = log_odds(now.chances[first.name]) - log_odds(first.chances[first.name])
        out.append(Outcome(panel.row.author, name, now.decided and other, not now.decided, moved))
    return out


def lines(found: Sequence[Outcome]) -> list[str]:
    """A line a change: flips among those still decided, panels that open, movement of log odds."""
    out = [f"  {'change':31s} {'n':>4s}  {'other class, of the still decided':33s} {'undecided':33s} "
           "log odds moved, mean and mean size"]
    for name in CHANGES:
        rows = [o for o in found if o.change == name]
        if not rows:
            continue
        flips, opened = sum(o.flipped for o in rows), sum(o.opened for o in rows)
        moved = np.array([o.moved for o in rows if np.isfinite(o.moved)])
        out.append(f"  {name:31s} {len(rows):4d}  {_share(flips, len(rows) - opened):33s} {_share(opened, len(rows)):33s} "
                   f"{moved.mean():+.2f} {np.abs(moved).mean():.2f}")
    return out


def totals(found: Sequence[Outcome], rounds: int = 1000) -> dict[str, tuple[float, float, float]]:
    """Shares over all changes with 95 % intervals by bootstrap over authors: the changes of one panel and the panels of one
    author are no independent trials."""
    authors = sorted({o.author for o in found})
    at = np.array([authors.index(o.author) for o in found])
    flipped, opened = (np.array([getattr(o, k) for o in found], dtype=float) for k in ("flipped", "opened"))
    rng = np.random.default_rng(0)
    times = [np.ones(len(authors)), *(np.bincount(rng.integers(0, len(authors), len(authors)), minlength=len(authors))
                                      for _ in range(rounds))]
    out = {}
    for name, hits, base in (("other class, of the still decided", flipped, 1 - opened), ("undecided", opened, np.ones(len(at)))):
        each = np.array([(t[at] @ hits) / max(1e-9, t[at] @ base) for t in times])
        out[name] = float(each[0]), float(np.quantile(each[1:], 0.025)), float(np.quantile(each[1:], 0.975))
    return out


def _share(hits: int, n: int) -> str:
    if n == 0:
        return "-"
    low, high = exact_interval(hits, n)
    return f"{hits}/{n} = {hits / n:.3f} [{low:.3f}, {high:.3f}]"


def report(title: str, panels: Sequence[Versions], models: Mapping[str, Model], whose: str = "authors") -> None:
    """Print the figures of one kind of panels; `models`: by panel id."""
    by_panel = {p.row.id: found for p in panels if (found := outcomes(p, models[p.row.id]))}
    rows = [p.row for p in panels if p.row.id in by_panel]
    found = [o for each in by_panel.values() for o in each]
    authors, specimens = {r.author for r in rows}, {(r.author, r.specimen) for r in rows}
    print(f"{title}: {len(rows)} panels decided as they are, of {len(specimens)} specimens, {len(authors)} {whose}")
    print("\n".join(lines(found)))
    shaken = [any(o.flipped for o in each) for each in by_panel.values()]
    print(f"  panels that change class under any of the changes: {_share(sum(shaken), len(shaken))}")
    for name, (value, low, high) in totals(found).items():
        target = f"  target at most {TARGET}, {'met' if value <= TARGET else 'MISSED'}" if name != "undecided" else ""
        print(f"  all changes, {name}: {value:.3f} [{low:.3f}, {high:.3f}] by bootstrap over {whose}{target}")


def chosen(
    rows: Sequence[Labelled], cache: Path, models: Mapping[str, Model], every: int, net: bool = True
) -> list[Labelled]:
    """Rows that are decided by what the teaching measured of them, every n-th. `net`: with the panel net's numbers."""
    found = measure_all(rows, cache, workers=1)
    values = found.values if net else without_net(found.values)
    by_id = {r.id: r for r in rows}
    kept = [by_id[i] for i, v, k in zip(found.ids, values, found.looks, strict=True)
            if answer(models[i], v, k).decided and not by_id[i].line_scan]
    return sorted(kept, key=lambda r: short_hash(r.id))[::every]


def without_net(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """(..., features) with the panel net's numbers as not measurable."""
    out = values.copy()
    out[..., [k for k, f in enumerate(measure.schema()) if f.group == panel_net.GROUP]] = np.nan
    return out


def main() -> None:
    """Print the figures."""
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--photos", type=Path, required=True)
    ap.add_argument("--renders", type=Path)
    ap.add_argument("--cache", type=Path, default=Path("build/measured"))
    ap.add_argument("--kept", type=Path, default=Path("build/robust"))
    ap.add_argument("--folds", type=Path, default=Path("build/folds"))
    ap.add_argument("--every", type=int, default=1)
    ap.add_argument("--every-rendered", type=int, default=6, dest="every_rendered")
    ap.add_argument("--minutes", type=float, default=3.0)
    args = ap.parse_args()
    known: dict[str, int] = json.loads((args.folds / "photos.json").read_text())
    folds = {k: load_model(args.folds / str(k)) for k in sorted(set(known.values()))}
    rows = labelled_panels(args.photos)
    models = {r.id: folds[known[short_hash(r.path.name)]] for r in rows if short_hash(r.path.name) in known}
    asked = chosen([r for r in rows if r.id in models], args.cache, models, args.every, net=False)
    panels, missing = measured(asked, args.kept, args.minutes)
    if missing:
        print(f"{missing} real panels still to measure: run again", file=sys.stderr)
    panels = [replace(p, values=without_net(p.values)) for p in panels]
    report("real photos, authors held out, without the panel net", panels, models)
    if args.renders is not None:
        rows = spread(rendered_panels(args.renders), 2000, SEED)
        models = dict.fromkeys((r.id for r in rows), load_model())
        panels, missing = measured(chosen(rows, args.cache, models, args.every_rendered), args.kept, args.minutes)
        if missing:
            print(f"{missing} rendered panels still to measure: run again", file=sys.stderr)
        report("rendered photos, shipped model", panels, models, "pieces")


if __name__ == "__main__":
    main()

"""Write docs/accuracy.md, docs/realism.md and the model card: figures on real panels by held-out author, on rendered ones by held-out piece, and what they rest on.

    python -m training.accuracy --write

Everything is computed from the committed tables; nothing in the document is typed in.
"""

# ruff: noqa: E501  (sentences of a document)
from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training import calibration, card, score_record
from training.card import KEY
from training.config_file import Config, load_config
from training.figures import Scored, figures, intervals
from training.fit import columns
from training.heldout import HeldOut, held_out, only, without
from training.realism import LIMIT, Realism, betraying, realism
from training.tables import CUES, Table
from training.teach import MODELS, load_tables
from vision import registry
from vision.inference.joint import FACES

CARD = "card.md"
DOCUMENT = Path(__file__).resolve().parent.parent / "docs" / "accuracy.md"
LOOK = "look_all"
BINS = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)


def configurations(config: Config) -> dict[str, Config]:
    """The full classifier, the baseline to beat, and what is left when parts are taken out."""
    measured = [e.name for e in config.experts if not e.crops]
    looks = [e.name for e in config.experts if e.crops]
    out = {"all": config, "look of three crops alone (baseline)": only(config, LOOK), "both looks, no measured feature": only(config, *looks),
           "measured features alone": only(config, *measured)}
    out |= {f"without {name}": without(config, name) for name in measured}
    out |= {f"without located {kind}": replace(config, located=tuple(k for k in config.located if k != kind))
            for kind in config.located}
    return out


def _number(value: float) -> str:
    return "-" if not np.isfinite(value) else f"{value:.3f}"


def _figure_table(s: Scored) -> Iterator[str]:
    yield "| figure | value | 95 % interval |"
    yield "|---|---|---|"
    ci = intervals(s)
    for key, value in figures(s).items():
        span = "[{:.2f}, {:.2f}]".format(*ci[key]) if key in ci else ""
        yield f"| {key} | {_number(value)} | {span} |"


def _ablation_table(table: Table, use: NDArray[np.bool_], found: dict[str, tuple[HeldOut, HeldOut | None]]) -> Iterator[str]:
    yield "| classifier | " + " | ".join(KEY) + " |"
    yield "|---" * (len(KEY) + 1) + "|"
    for name, (ours, _) in found.items():
        f = figures(ours.scored(table).rows(use))
        yield f"| {name} | " + " | ".join(_number(f[k]) for k in KEY) + " |"


def _cue_table(table: Table, use: NDArray[np.bool_], ours: HeldOut) -> Iterator[str]:
    yield "| cue in view | panels | decided | right when decided | balanced accuracy, forced | truth in set | mean set size |"
    yield "|---|---|---|---|---|---|---|"
    s = ours.scored(table)
    for k, cue in enumerate(CUES):
        rows = use & table.cues[:, k] & (table.view == 0) & (table.face >= 0)
        if rows.sum() < 10:
            continue
        f = figures(s.rows(rows))
        names = ("face: coverage (decided)", "face: right when decided", "face: balanced accuracy, forced", "face: truth in set",
                 "face: mean set size")
        yield f"| {cue}: {registry.CUES[cue]} | {int(rows.sum())} | " + " | ".join(_number(f[n]) for n in names) + " |"


def _reliability_table(table: Table, use: NDArray[np.bool_], ours: HeldOut) -> Iterator[str]:
    rows = use & (table.view == 0) & (table.face >= 0)
    w = calibration.specimen_weight(np.ones(len(table)), table.specimen, rows)
    yield "| probability of the leading face | specimens | mean probability | share right |"
    yield "|---|---|---|---|"
    top, right = ours.answers.face.max(axis=1), ours.answers.face.argmax(axis=1) == table.face
    for low, weight, said, true in calibration.reliability(top[rows], right[rows], w[rows], BINS):
        yield f"| {low:.1f} to {low + 0.1:.1f} | {weight:.0f} | {said:.3f} | {true:.3f} |"
    yield ""
    yield "| probability given to each class, all classes together | specimens x classes | mean probability | share true |"
    yield "|---|---|---|---|"
    p, hit = ours.answers.face[rows].ravel(), (np.arange(len(FACES)) == table.face[rows][:, None]).ravel()
    for low, weight, said, true in calibration.reliability(p, hit, np.repeat(w[rows], len(FACES)), BINS):
        yield f"| {low:.1f} to {low + 0.1:.1f} | {weight:.0f} | {said:.3f} | {true:.3f} |"


def _coverage_table(table: Table, use: NDArray[np.bool_], ours: HeldOut) -> Iterator[str]:
    yield "| true face | specimens | truth in set |"
    yield "|---|---|---|"
    for k, name in enumerate(FACES):
        rows = use & (table.view == 0) & (table.face == k)
        w = calibration.specimen_weight(np.ones(len(table)), table.specimen, rows)[rows]
        yield f"| {name} | {w.sum():.0f} | {_number(float(np.average(ours.face_set[rows, k], weights=w)))} |"


def _realism_text(found: Realism, config: Config) -> Iterator[str]:
    dropped = sorted({n for e in config.experts for n in e.dropped})
    yield (f"A feature at {LIMIT} or above, or measurable in the one far oftener than in the other, tells renders from photos: "
           f"{', '.join(betraying(found)) or 'none'} of {len(found.features)}. Whole groups tell well, so renders teach nothing about "
           "faces (weight 0); for cores and views they lowered the log loss on real authors held out in spite of it. "
           f"Features left out altogether: {', '.join(dropped) if dropped else 'none'}.")
    yield ""
    yield "| group | all its features together |"
    yield "|---|---|"
    yield from (f"| {g} | {v:.2f} |" for g, v in sorted(found.groups.items(), key=lambda kv: -kv[1]))
    yield ""
    yield "| feature | area | measurable in renders less in photos |"
    yield "|---|---|---|"
    for name, value in sorted(found.features.items(), key=lambda kv: -kv[1]):
        yield f"| {name} | {value:.2f} | {-found.missing[name]:+.2f} |"


def _shares(config: Config) -> str:
    return ", ".join(f"{t} {v:g}" for t, v in config.rendered.items())


def document(config: Config, real: Table, rendered: Table | None, found: dict[str, tuple[HeldOut, HeldOut | None]]) -> str:
    """The whole text, from what `held_out` found for each of `configurations`."""
    ours, theirs = found["all"]
    use = real.headline
    authors, specimens = len(np.unique(real.author)), len(np.unique(real.specimen))
    text = [
        "# What the classifier reaches", "",
        "Generated by `python -m training.accuracy --write` from the committed tables in `training/tables`. Do not edit.", "",
        f"{len(real)} real panels of {specimens} specimens by {authors} authors; the figures leave out {int((~use).sum())} panels whose "
        "label was only judged by eye or that come from an industrial line-scan camera. Split by author, "
        f"{config.outer_folds} folds: experts, weights, calibration, sets and the rule for deciding were all learnt without the "
        "authors they are judged on. Left out of that care: the projection of the backbone's looks, made from all photos without labels, "
        "and a handful of settings in `training/config/teach.json` chosen with all authors in view. Means over specimens, intervals by "
        "bootstrap over authors. Few authors show prints (see the table of sets for how many specimens): figures about print carry next to nothing.", "",
        "## Real photographs, authors held out", "", *_figure_table(ours.scored(real).rows(use)), "",
        "## The collection's own score script", "",
        "Recorded by the commands in `training/score_record.py`. The script runs the installed program on every photo; the tables above "
        "compute the same figures from stored measurements of the same outlines, so the two differ only where measuring does.", "",
        *score_record.section(),
        *score_record.printed(),
        "## What earns its place", "",
        "Same folds, same figures. The look of three crops is one linear classifier on backbone statistics. Where taking a measure "
        "out changes nothing, its weight is small and its findings weigh little: they are shown for what they are. On this collection the measured features add next to nothing to the looks; they are kept to say where on a panel evidence lies, with the weight they earned.", "",
        *_ablation_table(real, use, found), "",
        "## By what is in view", "", "Cues as noted by the collectors; faces only.", "", *_cue_table(real, use, ours), "",
        "## Are the probabilities true?", "", *_reliability_table(real, use, ours), "",
        f"Sets at level {config.level}: thresholds by class, leaning on all classes as {config.pooled:g} specimens.", "",
        *_coverage_table(real, use, ours), "",
    ]
    if rendered is None or theirs is None:
        text += ["## Rendered photographs", "", "No rendered table is stored.", ""]
    else:
        text += [
            "## Rendered photographs, pieces held out", "",
            f"{len(rendered)} rendered panels of {len(np.unique(rendered.author))} pieces, judged apart from the real ones. "
            "These figures say how the classifier carries over to renders, nothing about photos. "
            f"Total weight of renders (photos have 1) in the experts of each question: {_shares(config)}; chosen by the log loss on real panels, and for cores also so that edges the photos hardly show (particle board, fibreboard) are learnt from somewhere.", "",
            *_figure_table(theirs.scored(rendered)), "",
            "How well renders look like photos stands in docs/realism.md.", "",
        ]
    return "\n".join(text)


def realism_document(config: Config, real: Table, rendered: Table) -> str:
    """How well each measurement tells a render from a photo."""
    groups = {e.name: columns(real, e) for e in config.experts if not e.crops}
    return "\n".join([
        "# Do renders look like photos?", "", "Generated by `python -m training.accuracy --write`. Do not edit.", "",
        "Area under the ROC curve of telling a render from a photo of the same class by one number; 0.5 cannot, 1 always.", "",
        *_realism_text(realism(real, rendered, groups), config), "",
    ])


def main() -> None:
    """Print the document, or write it."""
    ap = argparse.ArgumentParser(description=__doc__)
    ap.add_argument("--write", action="store_true", help="write the documents and the model card instead of printing")
    ap.add_argument("--workers", type=int, default=2)
    args = ap.parse_args()
    config = load_config()
    real, rendered, _ = load_tables()
    found = held_out(real, rendered, configurations(config), args.workers)
    text = document(config, real, rendered, found)
    if args.write:
        DOCUMENT.write_text(text, encoding="utf-8")
        if rendered is not None:
            DOCUMENT.with_name("realism.md").write_text(realism_document(config, real, rendered), encoding="utf-8")
        (MODELS / CARD).write_text(card.document(config, real, rendered, *found["all"]), encoding="utf-8")
    else:
        sys.stdout.write(text)


if __name__ == "__main__":
    main()

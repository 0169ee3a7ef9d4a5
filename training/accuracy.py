"""Write docs/accuracy.md with its pictures, docs/measured.md, docs/realism.md and the model card: figures on real panels by held-out author, on rendered ones by held-out piece, and what they rest on.

    python -m training.accuracy --write [--photos DIR] [--renders DIR]

Everything is computed from the committed tables; nothing in the documents is typed in. With --photos or --renders, what the
tables do not hold about their panels (`training/panel_facts.py`) is looked up anew first.
"""

# ruff: noqa: E501  (sentences of a document)
from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

from training import accuracy_front as front
from training import accuracy_tables as tables
from training import accuracy_unseen, baselines, baselines_checklist, card, panel_facts, plots_accuracy, score_record
from training.accuracy_tables import Side
from training.baselines import CHECKLIST, EMBEDDING, Paired
from training.card import KEY
from training.config_file import Config, load_config
from training.fit import columns
from training.heldout import HeldOut, held_out, only, without
from training.realism import LIMIT, Realism, betraying, realism
from training.realism_scores import versions_text
from training.tables import Table
from training.teach import MODELS, load_tables

CARD = "card.md"
DOCUMENT = Path(__file__).resolve().parent.parent / "docs" / "accuracy.md"
PICTURES = "figures"
Found = dict[str, tuple[HeldOut, HeldOut | None]]


def configurations(config: Config) -> dict[str, Config]:
    """The full classifier, the first baseline, and what is left when parts are taken out."""
    measured = [e.name for e in config.experts if not e.crops]
    looks = [e.name for e in config.experts if e.crops]
    out = {"all": config, EMBEDDING: baselines.embedding_config(config)}
    if looks and measured:
        out["looks alone, no measured feature"] = only(config, *looks)
        out["measured features alone, no look"] = only(config, *measured)
    out |= {f"look of three crops alone ({e.name})": only(config, e.name) for e in config.experts if len(e.crops) > 2}
    if len(config.experts) > 1:
        out |= {f"without {e.name}": without(config, e.name) for e in config.experts}
    out |= {f"without located {kind}": replace(config, located=tuple(k for k in config.located if k != kind))
            for kind in config.located}
    return out


def sides(config: Config, real: Table, rendered: Table | None, found: Found) -> tuple[Side, Side | None]:
    """Real and rendered panels with the answers of everyone."""
    out: list[Side | None] = []
    for name, table, path, k in (("real", real, panel_facts.FACTS_REAL, 0), ("rendered", rendered, panel_facts.FACTS_RENDERED, 1)):
        ours, theirs = found["all"][k], found[EMBEDDING][k]
        if table is None or ours is None or theirs is None:
            out.append(None)
            continue
        facts = panel_facts.load_facts(table, path)
        others = {"embedding": (EMBEDDING, theirs)}
        if facts is not None:
            others["checklist"] = (CHECKLIST, baselines_checklist.held_out(real, table, facts.rules, config))
        out.append(Side(name, table, table.headline, ours, others, facts))
    assert out[0] is not None
    return out[0], out[1]


def pictures(side: Side) -> dict[str, str]:
    """File name -> SVG."""
    what = {"real": "real photographs, authors held out", "rendered": "rendered photographs, pieces held out"}[side.name]
    others = {k: (words, side.scored(of=of)) for k, (words, of) in side.baselines.items()}
    return {f"reliability_{side.name}.svg": plots_accuracy.reliability(side.scored(), what),
            f"risk_coverage_{side.name}.svg": plots_accuracy.risk(side.scored(), others, what)}


def comparisons(side: Side) -> dict[str, list[Paired]]:
    """Words of each baseline -> ours against it."""
    found = baselines.paired(side.scored(), {words: side.scored(of=of) for words, of in side.baselines.values()})
    return {words: [p for p in pairs if words != CHECKLIST or p.figure not in baselines.BESIDES_FACES] for words, pairs in found.items()}


def _section(side: Side, compared: Mapping[str, list[Paired]]) -> Iterator[str]:
    """All tables on one kind of panels."""
    kind = side.name.capitalize()
    yield from (f"### {kind}: all figures", "", *tables.figure_table(side), "")
    yield from (f"### {kind}: what is taken for what", "", "Shares of specimens; rows are the truth. A dot is less than 0.005.", "", *tables.confusions(side), "")
    yield from (f"### {kind}: are the probabilities true?", "", f"![Stated probability against the share that came true, {side.name} panels]({PICTURES}/reliability_{side.name}.svg)", "")
    yield from (f"### {kind}: answering less, erring less", "", f"![Share of wrong answers against the share answered, {side.name} panels]({PICTURES}/risk_coverage_{side.name}.svg)", "",
                "Largest share of specimens that can be answered, most certain first, so that this many answers are right:", "", *tables.coverages(side), "")
    yield from (f"### {kind}: face by face", "", *tables.by_class(side), "")
    yield from (f"### {kind}: plywood's own face and furniture veneer apart", "",
                "A real veneer counts as plywood's own face where the collectors name a plywood core and neither a laid layout nor a veneer; a rendered one where its face is rotary-cut. Areas under the ROC curve, solid wood against that kind.", "",
                *tables.veneers(side), "")
    yield from (f"### {kind}: by photo type", "", *tables.by_kind(side), "")
    yield from (f"### {kind}: by what is in view", "", *tables.by_cue(side), "")
    yield from (f"### {kind}: against two baselines", "")
    for words, found in compared.items():
        yield from (*tables.comparison(words, found), "")
    yield from (*tables.rules_table(side), "")


_HOW = """
**Real panels** are the outlined panels of a photo collection. The figures leave out {left} whose label was only judged by eye or
that come from an industrial line-scan camera. Split by author, {folds} folds: experts, weights, calibration, sets and the rule
for deciding were all learnt without the authors they are judged on. Left out of that care: the projection of the backbone's
looks, made from all photos without labels; what the panel net says of the authors that a fold's classifier learns from, which
comes from nets that had seen authors of the fold (of those judged, no net had seen anything); and a handful of settings in `training/config/teach.json` chosen with all authors
in view. Means over specimens, so that ten photos of one thing count once; intervals by bootstrap over authors unless
another is named.

**Rendered panels** are judged by pieces left out of teaching and say how the classifier carries over to renders, nothing
about photos. Total weight of renders (photos have 1) in the experts of each question: {shares}; chosen by the log loss on
real panels, and for cores also so that edges the photos hardly show (particle board, fibreboard) are learnt from somewhere.
How well renders look like photos stands in [realism.md](realism.md).

**Photo types** come from the file and the outline alone. Listing thumbnail: the photo's long side is at most {small} px, or the
panel is smaller than {panel} px square. Close-up: otherwise, and the outline takes at least {close:.0%} of the photo. Whole piece: the
rest. Real files were stored at 1,600 to 2,200 px at most, so a photo is no larger than that here. Several faces: the photo
holds outlines of at least two.

**Cues** are those the collectors noted (real) or the truth holds (rendered), faces only; groups under {least} panels are left out.

**Two baselines** answer the same panels on the same folds under the same prior. *{embedding}*: efficientnet-lite0 on the panel's
crop, mean and spread of its channels in 64 directions made without labels, ridge penalty the best of {tried} with all authors
in view (which favours it), temperature, sets and rule learnt on inner folds. Its 1280 pooled numbers do worse
(`python -m training.baselines --photos DIR`). *{checklist}*: five rules of common practice with fixed odds and no
source, answered only from what the collectors' columns or the truth say is in view in that photo; it decides at {decide:.2f}. That
is generous: the truth of a render tells a line at an edge that an eye might miss. It is not asked about cores and views. "Better" or "worse" is said only where both paired intervals exclude zero and the rarer side of the figure has {claim} specimens
or more.
"""


_UNTAUGHT = ("Faces are taught on photographs alone: teaching them on renders too raised the log loss on real authors left out. So renders are strangers to the face experts.", "")


def _how(config: Config, real: Side) -> str:
    return _HOW.format(
        left=f"{int((~real.use).sum())} panels", folds=config.outer_folds, shares=", ".join(f"{t} {v:g}" for t, v in config.rendered.items()),
        small=panel_facts.SMALL_PHOTO_PX, panel=panel_facts.SMALL_PANEL_PX, close=panel_facts.CLOSE_SHARE, least=tables.LEAST_PANELS, claim=baselines.LEAST_CLAIM,
        embedding=EMBEDDING[0].upper() + EMBEDDING[1:], checklist=CHECKLIST[0].upper() + CHECKLIST[1:], decide=config.right_when_decided,
        tried=len(baselines.PENALTIES)).strip()


def _link(title: str, page: str = "") -> str:
    return f"{page}#" + re.sub(r"[^a-z0-9 -]", "", title.lower()).replace(" ", "-")


def measured_sections() -> list[str]:
    """Titles of docs/measured.md."""
    return [line[3:] for line in score_record.printed() if line.startswith("## ")]


def measured_document() -> str:
    """What the measuring commands printed, each below its command."""
    return "\n".join([
        "# What the measuring commands printed", "",
        "Each output as it came, below the command that made it; kept by `training/score_record.py`, written by `python -m training.accuracy --write`. Do not edit. `DIR` and `FILE` stand for folders and files of your own. What the classifier reaches stands in [accuracy.md](accuracy.md).", "",
        *(f"- [{title}]({_link(title)})" for title in measured_sections()), "", *score_record.printed()])


def document(config: Config, real: Side, made: Side | None, found: Found) -> str:
    """The text of docs/accuracy.md."""
    t = real.table
    compared = comparisons(real)
    text = [
        "# What the classifier reaches", "",
        "Generated by `python -m training.accuracy --write` from the committed tables in `training/tables`. Do not edit.", "",
        f"{len(t)} real panels of {real.specimens(t.face > -2)} specimens by {len(tables.np.unique(t.author))} authors, judged by author held out"
        + ("" if made is None else f"; {len(made.table)} rendered panels of {len(tables.np.unique(made.table.author))} pieces, judged by piece held out and always apart")
        + ". Square brackets hold 95 % intervals.", "",
        "## On real photographs, in ten lines", "", *(f"{k}. {line}" for k, line in enumerate(front.reached(real, compared), 1)), "",
        "## What it does not reach", "", *(f"- {line}" for line in front.not_reached(real)), "",
    ]
    unseen = list(accuracy_unseen.section(score_record.printed()))
    if made is not None or unseen:
        text += ["## Targets", "", *unseen]
    if made is not None:
        apart = [] if not unseen else ["The same kind of targets on the rendered panels of the tables, pieces held out, beside real photographs:", ""]
        text += [*apart, *front.target_table(front.targets(made, real)), "",
                 *(_UNTAUGHT if config.rendered["face"] == 0 else ())]
    rest = ["How the figures were made", "Real photographs", "What earns its place", "The collection's own score script", "Rendered photographs"]
    text += ["## Further down", "", *(f"- [{title}]({_link(title)})" for title in rest),
             "- Worst mistakes, with pictures: [failures.md](failures.md)", "- What the measuring commands printed, on [measured.md](measured.md): "
             + ", ".join(f"[{title}]({_link(title, 'measured.md')})" for title in measured_sections()), "",
             f"## {rest[0]}", "", _how(config, real), "",
             f"## {rest[1]}", "", *_section(real, compared),
             f"## {rest[2]}", "",
             "Same folds, real panels. A change above zero: the classifier is worse without. Where taking a measure out changes nothing, its weight is small and its findings weigh little: they are shown for what they are, to say where on a panel evidence lies.", "",
             *tables.ablation(real, {name: ours for name, (ours, _) in found.items()}, KEY), "",
             f"## {rest[3]}", "",
             "Recorded by the commands in `training/score_record.py`. The script runs the installed program on every photo; the tables above compute the same figures from stored measurements of the same outlines, so the two differ only where measuring does, and where the model was taught anew since.", "",
             *score_record.section(), f"## {rest[4]}", ""]
    text += ["No rendered table is stored.", ""] if made is None else [*_section(made, comparisons(made))]
    return "\n".join(text)


def _realism_text(found: Realism, config: Config) -> Iterator[str]:
    dropped = sorted({n for e in config.experts for n in e.dropped})
    taught = [t for t, v in config.rendered.items() if v > 0]
    yield (f"A feature at {LIMIT} or above, or measurable in the one far oftener than in the other, tells renders from photos: "
           f"{', '.join(betraying(found)) or 'none'} of {len(found.features)}. Whole groups tell well, so renders help only where they "
           f"lowered the log loss on real authors held out in spite of it: {', '.join(taught) or 'nowhere'}. "
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


def realism_document(config: Config, real: Table, rendered: Table) -> str:
    """How well each measurement tells a render from a photo."""
    groups = {e.name: columns(real, e) for e in config.experts if not e.crops}
    return "\n".join([
        "# Do renders look like photos?", "", "Generated by `python -m training.accuracy --write`. Do not edit.", "",
        "Area under the ROC curve of telling a render from a photo of the same class by one number; 0.5 cannot, 1 always.", "",
        *_realism_text(realism(real, rendered, groups), config), "",
        "## From version to version", "",
        "`python -m training.realism_scores --photos DIR --renders DIR --record`: a classifier, judged on authors and pieces it was",
        "not taught on, tells face panels of renders from those of photos; 0.5 cannot tell. The shipped tables hold version 5; the",
        "panel net was taught on version 6; the row of version 7 rests on 110 photos rendered at less than full quality.", "",
        versions_text(), "",
    ])


def main() -> None:
    """Print the document, or write all of them."""
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--write", action="store_true", help="write the documents, pictures and the model card instead of printing")
    ap.add_argument("--workers", type=int, default=2)
    ap.add_argument("--photos", type=Path, help="photo collection: look up the facts of real panels anew")
    ap.add_argument("--renders", type=Path, help="renders: look up the facts of rendered panels anew")
    args = ap.parse_args()
    for line in panel_facts.make(args.photos, args.renders):
        print(line, file=sys.stderr)
    config = load_config()
    real, rendered, _ = load_tables()
    found = held_out(real, rendered, configurations(config), args.workers)
    ours, made = sides(config, real, rendered, found)
    text = document(config, ours, made, found)
    if not args.write:
        sys.stdout.write(text)
        return
    DOCUMENT.write_text(text, encoding="utf-8")
    DOCUMENT.with_name("measured.md").write_text(measured_document(), encoding="utf-8")
    (DOCUMENT.parent / PICTURES).mkdir(exist_ok=True)
    for side in (ours, made):
        for name, svg in ({} if side is None else pictures(side)).items():
            (DOCUMENT.parent / PICTURES / name).write_text(svg, encoding="utf-8")
    if rendered is not None:
        DOCUMENT.with_name("realism.md").write_text(realism_document(config, real, rendered), encoding="utf-8")
    (MODELS / CARD).write_text(card.document(config, real, rendered, *found["all"]), encoding="utf-8")


if __name__ == "__main__":
    main()

"""Many photos of one piece: which panels are put together, and whether the fused probabilities are true.

    python -m training.fuse_scores --renders DIR [--photos DIR] [--figure 100] [--cache build/fusion]

Joining is judged on rendered pieces whose every panel is known, with outlines and views given and verdicts that say nothing.
Fusing is judged on evidence of the committed tables by classifiers that never saw the author (or rendered piece), and on
simulated evidence whose dependence is known. Intervals: 95 % bootstrap over pieces or authors.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training import fuse_dependence as dep
from training import fuse_joins as joins
from training import tables
from training.config_file import load_config
from training.fuse_dependence import COPIES, NAIVE, Group
from training.next_gain_evidence import CACHE, stored_evidence
from training.rendered import rendered_panels
from training.tables import Table, short_hash
from vision.parts.fuse import DEPENDENCE

KINDS = {"panels": "faces of one photo", "photos": "one face on several photos", "kinds": "a face and an edge or end"}
#: Stated probabilities are compared with what came true in these bins.
BINS = (0.0, 0.5, 0.7, 0.9, 1.0)


def parts_of_rows(renders: Path, table: Table) -> NDArray[np.str_]:
    """(n,) 'piece/part' of each row of the rendered table, '' where the row cannot be placed.

    The table keeps no panel ids; its rows are the drawn ones in order, so a photo all of whose drawn panels could be measured
    tells which row is which.
    """
    drawn = tables.spread(rendered_panels(renders), (config := load_config()).rendered_rows, config.seed)
    by_photo: dict[str, list[str]] = {}
    truth: dict[str, str] = {}
    for row in drawn:
        by_photo.setdefault(short_hash(row.path.name), []).append(row.id)
    for path in sorted({r.path.with_suffix(".json") for r in drawn}):
        text = json.loads(path.read_text(encoding="utf-8"))
        truth |= {f"{path.stem}.{p['id']}": f"{text['piece']}/{p['part']}" for p in text["panels"]}
    out = np.full(len(table), "", dtype="U64")
    for photo, ids in by_photo.items():
        at = np.flatnonzero(table.photo == photo)
        if len(at) == len(ids):
            out[at] = [truth.get(i, "") for i in ids]
    return out


def joining(folder: Path, cache: Path, figure: int) -> Iterator[str]:
    """Lines about which panels are put together. `figure`: pieces whose photos are also searched for one figure."""
    found = joins.pieces_in(folder)
    names = list(found)
    searched = set(names[:: max(1, len(names) // max(1, figure))][:figure])
    every = [joins.load_piece(paths, cache if n in searched else None) for n, paths in found.items()]
    some = [p for p in every if p.name in searched]
    yield f"Joining: {len(every)} rendered pieces of several photos; true outlines, verdicts silent (layout and colour alone)"
    for name, (n, share, low, high) in joins.shares([joins.counts(p, figure=False) for p in every]).items():
        if not name.startswith(joins.SAME + ",") or name.endswith(", top"):
            yield f"  {name:58s} n {n:5d}  {share:.3f} [{low:.3f}, {high:.3f}]"
    if some:
        bare, told = ([joins.counts(p, figure=f) for p in some] for f in (False, True))
        a, b = joins.shares(bare), joins.shares(told)
        again = [(p, x, y) for p in some for x, y in p.again]
        right = sum(p.truth[x]["part"] == p.truth[y]["part"] for p, x, y in again)
        unlike = sum(p.make(x) != p.make(y) for p, x, y in again)
        top = f"{joins.SAME}, top"
        told_too = ", ".join(f"{n} {a[k][1]:.3f} -> {b[k][1]:.3f}" for n, k in
                             (("fused", joins.SAME), ("tops", top), ("two makes in a part", joins.MIXED)) if k in a and k in b)
        yield (f"  figure seen again on another photo ({len(some)} pieces searched): {len(again)} pairs, {right} of one part, "
               f"{unlike} of unlike make; told to the joining: {told_too}")


def fusing(title: str, groups: Sequence[Group], own: str) -> Iterator[str]:
    """Lines about the worth of fusing groups of one kind."""
    if len(groups) < 5:
        yield f"{title}: {len(groups)} groups, too few"
        return
    owners = [g.owner for g in groups]
    yield f"{title}: {len(groups)} groups of {len(set(owners))} {own}"
    for target, loss in (("face", dep.face_loss), ("core", dep.core_loss)):
        used = [g for g in groups if target == "face" or g.core is not None]
        if target == "core" and not any(s.narrow for g in used for s in g.sightings):
            continue
        names = [g.owner for g in used]
        singles = np.array([dep.single_losses(g, target) for g in used])
        fused, naive = (np.array([loss(g, d) for g in used]) for d in (DEPENDENCE, NAIVE))
        others = {"one sighting": singles[:, 0], "the surest": singles[:, 1], "as if independent": naive}
        yield f"  {target} log loss: fused {fused.mean():.3f}, " + ", ".join(f"{n} {v.mean():.3f}" for n, v in others.items())
        apart = {n: dep.spread(fused - v, names) for n, v in others.items()}
        yield "    fused less " + ", ".join(f"{n} {m:+.2f} [{low:+.2f}, {high:+.2f}]" for n, (m, low, high) in apart.items())
    yield reliability(groups)


def reliability(groups: Sequence[Group]) -> str:
    """Stated against true: one sighting, fused, and as if independent."""
    owners = [g.owner for g in groups]
    first = [replace(g, sightings=g.sightings[:1]) for g in groups]
    texts, bins = [], ""
    rows = (("one sighting", first, DEPENDENCE), ("fused", groups, DEPENDENCE), ("as if independent", groups, NAIVE))
    for name, these, d in rows:
        p, right = dep.stated_and_true(these, d)
        mean, low, high = dep.spread(right - p, owners)
        texts.append(f"{name} {mean:+.2f} [{low:+.2f}, {high:+.2f}]")
        if name == "fused":
            at = np.clip(np.searchsorted(BINS, p, side="right") - 1, 0, len(BINS) - 2)
            bins = ", ".join(f"{p[at == k].mean():.2f}/{right[at == k].mean():.2f} ({int((at == k).sum())})"
                             for k in range(len(BINS) - 1) if (at == k).any())
    return f"  leading face, right less stated: {', '.join(texts)}; fused stated/true (n) {bins}"


def dependence(title: str, groups: Sequence[Group], kind: str) -> str:
    """A line about the dependence that fits best."""
    r, low, high, table = dep.best_dependence(groups, kind, 500)
    losses, used = table.mean(axis=0), float(getattr(DEPENDENCE, kind))
    others = dep.cross_fitted(table, [g.owner for g in groups])
    text = (f"  {title}: least log loss at r = {r:.1f} [{low:.1f}, {high:.1f}]; used {used:.1f}, log loss "
            f"{losses[dep.STEPS.index(used)]:.3f}, with r chosen by other authors {others:.3f}")
    if kind != "kinds":
        like, pairs = dep.likeness(groups)
        text += f"; face evidence alike beyond the truth {like:.2f} ({pairs} pairs)"
    return text


def simulation() -> Iterator[str]:
    """Known dependence: what the search finds, and whether fused probabilities are true with it."""
    yield "Simulated evidence of known dependence, 600 pieces of 3 photos:"
    for true in (0.2, 0.5, 0.8):
        groups = dep.simulated(600, 3, true, 1.2, seed=int(10 * true))
        r, low, high, _ = dep.best_dependence(groups, "photos", 200)
        known = dep.with_step("photos", true)
        p, right = dep.stated_and_true(groups, known)
        q, right_naive = dep.stated_and_true(groups, NAIVE)
        loss, copies, naive = (float(np.mean([dep.face_loss(g, d) for g in groups])) for d in (known, COPIES, NAIVE))
        yield (f"  r {true:.1f}: found {r:.1f} [{low:.1f}, {high:.1f}]; stated {p.mean():.3f} true {right.mean():.3f}, as "
               f"independent {q.mean():.3f} {right_naive.mean():.3f}; log loss {loss:.3f}, copies {copies:.3f}, independent "
               f"{naive:.3f}")


def real_joins(folder: Path, cache: Path) -> Iterator[str]:
    """Counts on specimens of several real photos: outlines, views and colours given, verdicts silent."""
    found = [joins.load_specimen(rows, cache) for rows in joins.specimens_in(folder)]
    total: Counter[str] = Counter()
    for piece in found:
        for figure, name in ((False, "layout alone"), (True, "with figure seen again")):
            hits, trials = joins.counts(piece, figure=figure)[joins.SAME]
            total[name] += hits
            total["pairs"] += trials if figure else 0
        total["figure pairs"] += len(piece.again)
        total["unlike figure pairs"] += sum(piece.make(a) != piece.make(b) for a, b in piece.again)
    yield (f"Real specimens of several photos: {len(found)}; pairs of faces on two photos {total['pairs']}, fused by layout "
           f"alone {total['layout alone']}, with figure {total['with figure seen again']}; figure seen again "
           f"{total['figure pairs']} pairs, {total['unlike figure pairs']} of unlike make")


def main() -> None:
    """Command line."""
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--renders", type=Path, required=True)
    ap.add_argument("--photos", type=Path, help="folder of real photos with panels.csv: counts of what is joined there")
    ap.add_argument("--figure", type=int, default=100, help="rendered pieces whose photos are searched for one figure")
    ap.add_argument("--cache", type=Path, default=CACHE)
    args = ap.parse_args()
    lines: list[str] = [*joining(args.renders, args.cache, args.figure)]
    if args.photos is not None:
        lines += real_joins(args.photos, args.cache)
    real, ours, rendered, theirs = stored_evidence(args.cache)
    mine = dep.groups_of(real, ours)
    drawn = dep.groups_of(rendered, theirs, parts_of_rows(args.renders, rendered))
    lines.append("How far sightings repeat each other, real specimens, authors held out:")
    for kind, title in KINDS.items():
        lines.append(dependence(title, dep.of_kind(mine, kind), kind))
    for kind, title in KINDS.items():
        lines += fusing(f"Real, {title}", dep.of_kind(mine, kind), "authors")
    for kind in ("photos", "kinds"):
        lines += fusing(f"Rendered, {KINDS[kind]}", dep.of_kind(drawn, kind), "pieces")
    lines += simulation()
    print("\n".join(lines))


if __name__ == "__main__":
    main()

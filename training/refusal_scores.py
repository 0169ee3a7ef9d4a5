"""Whether the classifier knows what it was not taught: panels of furniture against pictures that show none.

    python -m training.refusal_scores --photos DIR --textures DIR [DIR ...] [--cache build/measured] [--kept build/refusal]

Furniture: outlined real panels whose face is no background, judged by a score learnt without their author, the projection
of the looks included. No furniture: see `training.refusal_sources`, three outlines a picture, which nothing was taught on;
what they are judged by saw all authors. Decided verdicts on them are those of the shipped model. Scores are chosen on one
half of the pictures and judged on the other. Intervals: bootstrap over pictures and, for furniture, over authors.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training import refusal_sources as sources
from training.binomial import exact_interval
from training.config_file import load_config
from training.experts import Array
from training.figures import auc
from training.measuring import Measured, measure_all
from training.real_photos import Labelled, labelled_panels
from training.refusal_candidates import CANDIDATES, PLAIN, SHIPPED, Candidate
from training.robust_scores import Answer, answer_of
from training.stacking import author_folds
from training.tables import Projection, short_hash
from training.teach import load_tables
from vision import looks as looks_room
from vision.inference import Model, load_model
from vision.inference.joint import FACES

Bools = NDArray[np.bool_]
ROUNDS = 300
#: Share of furniture that a limit may refuse.
LOST = 0.015
WOOD_OR_PRINT = ("solid_wood", "veneer", "printed")


@dataclass(frozen=True, eq=False)
class Panels:
    """Measured panels: rows, values (n, features), looks (n, crops, length), `face` (n,) class or -1, `group` (n,): what is
    drawn whole in a bootstrap (an author, a picture)."""

    rows: list[Labelled]
    values: NDArray[np.float32]
    looks: NDArray[np.float32]
    face: NDArray[np.int8]
    group: NDArray[np.str_]


def panels(rows: Sequence[Labelled], found: Measured, group: Callable[[Labelled], str]) -> Panels:
    """The measured ones among rows."""
    by_id = {r.id: r for r in rows}
    kept = [by_id[i] for i in found.ids]
    face = np.array([FACES.index(r.face) if r.face in FACES else -1 for r in kept], dtype=np.int8)
    return Panels(kept, found.values, found.looks, face, np.array([group(r) for r in kept]))


def unseen_scores(candidates: Sequence[Candidate], real: Panels, other: Panels) -> dict[str, tuple[Array, Array, int]]:
    """Candidate -> scores of real panels by what never saw their author, mean score of the others over the folds, size."""
    config = load_config()
    folds = list(author_folds(real.group, real.face, config.outer_folds, config.seed + 1))
    ours = {c.name: np.zeros(len(real.rows)) for c in candidates}
    theirs: dict[str, list[Array]] = {c.name: [] for c in candidates}
    sizes: dict[str, int] = {}
    for fold in folds:
        projection = Projection.fit(real.looks[~fold], config.look_dims)
        seen, unseen, foreign = (projection(x).astype(np.float64) for x in (real.looks[~fold], real.looks[fold], other.looks))
        for c in candidates:
            score, sizes[c.name] = c.fit(seen, real.face[~fold])
            ours[c.name][fold] = score(unseen)
            theirs[c.name].append(score(foreign))
    return {c.name: (ours[c.name], np.mean(theirs[c.name], axis=0), sizes[c.name]) for c in candidates}


def unseen_ratio(candidate: Candidate, real: Panels) -> float:
    """How many times as far panels lie on average whose looks had no part in the projection as those that helped make it."""
    config = load_config()
    folds = list(author_folds(real.group, real.face, config.outer_folds, config.seed + 1))
    z = Projection.fit(real.looks, config.look_dims)(real.looks).astype(np.float64)
    helped = np.zeros(len(z))
    for fold in folds:
        helped[fold] = candidate.fit(z[~fold], real.face[~fold])[0](z[fold])
    return float(unseen_scores([candidate], real, real)[candidate.name][0].mean() / helped.mean())


def draws(group: NDArray[np.str_], seed: int) -> Array:
    """(ROUNDS + 1, n) times that each row is drawn when groups are resampled; the first row is all ones."""
    names, at = np.unique(group, return_inverse=True)
    rng = np.random.default_rng(seed)
    out = [np.ones(len(group))]
    out += [np.bincount(rng.integers(0, len(names), len(names)), minlength=len(names))[at].astype(float) for _ in range(ROUNDS)]
    return np.array(out)


def areas(ours: Array, theirs: Array, times_ours: Array, times_theirs: Array) -> Array:
    """(ROUNDS + 1,) area under the ROC curve of telling the others from furniture."""
    score = np.concatenate([theirs, ours])
    positive = np.arange(len(score)) < len(theirs)
    return np.array([auc(score, positive, np.concatenate([b, a])) for a, b in zip(times_ours, times_theirs, strict=True)])


def told(values: Array, signed: bool = False) -> str:
    """A figure with its 95 % interval from its bootstrap."""
    low, high = np.quantile(values[1:], [0.025, 0.975])
    return f"{values[0]:+.3f} [{low:+.3f}, {high:+.3f}]" if signed else f"{values[0]:.3f} [{low:.3f}, {high:.3f}]"


def share(hits: Bools) -> str:
    """A share with its exact interval."""
    low, high = exact_interval(int(hits.sum()), len(hits))
    return f"{hits.mean():.3f} [{low:.3f}, {high:.3f}]"


def verdicts(model: Model, other: Panels) -> tuple[list[Answer], Array]:
    """What the model answers to each panel, and how unlike it finds them."""
    answers, unlike = [], []
    for values, looks in zip(other.values, other.looks, strict=True):
        named = {f.name: float(v) for f, v in zip(model.schema, values, strict=True)}
        judgement = model.judge(named, dict(zip(looks_room.LOOKS, looks, strict=True)))
        answers.append(answer_of(model, judgement))
        unlike.append(judgement.unlikeness)
    return answers, np.array(unlike)


def ends_in(answers: Sequence[Answer]) -> dict[str, Bools]:
    """How many panels end in which kind of decided verdict."""
    def of(test: Callable[[Answer], bool]) -> Bools:
        return np.array([a.decided and test(a) for a in answers])

    return {
        "no wood": of(lambda a: a.question == "face" and a.name == "not_wood"),
        "wood or print": of(lambda a: a.question == "core" or a.name in WOOD_OR_PRINT),
        "paint or board": of(lambda a: a.question == "face" and a.name in ("opaque", "bare_board")),
    }


def shipped_lines(model: Model, real: Panels, furniture: Bools, other: Panels, scores: tuple[Array, Array, int]) -> list[str]:
    """How the shipped score and the shipped model do, by kind of picture and by outline."""
    ours, theirs, _ = scores
    answers, unlike = verdicts(model, other)
    ends, refused = ends_in(answers), unlike > model.tables["rule"]["unlike"]
    kind, crop = np.array([r.author for r in other.rows]), np.array([r.id.rsplit(".", 1)[1] for r in other.rows])
    control = kind == sources.CONTROL
    quantiles = model.tables["distance"]["quantiles"]
    limit = float(np.interp(model.tables["rule"]["unlike"], np.linspace(0, 1, len(quantiles)), quantiles))
    limit *= load_config().distance_unseen  # the model divides by it
    out = [f"shipped limit: furniture refused, author unseen {share(ours[furniture] > limit)}",
           f"  {'no furniture':30s} {'panels':>6s}  AUC    refused  decided: no wood  wood or print  paint or board"]
    parts = [(k, kind == k) for k in sorted(set(kind) - {sources.CONTROL})]
    parts += [(f"outline: {c}", ~control & (crop == c)) for c in sources.CROPS]
    for name, use in [*parts, ("all of them", ~control), ("control: wood textures", control)]:
        if use.any():
            area = areas(ours[furniture], theirs[use], np.ones((1, int(furniture.sum()))), np.ones((1, int(use.sum()))))[0]
            out.append(f"  {name:30s} {int(use.sum()):6d}  {area:.3f}  {refused[use].mean():.3f}    "
                       f"{ends['no wood'][use].mean():.3f}           {ends['wood or print'][use].mean():.3f}          "
                       f"{ends['paint or board'][use].mean():.3f}")
    times = draws(other.group[~control], 1)
    rate = (times @ ends["wood or print"][~control]) / times.sum(axis=1)
    refusals = (times @ refused[~control]) / times.sum(axis=1)
    out.append(f"  all of them: refused {told(refusals)}, decided as wood or print {told(rate)}")
    return out


def candidate_lines(real: Panels, furniture: Bools, other: Panels, scores: dict[str, tuple[Array, Array, int]]) -> list[str]:
    """Every score on both halves of the pictures, and the one chosen on the first against the plainest on the second."""
    kind = np.array([r.author for r in other.rows])
    control = kind == sources.CONTROL
    first = np.array([int(hashlib.sha256(g.encode()).hexdigest()[:8], 16) % 2 == 0 for g in other.group]) & ~control
    second = ~first & ~control
    ones = np.ones((1, int(furniture.sum())))
    found = {}
    out = [f"scores, chosen on {len(set(other.group[first]))} pictures, judged on {len(set(other.group[second]))}; "
           f"refused: with {LOST:.1%} of furniture refused",
           f"  {'score':58s} {'kB':>4s}  AUC chosen on  judged on  refused  background  wood textures"]
    background = (real.face == FACES.index("not_wood")) & np.array([r.headline for r in real.rows])
    for name, (ours, theirs, size) in scores.items():
        chosen_on, judged_on = (float(areas(ours[furniture], theirs[use], ones, np.ones((1, int(use.sum()))))[0])
                                for use in (first, second))
        limit = np.quantile(ours[furniture], 1 - LOST)
        found[name] = chosen_on
        out.append(f"  {name:58s} {size / 1000:4.0f}  {chosen_on:.3f}          {judged_on:.3f}      "
                   f"{(theirs[second] > limit).mean():.3f}    {(ours[background] > limit).mean():.3f}       "
                   f"{(theirs[control] > limit).mean() if control.any() else float('nan'):.3f}")
    best = max(found, key=found.__getitem__)
    mine, foreign = draws(real.group[furniture], 2), draws(other.group[second], 3)
    new, old = (areas(scores[n][0][furniture], scores[n][1][second], mine, foreign) for n in (best, PLAIN.name))
    ratio = unseen_ratio(next(c for c in CANDIDATES if c.name == best), real)
    out += [f"chosen: {best}; panels that had no part in the projection of looks lie {ratio:.2f} times as far",
            f"  AUC {told(new)}, {PLAIN.name} {told(old)}, difference {told(new - old, signed=True)}"]
    return out


def background_line(model_folds: dict[str, Model], real: Panels) -> str:
    """Backgrounds on real photos, judged by models that never saw their author."""
    rows = [i for i, r in enumerate(real.rows) if r.face == "not_wood" and r.headline and short_hash(r.path.name) in model_folds]
    answers, unlike = [], []
    for i in rows:
        model = model_folds[short_hash(real.rows[i].path.name)]
        one = Panels([real.rows[i]], real.values[i : i + 1], real.looks[i : i + 1], real.face[i : i + 1], real.group[i : i + 1])
        (answer,), (far,) = verdicts(model, one)
        answers.append(answer)
        unlike.append(far > model.tables["rule"]["unlike"])
    ends = ends_in(answers)
    return (f"backgrounds outlined on real photos ({len(rows)}, a class that is taught; authors held out): refused "
            f"{np.mean(unlike):.3f}, decided no wood {share(ends['no wood'])}, wood or print {share(ends['wood or print'])}")


def main() -> None:
    """Print the figures."""
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--photos", type=Path, required=True)
    ap.add_argument("--textures", type=Path, nargs="+", default=[Path("build/textures")])
    ap.add_argument("--cache", type=Path, default=Path("build/measured"))
    ap.add_argument("--kept", type=Path, default=Path("build/refusal"))
    ap.add_argument("--folds", type=Path, default=Path("build/folds"))
    args = ap.parse_args()
    load_tables()  # the tables, the program and the measurements must be of one schema
    every = chain(sources.library_photos(), sources.textures(args.textures), sources.made(), sources.wood_textures(args.textures))
    rows = sources.rows(every, args.kept / "pictures")
    other = panels(rows, measure_all(rows, args.kept / "measured", workers=1), lambda r: r.specimen)
    taught = labelled_panels(args.photos)
    real = panels(taught, measure_all(taught, args.cache, workers=1), lambda r: r.author)
    furniture = np.array([r.headline and r.face not in (None, "not_wood") for r in real.rows])
    scores = unseen_scores(CANDIDATES, real, other)
    control = np.array([r.author == sources.CONTROL for r in other.rows])
    print(f"{int(furniture.sum())} panels of furniture by {len(set(real.group[furniture]))} authors; "
          f"{int((~control).sum())} panels of {len(set(other.group[~control]))} pictures without furniture")
    print("\n".join(shipped_lines(load_model(), real, furniture, other, scores[SHIPPED.name])))
    index = args.folds / "photos.json"
    if index.exists():
        known: dict[str, int] = json.loads(index.read_text(encoding="utf-8"))
        folds = {k: load_model(args.folds / str(k)) for k in sorted(set(known.values()))}
        print(background_line({photo: folds[k] for photo, k in known.items()}, real))
    print("\n".join(candidate_lines(real, furniture, other, scores)))


if __name__ == "__main__":
    main()

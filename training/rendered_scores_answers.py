"""What a model says of all rows of a rendered test at once, as `vision.inference.Model.judge` and `verdict` say it of one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training.conformal import in_sets
from training.rendered_test_rows import RenderedRows
from vision.inference import Model, evidence, joint, located
from vision.inference.decide import NARROW
from vision.inference.model import TARGETS

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
#: Name of the prior that takes the mix of the test itself as known.
MIX = "mix"


@dataclass(frozen=True, eq=False)
class Said:
    """Answers for n panels under one prior: distributions `face` (n, 6), `core` (n, 4), `view` (n, 4); `visible`
    (n,) chance that the core shows; sets as bools; `decided` (n,); `unlike` (n,) 0..1; `missing`: numbers that the model reads
    and the rows do not hold, taken as not measurable."""

    face: Array
    core: Array
    view: Array
    visible: Array
    face_set: Bools
    core_set: Bools
    decided: Bools
    unlike: Array
    missing: tuple[str, ...]


def aligned(rows: RenderedRows, names: list[str]) -> tuple[NDArray[np.float32], tuple[str, ...]]:
    """(n, features) values in a model's order, nan where the rows lack a number, and the names lacking."""
    at = {str(name): k for k, name in enumerate(rows.names)}
    out = np.full((len(rows), len(names)), np.nan, dtype=np.float32)
    for k, name in enumerate(names):
        if name in at:
            out[:, k] = rows.values[:, at[name]]
    out[~np.isfinite(out)] = np.nan
    return out, tuple(n for n in names if n not in at)


def raw_looks(rows: RenderedRows) -> NDArray[np.float32]:
    """(n, crops, length) looks as the model reads them; projected ones are unfolded to looks that project to the same."""
    looks = rows.looks.astype(np.float32)
    if not rows.projected:
        return looks
    from training.tables import PROJECTION, Projection

    p = Projection.load(PROJECTION)
    back = np.stack([np.linalg.pinv(b.astype(np.float64)) for b in p.basis])
    return np.asarray(np.einsum("ncd,cdl->ncl", looks.astype(np.float64), back) * p.scale + p.mean, dtype=np.float32)


def answers(rows: RenderedRows, model: Model, prior: str = "reference", batch: int = 2000) -> Said:
    """Judge every row under one of the model's priors, or MIX: the shares of the faces among these very rows. Sets are drawn from
    the reference prior, whatever prior is shown.

    Raises
    ------
    ValueError
        if the model reads something that the rows do not hold at all.
    """
    t = model.tables
    values, missing = aligned(rows, [f.name for f in model.schema])
    looks = dict(zip(t["looks"]["names"], raw_looks(rows).swapaxes(0, 1), strict=True))
    feed = {"values": values, **{f"look_{n}": v for n, v in looks.items()}, **rows.more}
    wanted = [i.name for i in model.session.get_inputs()]
    if lacking := [n for n in wanted if n not in feed]:
        raise ValueError(f"the model also reads {', '.join(lacking)}, which the rows do not hold")
    outputs = [*TARGETS, "distance"]
    parts = [model.session.run(outputs, {n: np.ascontiguousarray(feed[n][k : k + batch]) for n in wanted})
             for k in range(0, len(rows), batch)]
    found = {name: np.concatenate([p[i] for p in parts]).astype(np.float64) for i, name in enumerate(outputs)}
    keep = evidence.trust(found["distance"], t["distance"]["limit"])[:, None]
    terms = {k: keep * evidence.terms(found[k], np.asarray(t["targets"][k]["weights"], dtype=np.float64)).sum(axis=1)
             for k in TARGETS}
    for term in located.face_terms({f.name: values[:, i].astype(np.float64) for i, f in enumerate(model.schema)}).values():
        terms["face"] = terms["face"] + term
    known = t["priors"]["reference" if prior == MIX else prior]
    log_prior = {k: np.log(np.array([known[k][c] for c in TARGETS[k]])) for k in ("face", "view", "core_visible")}
    reference = np.log(np.array([t["priors"]["reference"]["face"][c] for c in TARGETS["face"]]))
    if prior == MIX:
        counts = np.array([((rows.face == c) & (rows.view == "face")).sum() for c in TARGETS["face"]])
        log_prior["face"] = np.log((counts + 1) / (counts + 1).sum())
    view, visible = (joint.normalise(log_prior[k] + terms[k]) for k in ("view", "core_visible"))
    table = joint.log_table(np.asarray(t["core_table"]))
    weights = joint.joint_log(log_prior["face"], table, terms["face"], terms["core"] * joint.shown(visible[:, :1]))
    face, core = joint.margins(weights)
    sure = joint.margins(weights + (reference - log_prior["face"])[:, None])
    quantiles = t["distance"]["quantiles"]
    unlike = np.interp(found["distance"], quantiles, np.linspace(0, 1, len(quantiles)))
    face_set, core_set = (in_sets(p, [t["sets"][k][c] for c in TARGETS[k]]) for k, p in zip(("face", "core"), sure, strict=True))
    short = [i for i, f in enumerate(model.schema) if f.name == "shape_log_short_px"]
    px = np.exp2(values[:, short[0]].astype(np.float64)) if short else np.full(len(rows), np.inf)
    narrow = np.isin(view.argmax(axis=1), [i for i, v in enumerate(TARGETS["view"]) if v in NARROW]) & (visible[:, 0] >= 0.5)
    rule = t["rule"]
    by_face = (face_set.sum(axis=1) == 1) & (face.max(axis=1) >= rule["face"])
    by_core = (core_set.sum(axis=1) == 1) & (core.max(axis=1) >= rule["core"])
    decided = np.where(narrow, by_core, by_face) & ~(px < rule["short_px"]) & (unlike <= rule["unlike"])
    return Said(face, core, view, visible[:, 0], face_set, core_set, decided, unlike, missing)


def said_by_net(rows: RenderedRows, answered: Path, least: float = 0.9) -> tuple[RenderedRows, Said]:
    """What the panel net alone says: its chances as they are, on the rows that it answered. It has no sets and no rule:
    the likeliest classes that together reach `least` stand for a set, a leading class that reaches it alone for a decision.

    `answered`: `ids` (n,) and logits (n, classes) by question, as `training.panel_net --judge` writes them.
    """
    with np.load(answered, allow_pickle=False) as d:
        place = {str(i): k for k, i in enumerate(d["ids"])}
        at = np.array([place.get(str(i), -1) for i in rows.ids], dtype=np.intp)
        p = {t: joint.normalise(d[t].astype(np.float64)[at[at >= 0]]) for t in TARGETS}
    sets = [_reaching(p[t], least) for t in ("face", "core")]
    narrow = (p["view"].argmax(axis=1) > 0) & (p["core_visible"][:, 0] >= 0.5)
    decided = np.where(narrow, p["core"].max(axis=1), p["face"].max(axis=1)) >= least
    said = Said(p["face"], p["core"], p["view"], p["core_visible"][:, 0], sets[0], sets[1], decided, np.zeros(len(decided)), ())
    return rows.rows(at >= 0), said


def with_net(rows: RenderedRows, answered: Path) -> RenderedRows:
    """The rows with the panel net's numbers (vision.panel_net.FEATURES), from logits as `training.panel_net --judge` writes them:
    rows measured before a net was taught can so be judged with it."""
    from vision.panel_net import FEATURES, numbers

    with np.load(answered, allow_pickle=False) as d:
        said = zip(d["face"], d["core"], d["view"], d["core_visible"], strict=True)
        values = [list(numbers(f, c, v, float(seen[0] - seen[1])).values()) for f, c, v, seen in said]
        return rows.with_numbers([str(i) for i in d["ids"]], [f.name for f in FEATURES], np.array(values, dtype=np.float32))


def without(rows: RenderedRows, group: str) -> RenderedRows:
    """The rows with one group of numbers (`vision.features.Feature.group`) not measurable, as where that part keeps silent.

    Raises
    ------
    ValueError
        if there is no such group.
    """
    from vision import measure

    names = {f.name for f in measure.schema() if f.group == group}
    if not names:
        known = ", ".join(sorted({f.group for f in measure.schema()}))
        raise ValueError(f"no numbers of a group {group!r}; there are {known}")
    values = rows.values.copy()
    values[:, np.isin(rows.names, sorted(names))] = np.nan
    return replace(rows, values=values)


def _reaching(p: Array, least: float) -> Bools:
    """(n, classes) the likeliest classes of each row that together reach `least`."""
    order = np.argsort(-p, axis=1, kind="stable")
    ranked = np.take_along_axis(p, order, axis=1)
    kept = np.cumsum(ranked, axis=1) - ranked < least
    out = np.zeros(p.shape, dtype=bool)
    np.put_along_axis(out, order, kept, axis=1)
    return out

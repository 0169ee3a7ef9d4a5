"""Fits the likelihoods of repeats from composites of real figure: `python -m training.repeat_fit --photos FOLDER`.

Pairs of panels with known truth (training.composites, part 'tune' only) go through the same search as photos do; each
registered move gives a row of measurements and its case: copy, leaf or chance. A regularised multinomial logistic model with
equal case weights gives log likelihoods up to a constant; its temperature is chosen on held-out authors. Written to
vision/models/repeats.json.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import GroupKFold

from training.composites.figures import Figure, load
from training.composites.pairs import Pair, make_pair, make_rendered_pair
from vision.repeats.describe import SIGNS, describe
from vision.repeats.find import LEAST_WEIGHT
from vision.repeats.likelihood import CASES, FILE, INPUTS, inputs_of
from vision.repeats.measure import measure
from vision.repeats.register import register
from vision.repeats.sheet import SHEET_PX, Sheet
from vision.repeats.vote import moves
from vision.resize import fit_within, resize

#: Kind of pair and case; kinds come about equally often, 'none' more often.
CASE = {"copy": "copy", "copy_turned": "copy", "slip": "leaf", "book": "leaf", "rotary": "leaf", "none": "chance"}
KINDS = ("copy", "none", "slip", "copy_turned", "none", "book", "copy", "none", "rotary", "slip")
DAMAGES = ("none", "jpeg40", "scale", "perspective", "light", "gloss", "blur", "small", "all", "all")
#: A registration counts as the true one within this share of the sheet's longer side (rms over the shared part).
TRUE_WITHIN = 0.02
#: False alarms accepted on the tune part, over pairs without relation.
FALSE_ALARMS = 0.004
#: Assumptions, each stated where it enters: how often a showing of each kind lies in each motion.
MOTIONS = {
    "exact_copy": {"shift": 0.60, "half_turn": 0.37, "mirror": 0.03},  # parts are cut at will; prints are not laid face down
    "slip": {"shift": 0.94, "half_turn": 0.04, "mirror": 0.02},
    "book": {"shift": 0.01, "half_turn": 0.03, "mirror": 0.96},
    "rotary": {"shift": 0.94, "half_turn": 0.04, "mirror": 0.02},
    "coincidence": {"shift": 0.25, "half_turn": 0.25, "mirror": 0.50},  # four layings are tried, two of them mirrored
}
ROTARY_SHRINK = (0.003, 0.03)  # leaf thickness over log radius, 1 mm on 330 mm to 3 mm on 100 mm
STRETCH_SD = 0.004
LIMIT = 9.0  # nats: e^9 is about as far as the number of composites can vouch for


@dataclass(frozen=True)
class Row:
    """One registered move. `case`: of CASES; `group`: author(s); `pair`: number of the pair; `inputs`: (inputs,)."""

    case: str
    kind: str
    damage: str
    group: str
    pair: int
    inputs: tuple[float, ...]
    along_sd: float
    across_sd: float


def sheet_from(pixels: NDArray[np.uint8], name: str) -> tuple[Sheet, NDArray[np.float64]]:
    """The sheet of a rectified picture, and the 3x3 from picture to sheet pixels."""
    h, w = pixels.shape[:2]
    width, height = fit_within(w, h, max_side=SHEET_PX)
    sx, sy = width / w, height / h
    to_sheet = np.array([[sx, 0, 0.5 * sx - 0.5], [0, sy, 0.5 * sy - 0.5], [0, 0, 1.0]])
    small = np.ascontiguousarray(resize(pixels, width, height))
    return Sheet(name, name, small, np.ones((height, width), dtype=bool), np.linalg.inv(to_sheet)), to_sheet


def registration_error(truth: NDArray[np.float64], found: NDArray[np.float64], a: Sheet, b: Sheet) -> float:
    """Rms distance (share of b's longer side) between true and found place over the part of a that lies on b."""
    gx, gy = np.meshgrid(np.linspace(0.03, 0.97, 12) * a.width, np.linspace(0.03, 0.97, 12) * a.height)
    p = np.stack([gx.ravel(), gy.ravel(), np.ones(gx.size)])
    t, f = truth @ p, found @ p
    t, f = t[:2] / t[2], f[:2] / f[2]
    on = (t[0] > 0) & (t[0] < b.width) & (t[1] > 0) & (t[1] < b.height)
    if not on.any():
        return float("inf")
    return float(np.sqrt(((t - f)[:, on] ** 2).sum(axis=0).mean()) / max(b.width, b.height))


def pair_rows(pair: Pair, number: int, *, most: int = 2) -> list[Row]:
    """Rows of the weightiest moves of a pair. A move that misses the truth of a related pair is chance likeness."""
    (a, to_a), (b, to_b) = sheet_from(pair.a, "a"), sheet_from(pair.b, "b")
    da, db = describe(a), describe(b)
    truth = None if pair.truth is None else to_b @ pair.truth @ np.linalg.inv(to_a)
    out = []
    for move in [m for m in moves(da, db, signs=SIGNS) if m.weight >= LEAST_WEIGHT][:most]:
        laid = register(da.figure, db.figure, move.transform)
        measured = None if laid is None else measure(laid, move.votes)
        if laid is None or measured is None:
            continue
        case = "chance"
        if truth is not None:
            off = registration_error(truth, laid.transform, a, b)
            if off > TRUE_WITHIN and off < 3 * TRUE_WITHIN:
                continue  # neither plainly right nor plainly wrong
            case = CASE[pair.kind] if off <= TRUE_WITHIN else "chance"
        out.append(Row(case, pair.kind, pair.damage, "+".join(pair.groups), number, tuple(inputs_of(measured.values)),
                       measured.values["along_sd"], measured.values["across_sd"]))
    return out


def composite_rows(figures: Sequence[Figure], pairs: int, seed: int) -> tuple[list[Row], dict[str, list[bool]]]:
    """(rows, per case whether each pair led to a registration): kinds and damages in turn, authors drawn first."""
    rng = np.random.default_rng(seed)
    groups = sorted({f.group for f in figures})
    rows: list[Row] = []
    led: dict[str, list[bool]] = {c: [] for c in CASES}
    for k in range(pairs):
        kind, damage = KINDS[k % len(KINDS)], DAMAGES[int(rng.integers(len(DAMAGES)))]
        of_group = rng.permutation(groups)
        first, second = ([f for f in figures if f.group == g] for g in of_group[:2])
        one, two = first[int(rng.integers(len(first)))], second[int(rng.integers(len(second)))]
        if kind in ("slip", "book", "rotary", "none") and rng.random() < 0.3:
            pair = make_rendered_pair(kind, rng, damage)
        elif kind == "none" and rng.random() < 0.45:
            pair = make_pair(one, kind, rng, damage)  # two parts of one board: the closest strangers there are
        else:
            pair = make_pair([one, two], kind, rng, damage)
        got = pair_rows(pair, k)
        led[CASE[kind]].append(any(r.case == CASE[kind] for r in got))
        rows += got
    return rows, led


def fit(rows: Sequence[Row], led: dict[str, list[bool]]) -> dict[str, Any]:
    """The content of repeats.json."""
    x = np.array([r.inputs for r in rows])
    y = np.array([CASES.index(r.case) for r in rows])
    groups = np.array([r.group for r in rows])
    mean, scale = x.mean(axis=0), np.maximum(x.std(axis=0), 1e-3)
    z = np.clip((x - mean) / scale, -4, 4)
    held = _held_out(z, y, groups)
    temperature = _temperature(held, y)
    model = _logistic().fit(z, y)
    weights, bias = model.coef_ / temperature, model.intercept_ / temperature
    counts = {c: int((y == k).sum()) for k, c in enumerate(CASES)}
    return {
        "about": "Likelihoods of repeats; fitted by training.repeat_fit on composites of real figure, part 'tune'.",
        "rows": counts, "temperature": round(temperature, 3),
        "held_out": {"log_loss": round(_log_loss(held / temperature, y), 4),
                     "copy_against_leaf_auc": round(_auc((held[:, 0] - held[:, 1])[y < 2], y[y < 2] == 0), 4)},
        "inputs": [{"name": n, "mean": round(float(mean[i]), 4), "scale": round(float(scale[i]), 4),
                    **{c: round(float(weights[k, i]), 4) for k, c in enumerate(CASES)}} for i, n in enumerate(INPUTS)],
        "bias": {c: round(float(bias[k]), 4) for k, c in enumerate(CASES)},
        "seen": {c: round(float(np.clip(np.mean(led[c]), 0.05, 0.98)), 3) for c in CASES},
        "motions": MOTIONS, "rotary_shrink": list(ROTARY_SHRINK), "stretch_sd": STRETCH_SD, "limit": LIMIT,
        "accept": round(_accept(rows, held / temperature, led), 3), "along_sd_most": 2.0,
    }


def _logistic() -> LogisticRegression:
    return LogisticRegression(C=0.3, class_weight="balanced", max_iter=2000)


def _held_out(z: NDArray[np.float64], y: NDArray[np.intp], groups: NDArray[Any]) -> NDArray[np.float64]:
    """(rows, cases) scores from models that saw none of the row's authors.

    groups : author, or authors joined by '+': the row is tested in the fold of the first, by a model without any of them.
    """
    authors = [set(str(g).split("+")) for g in groups]
    first = np.array([str(g).split("+")[0] for g in groups])
    out = np.zeros((len(y), len(CASES)))
    for _, test in GroupKFold(5).split(z, y, first):
        shown = set().union(*(authors[k] for k in test if CASES[y[k]] != "chance"), {first[k] for k in test})
        train = np.array([k for k in range(len(y)) if not authors[k] & shown and first[k] not in shown], dtype=int)
        out[test] = _logistic().fit(z[train], y[train]).decision_function(z[test])
    return out


def _log_loss(scores: NDArray[np.float64], y: NDArray[np.intp]) -> float:
    """Log loss with every case weighing the same."""
    log_p = scores - np.logaddexp.reduce(scores, axis=1, keepdims=True)
    return float(-np.mean([log_p[y == k, k].mean() for k in range(len(CASES))]))


def _temperature(scores: NDArray[np.float64], y: NDArray[np.intp]) -> float:
    tried = np.exp(np.linspace(np.log(0.6), np.log(4), 60))
    return float(tried[int(np.argmin([_log_loss(scores / t, y) for t in tried]))])


def _auc(values: NDArray[np.float64], positive: NDArray[np.bool_]) -> float:
    a, b = values[positive], values[~positive]
    return float((a[:, None] > b[None]).mean() + 0.5 * (a[:, None] == b[None]).mean())


def _accept(rows: Sequence[Row], scores: NDArray[np.float64], led: dict[str, list[bool]]) -> float:
    """Log odds that leave FALSE_ALARMS of the unrelated pairs, with the width of the peak already asked for; at least 1."""
    best: dict[int, float] = {}
    for r, s in zip(rows, scores, strict=True):
        if r.kind == "none" and max(r.along_sd, r.across_sd) <= 2.0:
            best[r.pair] = max(best.get(r.pair, -np.inf), float(max(s[0], s[1]) - s[2]))
    unrelated = len(led["chance"])
    ordered = sorted(best.values(), reverse=True)
    allowed = int(FALSE_ALARMS * unrelated)
    return max(1.0, ordered[allowed] + 0.25 if len(ordered) > allowed else 1.0)


def main(argv: Sequence[str] | None = None) -> None:
    """Command line: make composites, fit, write the model."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=Path, required=True, help="folder with panels.csv, photos.csv and img/")
    parser.add_argument("--textures", type=Path, help="folder of unpacked texture packages")
    parser.add_argument("--pairs", type=int, default=1500)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--out", type=Path, default=FILE)
    args = parser.parse_args(argv)
    cv2.setNumThreads(1)
    figures = load(args.photos, args.textures, "tune")
    rows, led = composite_rows(figures, args.pairs, args.seed)
    content = fit(rows, led)
    args.out.write_text(json.dumps(content, indent=1) + "\n")
    print(json.dumps({k: content[k] for k in ("rows", "temperature", "held_out", "seen", "accept")}))


if __name__ == "__main__":
    main()

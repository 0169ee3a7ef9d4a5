"""What the measurements of vision.joints see on drawn pictures, beside the truth: rows to learn from and to judge by."""

from __future__ import annotations

import math
import pickle
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training.joints.kinds import NAMES
from training.joints.make import JointPicture
from training.joints.pictures import CACHE, picture, seeds
from training.joints.truth import TailTruth, Truth
from vision.joints import gaps, relief, rounds, rows, strokes, tails
from vision.joints.finds import ROUND_NAMES, Tails

MEASURED = Path("build/joints/measured")
#: Pictures that hold round things whose places are not known.
UNLABELLED_ROUNDS = ("hinge", "keyhole", "drawers")
Numbers = dict[str, float]


@dataclass(frozen=True, eq=False)
class TailRow:
    """A candidate: `numbers` and whether it is the true joint (None: neither it nor clearly not); `hand`: the same for how it
    was made, for true ones; `found`: what would be given out, chances left open; `slant`, its error, the true angle."""

    numbers: Numbers
    true: bool | None
    hand: Numbers
    by_hand: bool | None
    found: Tails
    pitch_error: float
    angle_error: float


@dataclass(frozen=True, eq=False)
class Measured:
    """All that was measured on one picture. Labels of spots: 0 for nothing, else 1 + place in ROUND_NAMES, -1 unknown."""

    name: str
    seed: int
    shape: tuple[int, int]
    truth: Truth
    tails: tuple[TailRow, ...]
    spots: tuple[rounds.Spot, ...]
    spot_labels: tuple[int, ...]
    strokes: tuple[tuple[Numbers, bool], ...]
    gaps: tuple[tuple[Numbers, bool, float], ...]
    relief: Numbers


def joint_match(found: Tails, joint: TailTruth) -> tuple[float, float]:
    """(share of a joint's true sides found, share of found sides true)."""
    if not found.sides:
        return 0.0, 0.0
    true = joint.sides.mean(axis=1)
    mine = np.array([s.line for s in found.sides]).mean(axis=1)
    step = np.linalg.norm(np.diff(true, axis=0), axis=1).min() if len(true) > 1 else 20.0
    away = np.linalg.norm(true[:, None] - mine[None], axis=2)
    depth = float(np.linalg.norm(joint.sides[:, 1] - joint.sides[:, 0], axis=1).mean())
    near = away < max(3.0, 0.35 * step + 0.3 * depth)
    return float(near.any(axis=1).mean()), float(near.any(axis=0).mean())


def side_match(found: Tails, truth: Truth) -> tuple[float, float]:
    """The same for the joint of a picture that fits best."""
    return max((joint_match(found, j) for j in truth.joints), key=min, default=(0.0, 0.0))


def _tail_row(c: tails.Candidate, truth: Truth) -> TailRow:
    found = tails.tails_from(c, 0.5, 0.5)
    true: bool | None = False
    by_hand, pitch_error, angle_error = None, math.nan, math.nan
    if truth.joints:
        joint = max(truth.joints, key=lambda j: min(joint_match(found, j)))
        recall, precision = joint_match(found, joint)
        span = float(np.linalg.norm(joint.sides[:, 1] - joint.sides[:, 0], axis=1).mean())
        if recall >= 0.6 and precision >= 0.6 and 0.55 < found.depth / span < 1.6:
            true, by_hand = True, joint.hand
            angle_error = found.angle - joint.angle
            middles = joint.sides.mean(axis=1)
            pins = joint.pins
            pitches = np.linalg.norm(np.diff(pins, axis=0) if len(pins) > 1 else middles[2:] - middles[:-2], axis=1)
            if len(pitches) and math.isfinite(found.pitch):
                pitch_error = found.pitch / float(pitches.mean()) - 1
        elif recall > 0.3 or precision > 0.5:
            true = None  # part of it
    return TailRow(dict(c.numbers), true, tails.hand_numbers(c, tails.layout_of(c)), by_hand, found, pitch_error, angle_error)


def spot_label(x: float, y: float, radius: float, truth: Truth) -> int:
    """0 for nothing, 1 + place in ROUND_NAMES, -1 where the truth does not say."""
    if truth.name in UNLABELLED_ROUNDS:
        return -1
    best = None
    for r in truth.rounds:
        away = math.hypot(x - r.x, y - r.y)
        if away < 0.5 * r.radius + 1 and 0.5 < radius / r.radius < 1.7 and (best is None or away < best[0]):
            best = (away, r.kind)
        elif best is None and away < 1.3 * r.radius + 1:
            best = (away + 1e6, "")  # a part of one, or one far too large
    if best is None:
        return 0
    return 1 + ROUND_NAMES.index(best[1]) if best[1] else -1


def _strokes_true(row: strokes.StrokeRow, truth: Truth) -> bool:
    if truth.strokes is None:
        return False
    middles = truth.strokes.mean(axis=1)
    length = float(np.linalg.norm(truth.strokes[:, 1] - truth.strokes[:, 0], axis=1).mean())
    near = [np.linalg.norm(middles - s.middle, axis=1).min() < 0.5 * length for s in row.strokes]
    return bool(np.mean(near) >= 0.6)


def _gap_true(gap: gaps.GapFound, truth: Truth) -> bool:
    if truth.gap is None:
        return False
    a, b = truth.gap.line
    d = (b - a) / max(1e-6, float(np.linalg.norm(b - a)))
    e = (gap.line[1] - gap.line[0]) / max(1e-6, float(np.linalg.norm(gap.line[1] - gap.line[0])))
    normal = np.array([-d[1], d[0]])
    return bool(abs(float((gap.line.mean(axis=0) - a) @ normal)) < truth.gap.widest + 3 and float(d @ e) > 0.97)


def measure(p: JointPicture) -> Measured:
    found = rounds.spots(p.pixels)
    shape = (p.pixels.shape[0], p.pixels.shape[1])
    wedges = gaps.gaps_of(p.pixels)
    stroke_rows = strokes.rows_of(strokes.strokes_of(p.pixels), shape)
    return Measured(
        p.truth.name, p.truth.seed, shape, p.truth,
        tuple(_tail_row(c, p.truth) for c in tails.candidates(p.pixels, gated=False)),
        tuple(found), tuple(spot_label(s.x, s.y, s.radius, p.truth) for s in found),
        tuple((dict(s.numbers), _strokes_true(s, p.truth)) for s in stroke_rows),
        tuple((dict(g.numbers), _gap_true(g, p.truth), g.wide) for g in wedges),
        relief.numbers_of(p.pixels)[0])


def measured(part: str, each: int, names: Sequence[str] = NAMES, *, cache: Path | None = CACHE,
             kept: Path | None = MEASURED) -> Iterator[Measured]:
    """Measurements of a part's pictures, kept on disk; delete the folder when a measurement changes."""
    for seed in seeds(part, each):
        for name in names:
            stored = None if kept is None else kept / f"{name}_{seed}.pickle"
            if stored is not None and stored.exists():
                found = pickle.loads(stored.read_bytes())
                if isinstance(found, Measured):
                    yield found
                    continue
            made = measure(picture(name, seed, cache))
            if stored is not None:
                stored.parent.mkdir(parents=True, exist_ok=True)
                stored.write_bytes(pickle.dumps(made))
            yield made


#: Pictures of which more are needed: one candidate each is true.
FINGERED = ("dovetail_through", "dovetail_half_blind", "dovetail_corner", "dovetail_pins", "finger_joint")


def measured_more(part: str, each: int, fingered: int, *, cache: Path | None = CACHE,
                  kept: Path | None = MEASURED) -> list[Measured]:
    """`each` pictures of every name, and `fingered` of those with fingers."""
    found = list(measured(part, each, cache=cache, kept=kept))
    known = {(m.name, m.seed) for m in found}
    return found + [m for m in measured(part, fingered, FINGERED, cache=cache, kept=kept) if (m.name, m.seed) not in known]


#: Name of pictures that are cut from photos of real wood without joints or fittings.
REAL_WOOD = "real_wood"


def real_wood(folder: Path, textures: Path | None, part: str, *, kept: Path | None = MEASURED) -> list[tuple[str, Measured]]:
    """(who took it, measurements) of one crop of every real figure of a part ('tune' to learn from, 'report' to judge by)."""
    from training.composites.figures import load
    from vision.resize import fit_within, resize

    out = []
    for k, figure in enumerate(load(folder, textures, part)):
        stored = None if kept is None else kept / f"{REAL_WOOD}_{part}_{k}.pickle"
        if stored is not None and stored.exists():
            out.append((figure.group, pickle.loads(stored.read_bytes())))
            continue
        rng = np.random.default_rng([k, 5, *part.encode()])
        h, w = figure.pixels.shape[:2]
        ch, cw = round(h * rng.uniform(0.6, 1)), round(w * rng.uniform(0.6, 1))
        y, x = int(rng.integers(0, h - ch + 1)), int(rng.integers(0, w - cw + 1))
        crop = np.ascontiguousarray(np.rot90(figure.pixels[y : y + ch, x : x + cw], int(rng.integers(0, 4))))
        size = fit_within(crop.shape[1], crop.shape[0], max_side=int(rng.integers(300, 641)))
        found = measure(JointPicture(resize(crop, *size), Truth(REAL_WOOD, k, (), 1.0)))
        if stored is not None:
            stored.parent.mkdir(parents=True, exist_ok=True)
            stored.write_bytes(pickle.dumps(found))
        out.append((figure.group, found))
    return out


def row_label(row: rows.RowFound, holes: rows.Holes, truth: Truth) -> bool:
    """Whether nearly all of a row's holes are true holes of a row or grid."""
    if truth.pitch_mm <= 0 or truth.name == "missing_pull":
        return False
    return bool(np.mean([spot_label(float(holes.at[k, 0]), float(holes.at[k, 1]), float(holes.radius[k]), truth) == 1
                         for k in row.members]) >= 0.8)


def pair_label(pair: rows.PairFound, holes: rows.Holes, truth: Truth) -> bool:
    return truth.name == "missing_pull" and all(
        spot_label(float(holes.at[k, 0]), float(holes.at[k, 1]), float(holes.radius[k]), truth) == 1 for k in pair.members)


def matrix(numbers: Sequence[Numbers], inputs: Sequence[str]) -> NDArray[np.float64]:
    return np.array([[n[k] for k in inputs] for n in numbers], float).reshape(len(numbers), len(inputs))

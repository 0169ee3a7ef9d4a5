"""Teach which part of the piece a panel is from how it stands among the others, on rendered furniture.

    python -m training.roles --renders DIR [--out vision/models/roles.npz]

Only geometry enters, so what renders lack in realism of surface does not matter; what they lack in kinds of furniture
does. Outlines are shaken, panels dropped and neighbours merged as the finder does. Figures are on pieces held out (five
folds by piece); a role is named only above the probability at which held-out panels were right as often as asked.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.parts.role_model import ROLES, RoleModel, many
from vision.parts.standing import standing
from vision.types import Panel

#: Share right that is asked for of named roles, and the least probability in any case.
RIGHT, LEAST = 0.88, 0.5
HIDDEN, ROUNDS, FOLDS = (48,), 6, 5
FACES = ("face", "whole", "unknown")


@dataclass(frozen=True, eq=False)
class Rows:
    """`x` (n, numbers), `y` (n,) index into ROLES, `piece` (n,), `first` (n,) bool: as rendered, nothing shaken."""

    x: NDArray[np.float64]
    y: NDArray[np.intp]
    piece: NDArray[np.str_]
    first: NDArray[np.bool_]


def shaken(panels: list[Panel], views: list[str], roles: list[str], rng: np.random.Generator
           ) -> tuple[list[Panel], list[str], list[str]]:
    """The same layout as a finder might see it: corners off by up to 2 %, panels missing, a strip lost at a side."""
    keep = rng.random(len(panels)) > rng.choice([0.0, 0.15, 0.4])
    if not keep.any():
        keep[rng.integers(len(panels))] = True
    out = []
    for p in (p for p, k in zip(panels, keep, strict=True) if k):
        o = np.array(p.outline)
        span = np.ptp(o, axis=0)
        o = o + rng.normal(0, 0.012, o.shape) * span
        axis = int(rng.integers(2))
        low, high = o[:, axis].min(), o[:, axis].max()
        cut = 0.12 * rng.random() * (high - low)
        o[:, axis] = np.clip(o[:, axis], low + cut * rng.integers(2), high - cut * rng.integers(2))
        out.append(Panel(p.id, p.photo, tuple(map(tuple, o.tolist())), source="found"))
    chosen = [i for i, k in enumerate(keep) if k]
    return out, [views[i] for i in chosen], [roles[i] for i in chosen]


def mirrored(panels: Sequence[Panel], width: int) -> list[Panel]:
    """The layout seen in a mirror."""
    return [Panel(p.id, p.photo, tuple((width - 1 - x, y) for x, y in p.outline), source=p.source) for p in panels]


def read(folder: Path, rounds: int = ROUNDS, seed: int = 0) -> Rows:
    """Rows of all rendered photos: as rendered, and shaken `rounds` times."""
    rng = np.random.default_rng(seed)
    x, y, piece, first = [], [], [], []

    def take(panels: list[Panel], views: list[str], roles: list[str], truth: dict[str, Any], as_is: bool) -> None:
        table = standing(panels, views, (truth["width"], truth["height"]))
        for row, view, role in zip(table, views, roles, strict=True):
            if view == "face" and role in ROLES:
                x.append(row)
                y.append(ROLES.index(role))
                piece.append(truth["piece"])
                first.append(as_is)

    for path in sorted(folder.glob("p*.json")):
        truth = json.loads(path.read_text())
        rows = [r for r in truth["panels"] if len(r["outline"]) >= 3]
        panels = [Panel(f"x{r['id']}", "photo", tuple(map(tuple, r["outline"]))) for r in rows]
        views, roles = [r["view"] for r in rows], [r["role"] for r in rows]
        if not panels:
            continue
        take(panels, views, roles, truth, True)
        for k in range(rounds):
            seen = mirrored(panels, truth["width"]) if k % 2 else panels
            take(*shaken(list(seen), views, roles, rng), truth, False)
    return Rows(np.array(x), np.array(y), np.array(piece), np.array(first))


def fit(x: NDArray[np.float64], y: NDArray[np.intp], seed: int = 0) -> RoleModel:
    """A small network on standardised numbers; no role is named yet (limits 1)."""
    from sklearn.neural_network import MLPClassifier

    centre, scale = x.mean(axis=0), x.std(axis=0) + 1e-6
    z = np.clip((x - centre) / scale, -4, 4)
    net = MLPClassifier(HIDDEN, alpha=1.0, max_iter=60, random_state=seed, learning_rate_init=2e-3).fit(z, y)
    out = np.full((len(ROLES), net.coefs_[1].shape[0]), 0.0)
    bias = np.full(len(ROLES), -30.0)
    for k, c in enumerate(net.classes_):
        out[c], bias[c] = net.coefs_[1][:, k], net.intercepts_[1][k]
    return RoleModel(*(np.asarray(a, dtype=np.float32) for a in (
        centre, scale, net.coefs_[0], net.intercepts_[0], out.T, bias, np.ones((2, len(ROLES))))))


def limit(top: NDArray[np.float64], right: NDArray[np.bool_]) -> float:
    """Least probability above which RIGHT of the rows are right, at least LEAST (1.01 where there is none)."""
    order = np.argsort(-top)
    order = order[top[order] >= LEAST]
    share = np.cumsum(right[order]) / np.arange(1, len(order) + 1)
    good = np.flatnonzero(share >= RIGHT)
    return float(top[order[good[-1]]]) if len(good) else 1.01


def limits(p: NDArray[np.float64], y: NDArray[np.intp], many: NDArray[np.intp]) -> NDArray[np.float64]:
    """(2, roles): one limit for all roles where few panels are in view, one for each where many are."""
    top, said = p.max(axis=1), p.argmax(axis=1)
    right = said == y
    few = np.full(len(ROLES), limit(top[many == 0], right[many == 0]))
    each = [limit(top[(many == 1) & (said == k)], right[(many == 1) & (said == k)]) for k in range(len(ROLES))]
    return np.array([few, each])


def held_out(rows: Rows) -> NDArray[np.float64]:
    """(n, roles) probabilities by models that never saw the piece."""
    pieces = np.unique(rows.piece)
    fold = dict(zip(pieces.tolist(), (np.random.default_rng(1).permutation(len(pieces)) % FOLDS).tolist(), strict=True))
    number = np.array([fold[p] for p in rows.piece])
    p = np.zeros((len(rows.y), len(ROLES)))
    for k in range(FOLDS):
        p[number == k] = fit(rows.x[number != k], rows.y[number != k]).probabilities(rows.x[number == k])
    return p


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--renders", type=Path, required=True)
    parser.add_argument("--out", type=Path)
    args = parser.parse_args()
    rows = read(args.renders)
    p = held_out(rows)
    use = rows.first
    lots = many(rows.x)
    least = limits(p, rows.y, lots)
    said = np.where(p.max(axis=1) >= least[lots, p.argmax(axis=1)], p.argmax(axis=1), -1)
    print(f"{use.sum()} faces of {len(np.unique(rows.piece))} rendered pieces, held out by piece; "
          f"left open {(said[use] < 0).mean():.3f}")
    for name, band in (("few", 0), ("many", 1)):
        here = use & (lots == band)
        told = here & (said >= 0)
        print(f"with {name} panels in view: {here.sum()} faces, named {told.sum() / max(1, here.sum()):.3f}, "
              f"right when named {(said == rows.y)[told].mean() if told.any() else float('nan'):.3f}")
    for k, role in enumerate(ROLES):
        true, named = use & (rows.y == k), use & (said == k)
        hit = (true & named).sum()
        print(f"{role:14s} {true.sum():5d} panels, named {hit / max(1, true.sum()):.3f}, right when named "
              f"{hit / named.sum() if named.any() else float('nan'):.3f}, from probability {least[1, k]:.2f}")
    if args.out:
        model = fit(rows.x, rows.y)
        RoleModel(**{**vars(model), "limits": least.astype(np.float32)}).save(args.out)
        print(f"wrote {args.out}")


if __name__ == "__main__":
    main()

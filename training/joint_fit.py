"""Command: `python -m training.joint_fit`: fits the nets of vision.joints on drawn pictures and writes models/joints.json.

Weights are learned on the part 'fit' and on real figure of the part 'tune' (the net 'hand' on layouts without pictures); how
many units, how much decay and the temperature that makes chances hold are taken from the part 'held_out' and from other
photographers of 'tune'; no part 'report' is ever read here.
"""

from __future__ import annotations

import argparse
import json
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.joint_hands import hands
from training.joint_measuring import Measured, Numbers, matrix, measured_more, pair_label, real_wood, row_label
from vision.joints import rounds, rows, tails
from vision.joints.chances import FILE, MOST, Net, parse
from vision.joints.read import holes_of

#: Units of the hidden layer and decay tried, and restarts of each.
UNITS, DECAYS, RESTARTS = (6, 14), (1.0, 10.0), 2
CLASSES = {"tails": tails.CLASSES, "gate": tails.CLASSES, "hand": ("machine", "hand"), "round": rounds.CLASSES,
           "row": rows.CLASSES, "pair": rows.CLASSES, "strokes": rows.CLASSES, "gap": rows.CLASSES, "relief": rows.CLASSES}
#: What a band shows before its sides are fitted, for the net 'gate'.
GATE_INPUTS = ("share", "contrast", "sure", "level", "sharp", "changes", "runs_spread", "tails_spread", "pins_spread",
               "pin_share", "depth", "past", "reach", "least_run")


@dataclass(frozen=True, eq=False)
class Table:
    numbers: list[Numbers]
    labels: NDArray[np.int64]


def table_of(name: str, found: Sequence[Measured]) -> Table:
    """Rows of one net; rows and pairs need the stored net 'round'."""
    numbers: list[Numbers] = []
    labels: list[int] = []
    for m in found:
        pairs: list[tuple[Numbers, bool | int | None]] = []
        if name == "tails":
            pairs = [(t.numbers, t.true) for t in m.tails]
        elif name == "gate":
            pairs = [({k: t.numbers[k] for k in GATE_INPUTS}, t.true) for t in m.tails]
        elif name == "round":
            pairs = [(dict(s.numbers), k if k >= 0 else None) for s, k in zip(m.spots, m.spot_labels, strict=True)]
        elif name == "strokes":
            pairs = list(m.strokes)
        elif name == "gap":
            pairs = [(n, t) for n, t, _ in m.gaps]
        elif name == "relief":
            pairs = [(m.relief, m.name == "relief")]
        for n, label in pairs:
            if label is not None:
                numbers.append(n)
                labels.append(int(label))
    return Table(numbers, np.array(labels, np.int64))


def hand_table(found: Sequence[Measured]) -> Table:
    """How true joints on pictures were made, where enough fingers show to ask."""
    pairs = [(t.hand, int(t.by_hand)) for m in found for t in m.tails
             if t.true and t.by_hand is not None and t.found.fingers >= tails.LEAST_FINGERS and np.isfinite(t.found.pitch_spread)]
    return Table([n for n, _ in pairs], np.array([k for _, k in pairs], np.int64))


def tempered(raw: dict[str, Any], held: Table) -> tuple[dict[str, Any], float]:
    """(net with the temperature under which its chances fit the rows best, loss on them)."""
    tried = [(loss(parse({**raw, "temperature": t}).chances(held.numbers), held.labels), t) for t in np.geomspace(0.5, 6, 30)]
    value, temperature = min(tried)
    return {**raw, "temperature": round(float(temperature), 4)}, value


def hole_table(name: str, found: Sequence[Measured], net: Net) -> Table:
    """Rows of the nets 'row' and 'pair', from holes as the net 'round' sees them."""
    numbers: list[Numbers] = []
    labels: list[int] = []
    for m in found:
        holes = holes_of(m.spots, net)
        if name == "row":
            for row in rows.rows_of(holes):
                numbers.append(dict(row.numbers))
                labels.append(int(row_label(row, holes, m.truth)))
        else:
            for pair in rows.pairs_of(holes, m.shape):
                numbers.append(dict(pair.numbers))
                labels.append(int(pair_label(pair, holes, m.truth)))
    return Table(numbers, np.array(labels, np.int64))


def loss(chances: NDArray[np.float64], labels: NDArray[np.int64]) -> float:
    """Mean negative log of the chance given to what is so."""
    return float(-np.log(np.clip(chances[np.arange(len(labels)), labels], 1e-6, 1)).mean())


def fit_net(fit: Table, held: Table, classes: Sequence[str], units: Sequence[int] = UNITS, decays: Sequence[float] = DECAYS,
            ) -> tuple[dict[str, Any], float]:
    """(decoded net, loss on held-out rows): the best of a few networks of so many hidden `units`, their weights held down by
    `decays`, its temperature set on the held-out rows."""
    from sklearn.neural_network import MLPClassifier

    inputs = tuple(fit.numbers[0])
    x = matrix(fit.numbers, inputs)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        mean, scale = np.nanmean(x, axis=0), np.nanstd(x, axis=0)
    mean, scale = np.nan_to_num(mean), np.where(np.nan_to_num(scale) > 1e-6, scale, 1.0)
    z = np.clip((np.where(np.isfinite(x), x, mean) - mean) / scale, -MOST, MOST)
    best: tuple[float, dict[str, Any]] | None = None
    for count in units:
        for decay in decays:
            for restart in range(RESTARTS):
                net = MLPClassifier((count,), alpha=decay, solver="lbfgs", max_iter=400, random_state=restart)
                with warnings.catch_warnings():
                    warnings.simplefilter("ignore")
                    net.fit(z, fit.labels)
                tried, value = tempered({**_raw(net, inputs, classes, mean, scale), "temperature": 1.0}, held)
                if best is None or value < best[0]:
                    best = value, tried
    assert best is not None
    return best[1], best[0]


def _raw(net: Any, inputs: Sequence[str], classes: Sequence[str], mean: NDArray[np.float64], scale: NDArray[np.float64],
         ) -> dict[str, Any]:
    """Decoded form of a fitted network; a class never seen gets no chance, and two classes two scores."""
    out, bias = net.coefs_[1], net.intercepts_[1]
    if len(net.classes_) == 2:
        out, bias = np.concatenate([np.zeros_like(out), out], axis=1), np.concatenate([np.zeros(1), bias])
    full, full_bias = np.zeros((out.shape[0], len(classes))), np.full(len(classes), -30.0)
    for k, c in enumerate(net.classes_):
        full[:, int(c)], full_bias[int(c)] = out[:, k], bias[k]

    def tidy(a: NDArray[np.float64]) -> Any:
        return np.round(a, 5).tolist()

    return {"inputs": list(inputs), "classes": list(classes), "mean": tidy(mean), "scale": tidy(np.asarray(scale)),
            "hidden": tidy(net.coefs_[0]), "hidden_bias": tidy(net.intercepts_[0]), "out": tidy(full), "bias": tidy(full_bias)}


def fit_all(fit: Sequence[Measured], held: Sequence[Measured], only: Sequence[str] = tuple(CLASSES),
            ) -> tuple[dict[str, Any], dict[str, float]]:
    """(nets by name, held-out loss by name); `only`: the nets asked for, 'row' and 'pair' go with 'round'."""
    nets: dict[str, Any] = {}
    losses: dict[str, float] = {}
    for name in ("tails", "gate", "round", "strokes", "gap", "relief"):
        if name in only:
            nets[name], losses[name] = fit_net(table_of(name, fit), table_of(name, held), CLASSES[name])
    if "hand" in only:
        nets["hand"], losses["hand"] = _fit_hand(fit, held)
    if "round" in only:
        seen = parse(nets["round"])
        for name in ("row", "pair"):
            nets[name], losses[name] = fit_net(hole_table(name, fit, seen), hole_table(name, held, seen), CLASSES[name])
    return nets, losses


def _fit_hand(fit: Sequence[Measured], held: Sequence[Measured]) -> tuple[dict[str, Any], float]:
    laid, held_laid = (Table(n, np.array(t, np.int64)) for n, t in (hands(3000, 1), hands(1500, 2)))
    raw, _ = fit_net(laid, held_laid, CLASSES["hand"])
    # weights come from layouts; pictures, which they never saw, say how far the chances hold
    seen_hands = hand_table([*fit, *held])
    return tempered(raw, seen_hands) if len(seen_hands.numbers) >= 20 else tempered(raw, held_laid)


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", nargs=2, type=int, default=[8, 3], metavar=("FIT", "HELD_OUT"))
    parser.add_argument("--fingered", nargs=2, type=int, default=[24, 8], metavar=("FIT", "HELD_OUT"))
    parser.add_argument("--photos", type=Path, default=None, help="photo collection: real wood is learned from too")
    parser.add_argument("--textures", type=Path, default=Path("build/textures"))
    parser.add_argument("--only", nargs="*", choices=list(CLASSES), default=list(CLASSES), help="nets to fit; the rest stay")
    chosen = parser.parse_args(arguments)
    parts = [measured_more(p, n, m) for p, n, m in zip(("fit", "held_out"), chosen.each, chosen.fingered, strict=True)]
    if chosen.photos is not None:
        groups = sorted({g for g, _ in real_wood(chosen.photos, chosen.textures, "tune")})
        for group, m in real_wood(chosen.photos, chosen.textures, "tune"):
            parts[groups.index(group) % 3 == 2].append(m)  # every third photographer is held out
    nets, losses = fit_all(parts[0], parts[1], chosen.only)
    if set(CLASSES) - set(nets):
        nets = {**json.loads(FILE.read_text(encoding="utf-8"))["nets"], **nets}
    FILE.write_text(json.dumps({"nets": nets}, indent=None, separators=(",", ":")) + "\n", encoding="utf-8")
    for name, value in losses.items():
        print(f"{name}: held-out loss {value:.4f} nats")


if __name__ == "__main__":
    main()

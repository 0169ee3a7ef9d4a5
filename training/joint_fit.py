"""Command: `python -m training.joint_fit`: fits the nets of vision.joints on drawn pictures and writes models/joints.json.

Weights are learned on the part 'fit' (the net 'hand' on layouts without pictures); how many units, how much decay and the
temperature that makes chances hold are taken from the part 'held_out'; the part 'report' is never read here.
"""

from __future__ import annotations

import argparse
import json
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.joint_hands import hands
from training.joint_measuring import Measured, Numbers, matrix, measured_more, pair_label, row_label
from vision.joints import rounds, rows, tails
from vision.joints.chances import FILE, MOST, Net, parse
from vision.joints.read import holes_of

#: Units of the hidden layer and decay tried, and restarts of each.
UNITS, DECAYS, RESTARTS = (6, 14), (1.0, 10.0), 2
CLASSES = {"tails": tails.CLASSES, "hand": ("machine", "hand"), "round": rounds.CLASSES, "row": rows.CLASSES,
           "pair": rows.CLASSES, "strokes": rows.CLASSES, "gap": rows.CLASSES, "relief": rows.CLASSES}


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


def fit_net(fit: Table, held: Table, classes: Sequence[str]) -> tuple[dict[str, Any], float]:
    """(decoded net, loss on held-out rows): the best of a few networks, its temperature set on the held-out rows."""
    from sklearn.neural_network import MLPClassifier

    inputs = tuple(fit.numbers[0])
    x, xh = matrix(fit.numbers, inputs), matrix(held.numbers, inputs)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        mean, scale = np.nanmean(x, axis=0), np.nanstd(x, axis=0)
    mean, scale = np.nan_to_num(mean), np.where(np.nan_to_num(scale) > 1e-6, scale, 1.0)
    z = np.clip((np.where(np.isfinite(x), x, mean) - mean) / scale, -MOST, MOST)
    best: tuple[float, dict[str, Any]] | None = None
    for units in UNITS:
        for decay in DECAYS:
            for restart in range(RESTARTS):
                net = MLPClassifier((units,), alpha=decay, solver="lbfgs", max_iter=400, random_state=restart)
                with warnings.catch_warnings():
                    warnings.simplefilter("ignore")
                    net.fit(z, fit.labels)
                raw = _raw(net, inputs, classes, mean, scale)
                tried = [(loss(parse({**raw, "temperature": t}).chances(held.numbers), held.labels), t)
                         for t in np.geomspace(0.5, 4, 25)]
                value, temperature = min(tried)
                if best is None or value < best[0]:
                    best = value, {**raw, "temperature": round(float(temperature), 4)}
    assert best is not None and xh.shape[1] == x.shape[1]
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


def fit_all(fit: Sequence[Measured], held: Sequence[Measured]) -> tuple[dict[str, Any], dict[str, float]]:
    """(nets by name, held-out loss by name)."""
    nets: dict[str, Any] = {}
    losses: dict[str, float] = {}
    for name in ("tails", "round", "strokes", "gap", "relief"):
        nets[name], losses[name] = fit_net(table_of(name, fit), table_of(name, held), CLASSES[name])
    laid, held_laid = (Table(n, np.array(t, np.int64)) for n, t in (hands(3000, 1), hands(1500, 2)))
    nets["hand"], losses["hand"] = fit_net(laid, held_laid, CLASSES["hand"])
    seen = parse(nets["round"])
    for name in ("row", "pair"):
        nets[name], losses[name] = fit_net(hole_table(name, fit, seen), hole_table(name, held, seen), CLASSES[name])
    return nets, losses


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", nargs=2, type=int, default=[8, 3], metavar=("FIT", "HELD_OUT"))
    parser.add_argument("--fingered", nargs=2, type=int, default=[24, 8], metavar=("FIT", "HELD_OUT"))
    chosen = parser.parse_args(arguments)
    parts = [measured_more(p, n, m) for p, n, m in zip(("fit", "held_out"), chosen.each, chosen.fingered, strict=True)]
    nets, losses = fit_all(*parts)
    FILE.write_text(json.dumps({"nets": nets}, indent=None, separators=(",", ":")) + "\n", encoding="utf-8")
    for name, value in losses.items():
        print(f"{name}: held-out loss {value:.4f} nats")


if __name__ == "__main__":
    main()

"""Chances from measurements: small networks with one hidden layer, learned on drawn pictures, kept in models/joints.json."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from vision.errors import ModelMismatch

FILE = Path(__file__).parents[1] / "models" / "joints.json"
#: No input counts for more than this many spreads from its mean.
MOST = 4.0


@dataclass(frozen=True, eq=False)
class Net:
    """`inputs`, `classes`: names; `mean`, `scale`: (inputs,); `hidden`: (inputs, units); `hidden_bias`: (units,); `out`:
    (units, classes); `bias`: (classes,); `temperature`: divides the scores so that held-out chances hold."""

    inputs: tuple[str, ...]
    classes: tuple[str, ...]
    mean: NDArray[np.float64]
    scale: NDArray[np.float64]
    hidden: NDArray[np.float64]
    hidden_bias: NDArray[np.float64]
    out: NDArray[np.float64]
    bias: NDArray[np.float64]
    temperature: float

    def chances(self, rows: Sequence[Mapping[str, float]]) -> NDArray[np.float64]:
        """(rows, classes), each row summing to 1; numbers that could not be measured count as their mean."""
        if not rows:
            return np.zeros((0, len(self.classes)))
        x = np.array([[r[name] for name in self.inputs] for r in rows], float)
        x = np.where(np.isfinite(x), x, self.mean)
        x = np.clip((x - self.mean) / self.scale, -MOST, MOST)
        scores = np.maximum(x @ self.hidden + self.hidden_bias, 0) @ self.out + self.bias
        scores = scores / self.temperature
        scores -= scores.max(axis=1, keepdims=True)
        p = np.exp(scores)
        return np.asarray(p / p.sum(axis=1, keepdims=True))


def parse(raw: Mapping[str, object]) -> Net:
    """Net of its decoded form; ValueError where shapes do not fit together."""
    d: dict = dict(raw)
    a = {k: np.array(d[k], float) for k in ("mean", "scale", "hidden", "hidden_bias", "out", "bias")}
    net = Net(tuple(d["inputs"]), tuple(d["classes"]), a["mean"], a["scale"], a["hidden"], a["hidden_bias"], a["out"], a["bias"],
              float(d["temperature"]))
    n, units, classes = len(net.inputs), len(net.hidden_bias), len(net.classes)
    fits = (net.mean.shape == net.scale.shape == (n,) and net.hidden.shape == (n, units) and net.out.shape == (units, classes)
            and net.bias.shape == (classes,))
    if not fits:
        raise ValueError("a net's shapes do not fit together")
    return net


@lru_cache(maxsize=1)
def stored() -> Mapping[str, Net]:
    """All nets by name.

    Raises
    ------
    ModelMismatch
        if the file is missing or damaged.
    """
    try:
        raw = json.loads(FILE.read_text(encoding="utf-8"))
        return {name: parse(net) for name, net in raw["nets"].items()}
    except (OSError, ValueError, KeyError, TypeError) as error:
        cause = f"the numbers for joints are missing or damaged ({error})."
        raise ModelMismatch(FILE.name, cause, "Reinstall the program.") from error

"""How likely the measurements of a registered pair are under each way in which a figure can be seen twice.

Three cases are told apart by measurement (exact copy, another leaf of the same wood, chance); the motion and, on one sheet,
the shrinking across the grain then divide the leaves into slip, book and rotary. Numbers live in models/repeats.json,
written by training.repeat_fit.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final

import numpy as np

from vision.errors import ModelMismatch
from vision.repeats.repeat import HYPOTHESES, MOTIONS

FILE = Path(__file__).parents[1] / "models" / "repeats.json"
CASES: Final = ("copy", "leaf", "chance")
#: Which measured case a hypothesis belongs to.
CASE_OF: Final = {"exact_copy": "copy", "slip": "leaf", "book": "leaf", "rotary": "leaf", "coincidence": "chance"}


def _angle(value: float) -> float:
    return float(np.arctanh(np.clip(value, -0.5, 0.995)))


def _log(value: float, low: float, high: float) -> float:
    return float(np.log(np.clip(value, low, high)))


#: Name of a model input and how it follows from `Repeat.measured`.
INPUTS: Final = {
    "crossing": lambda m: _angle(m["crossing"]),
    "lead": lambda m: m["lead"],
    "fine": lambda m: _angle(m["residual_fine"]),
    "mid": lambda m: _angle(m["residual_mid"]),
    "coarse": lambda m: _angle(m["residual_coarse"]),
    "whole": lambda m: _angle(m["whole_mid"]),
    "fine_loss": lambda m: _angle(m["residual_mid"]) - _angle(m["residual_fine"]),
    "along_sd": lambda m: _log(m["along_sd"], 0.5, 12.0),
    "across_sd": lambda m: _log(m["across_sd"], 0.5, 12.0),
    "drift_along": lambda m: _log(m["drift_along"], 0.05, 12.0),
    "drift_across": lambda m: _log(m["drift_across"], 0.05, 12.0),
    "drift_slow": lambda m: _log(m["drift_slow"], 0.02, 8.0),
    "votes": lambda m: _log(m["votes"], 3.0, 400.0),
    "agree": lambda m: m["agree"],
    "stretch": lambda m: min(abs(m["stretch"]), 0.3),
    "bend": lambda m: min(m["bend"], 0.3),
    "effective": lambda m: _log(m["effective"], 10.0, 2000.0),
}


@dataclass(frozen=True)
class LikelihoodModel:
    """`mean`, `scale`: of each input; `weights`: (cases, inputs); `bias`: (cases,); `seen`: chance that the votes lead to a
    registration at all, by case; `motions`: chance of each motion by hypothesis; `accept`: least log odds of a repeat."""

    mean: tuple[float, ...]
    scale: tuple[float, ...]
    weights: tuple[tuple[float, ...], ...]
    bias: tuple[float, ...]
    seen: Mapping[str, float]
    motions: Mapping[str, Mapping[str, float]]
    shrink: tuple[float, float]
    stretch_sd: float
    limit: float
    accept: float
    along_sd_most: float


@lru_cache(maxsize=1)
def stored() -> LikelihoodModel:
    """The model in models/repeats.json.

    Raises
    ------
    ModelMismatch
        if the file is missing, damaged or made for other measurements.
    """
    try:
        return parse(json.loads(FILE.read_text(encoding="utf-8")))
    except (OSError, ValueError, KeyError, TypeError) as error:
        cause = f"the numbers for repeats are missing or damaged ({error})."
        raise ModelMismatch(FILE.name, cause, "Reinstall the program.") from error


def parse(raw: Mapping[str, object]) -> LikelihoodModel:
    """Model of a decoded repeats.json; ValueError when its inputs are not the ones measured here."""
    inputs: list[dict[str, float]] = raw["inputs"]  # type: ignore[assignment]
    if [i["name"] for i in inputs] != list(INPUTS):
        raise ValueError("repeats.json does not fit this program's measurements; fit it again")
    d: dict = dict(raw)
    return LikelihoodModel(
        mean=tuple(float(i["mean"]) for i in inputs), scale=tuple(float(i["scale"]) for i in inputs),
        weights=tuple(tuple(float(i[c]) for i in inputs) for c in CASES), bias=tuple(float(d["bias"][c]) for c in CASES),
        seen=d["seen"], motions=d["motions"], shrink=tuple(d["rotary_shrink"]), stretch_sd=float(d["stretch_sd"]),
        limit=float(d["limit"]), accept=float(d["accept"]), along_sd_most=float(d["along_sd_most"]))


def inputs_of(measured: Mapping[str, float]) -> np.ndarray:
    """(inputs,) vector of a set of measurements, unscaled."""
    return np.array([f(measured) for f in INPUTS.values()])


def log_likelihoods(measured: Mapping[str, float], motion: str, *, within: bool, model: LikelihoodModel | None = None,
                    ) -> dict[str, float]:
    """log p(measurements, motion | hypothesis) up to a common constant, over HYPOTHESES.

    `within`: both showings lie on one sheet, so that the shrinking of a peeled sheet's pitch can be read off.
    Differences are limited to the model's `limit`: the composites are too few to vouch for more.
    """
    m = model or stored()
    if motion not in MOTIONS:
        raise ValueError(f"unknown motion {motion!r}")
    x = (inputs_of(measured) - np.array(m.mean)) / np.array(m.scale)
    case = dict(zip(CASES, np.array(m.weights) @ np.clip(x, -4, 4) + np.array(m.bias), strict=True))
    out = {}
    for h in HYPOTHESES:
        c = CASE_OF[h]
        out[h] = float(case[c] + np.log(m.seen[c]) + np.log(m.motions[h][motion]))
    if within and motion == "shift":
        # Chance matches stretch in any way: a stretch tells the leaves and copies apart, and never adds to the whole of them.
        ratio = _shrink_log_ratio(measured["stretch"], m)
        out["rotary"] += min(ratio, 0.0)
        for steady in ("exact_copy", "slip"):
            out[steady] -= max(ratio, 0.0)
    top = max(out.values())
    return {h: max(v - top, -m.limit) for h, v in out.items()}


def _shrink_log_ratio(stretch: float, model: LikelihoodModel) -> float:
    """log p(stretch | shrink log-uniform over the model's range, either order) - log p(stretch | none), Gaussian error."""
    shrink = np.geomspace(*model.shrink, 24)
    sd = model.stretch_sd
    off = np.concatenate([stretch - shrink, stretch + shrink])
    log_some = np.logaddexp.reduce(-0.5 * (off / sd) ** 2) - np.log(len(off))
    return float(log_some + 0.5 * (stretch / sd) ** 2) if abs(stretch) < 8 * sd else 0.0

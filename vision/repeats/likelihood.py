"""How likely the measurements of a registered pair are under each way in which a figure can be seen twice.

Two questions are put to the measurements: is it a repeat or chance, and, of a repeat, is it an exact copy or another leaf of
the same wood. Each is answered by a straight line and by small trees, blended as pairs of authors held out asked for. The
motion and, on one sheet, the shrinking across the grain then divide the leaves into slip, book and rotary. Numbers live in
models/repeats.json, written by training.repeat_fit.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from vision.errors import ModelMismatch
from vision.repeats.repeat import HYPOTHESES, MOTIONS
from vision.repeats.residual_detail import RINGS
from vision.repeats.trees import Trees, parse_trees

FILE = Path(__file__).parents[1] / "models" / "repeats.json"
CASES: Final = ("copy", "leaf", "chance")
#: Which measured case a hypothesis belongs to.
CASE_OF: Final = {"exact_copy": "copy", "slip": "leaf", "book": "leaf", "rotary": "leaf", "coincidence": "chance"}


def _angle(value: float) -> float:
    return float(np.arctanh(np.clip(value, -0.5, 0.995)))


def _log(value: float, low: float, high: float) -> float:
    return float(np.log(np.clip(value, low, high)))


def _signed_log(value: float, unit: float) -> float:
    """Straight within `unit`, logarithmic beyond, the sign kept: noise-free variances may come out below zero."""
    return float(np.sign(value) * np.log1p(abs(value) / unit))


def _renewed(name: str, m: Mapping[str, float]) -> float:
    return _signed_log(m[name], 0.01)


def _figured(name: str, m: Mapping[str, float]) -> float:
    return float(np.clip(m[name], -0.5, 1.5))


#: Name of a model input and how it follows from `Repeat.measured`.
INPUTS: Final[dict[str, Callable[[Mapping[str, float]], float]]] = {
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
    "standing": lambda m: _log(m["standing"], 1.0, 60.0),
    "slip_across_near": lambda m: _signed_log(m["slip_across_near"], 0.05),
    "slip_across_far": lambda m: _signed_log(m["slip_across_far"], 0.05),
    "slip_along_near": lambda m: _signed_log(m["slip_along_near"], 0.05),
    "slip_along_far": lambda m: _signed_log(m["slip_along_far"], 0.05),
    "slip_plain": lambda m: _signed_log(m["slip_plain"], 0.05),
    "shared_across": lambda m: _angle(m["shared_across"]),
    "shared_along": lambda m: _angle(m["shared_along"]),
    "warp_explains": lambda m: _signed_log(m["warp_explains"], 0.01),
    **{f"renewed_{k}": partial(_renewed, f"renewed_{k}") for k in RINGS},
    **{f"figured_{k}": partial(_figured, f"figured_{k}") for k in RINGS},
    "frame_px": lambda m: _log(m["frame_px"], 60.0, 600.0),
}
#: The questions put to the measurements, and the cases on each side of them.
QUESTIONS: Final = ("repeat", "copy")


@dataclass(frozen=True, eq=False)
class Question:
    """Log likelihood ratio of yes against no. `weights`: (inputs,) of the scaled inputs, with `bias`; `trees`: of the inputs as
    they are; `blend`: a constant, the share of the line and the share of the trees."""

    weights: NDArray[np.float64]
    bias: float
    trees: Trees
    blend: tuple[float, float, float]

    def log_ratio(self, raw: NDArray[np.float64], scaled: NDArray[np.float64]) -> float:
        """The answer for (inputs,) as they are and scaled."""
        line = float(self.weights @ np.clip(scaled, -4, 4)) + self.bias
        return self.blend[0] + self.blend[1] * line + self.blend[2] * self.trees.score(raw)


@dataclass(frozen=True, eq=False)
class LikelihoodModel:
    """`mean`, `scale`: (inputs,); `questions`: over QUESTIONS, with copies and leaves weighing the same; `seen`: chance that
    the votes lead to a registration at all, by case; `motions`: chance of each motion by hypothesis; `limit`: log ratio that
    is not exceeded; `accept`: least log odds of a repeat."""

    mean: NDArray[np.float64]
    scale: NDArray[np.float64]
    questions: Mapping[str, Question]
    seen: Mapping[str, float]
    motions: Mapping[str, Mapping[str, float]]
    shrink: tuple[float, float]
    stretch_sd: float
    limit: float
    accept: float
    along_sd_most: float

    def answers(self, measured: Mapping[str, float]) -> tuple[float, float]:
        """(log ratio of repeat to chance, log ratio of copy to leaf) of a set of measurements."""
        raw = inputs_of(measured)
        scaled = (raw - self.mean) / self.scale
        repeat, copy = (self.questions[q].log_ratio(raw, scaled) for q in QUESTIONS)
        return repeat, copy


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
    questions = {}
    for name in QUESTIONS:
        q = d["questions"][name]
        blend = (float(q["blend"]["constant"]), float(q["blend"]["line"]), float(q["blend"]["trees"]))
        trees = parse_trees(q["trees"])
        if len(trees.feature) and trees.feature.max() >= len(INPUTS):
            raise ValueError("a tree of repeats.json asks for an input that is not measured")
        questions[name] = Question(_column(inputs, name), float(q["bias"]), trees, blend)
    return LikelihoodModel(
        mean=_column(inputs, "mean"), scale=_column(inputs, "scale"), questions=questions, seen=d["seen"], motions=d["motions"],
        shrink=tuple(d["rotary_shrink"]), stretch_sd=float(d["stretch_sd"]), limit=float(d["limit"]), accept=float(d["accept"]),
        along_sd_most=float(d["along_sd_most"]))


def _column(inputs: list[dict[str, float]], key: str) -> NDArray[np.float64]:
    values = np.array([float(i[key]) for i in inputs])
    if not np.isfinite(values).all():
        raise ValueError("repeats.json holds numbers that are not finite")
    return values


def inputs_of(measured: Mapping[str, float]) -> NDArray[np.float64]:
    """(inputs,) vector of a set of measurements, unscaled."""
    return np.array([f(measured) for f in INPUTS.values()])


def log_likelihoods(measured: Mapping[str, float], motion: str, *, within: bool, model: LikelihoodModel | None = None,
                    ) -> dict[str, float]:
    """log p(measurements, motion | hypothesis) up to a common constant, over HYPOTHESES.

    `within`: both showings lie on one sheet, so that the shrinking of a peeled sheet's pitch can be read off.
    """
    m = model or stored()
    return hypotheses(*m.answers(measured), motion, measured["stretch"] if within else None, m)


def hypotheses(repeat: float, copy: float, motion: str, stretch: float | None, model: LikelihoodModel) -> dict[str, float]:
    """The same from the answers to both questions; `stretch` is None between sheets, where it cannot be read.

    Differences never reach the model's `limit`: the composites are too few to vouch for more. They level off rather than
    being cut, so that the clearer of two clear cases still ranks first.
    """
    if motion not in MOTIONS:
        raise ValueError(f"unknown motion {motion!r}")
    case = {"copy": repeat + np.log(2) - np.logaddexp(0, -copy), "leaf": repeat + np.log(2) - np.logaddexp(0, copy),
            "chance": 0.0}
    out = {h: float(case[c] + np.log(model.seen[c]) + np.log(model.motions[h][motion])) for h, c in CASE_OF.items()}
    if stretch is not None and motion == "shift":
        # Chance matches stretch in any way: a stretch tells the leaves and copies apart, and never adds to the whole of them.
        ratio = _shrink_log_ratio(stretch, model)
        out["rotary"] += min(ratio, 0.0)
        for steady in ("exact_copy", "slip"):
            out[steady] -= max(ratio, 0.0)
    top = max(out.values())
    return {h: -levelled_off(top - out[h], model.limit) for h in HYPOTHESES}


def levelled_off(gap: float, limit: float) -> float:
    """`gap` (>= 0) where it is well under `limit`, towards `limit` beyond: gap / (1 + (gap / limit)^4)^(1/4)."""
    return float(gap / (1 + (gap / limit) ** 4) ** 0.25)


def _shrink_log_ratio(stretch: float, model: LikelihoodModel) -> float:
    """log p(stretch | shrink log-uniform over the model's range, either order) - log p(stretch | none), Gaussian error."""
    shrink = np.geomspace(*model.shrink, 24)
    sd = model.stretch_sd
    off = np.concatenate([stretch - shrink, stretch + shrink])
    log_some = np.logaddexp.reduce(-0.5 * (off / sd) ** 2) - np.log(len(off))
    return float(log_some + 0.5 * (stretch / sd) ** 2) if abs(stretch) < 8 * sd else 0.0

"""The pictures of docs/accuracy.md: reliability with counts and intervals over specimens, risk against coverage."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from training.baselines import GRID, curve, draws
from training.experts import Array
from training.figures import Scored, group_weight
from training.plots import Chart, sheet
from vision.inference.joint import FACES

BINS = tuple(round(0.1 * k, 1) for k in range(11))
ROUNDS = 300
#: Bins that hold less than this many specimens are drawn small and get no interval.
LEAST = 5.0


def binned(
    said: Array, hit: NDArray[np.bool_], weight: Array, bins: tuple[float, ...] = BINS
) -> tuple[Array, Array, Array]:
    """Weight, mean stated probability and share that came true, of each bin; nan where it is empty."""
    at = np.clip(np.searchsorted(bins, said, side="right") - 1, 0, len(bins) - 2)
    w, p, h = (np.bincount(at, weights=v, minlength=len(bins) - 1) for v in (weight, weight * said, weight * hit))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(w, np.float64), p / w, h / w


def _stated(s: Scored) -> dict[str, tuple[Array, NDArray[np.bool_], NDArray[np.intp]]]:
    """Name -> (stated probabilities, came true, row of each) on labelled faces: of the leading face, and of every class."""
    rows = np.flatnonzero((s.true_face >= 0) & (s.true_view == 0))
    face, y = s.face[rows], s.true_face[rows]
    classes = np.arange(len(FACES))
    return {
        "The leading face": (face.max(axis=1), face.argmax(axis=1) == y, rows),
        "Every class": (face.ravel(), (classes == y[:, None]).ravel(), np.repeat(rows, len(FACES))),
    }


def calibration_error(s: Scored, times: Array | None = None) -> dict[str, float]:
    """Expected calibration error of each class: mean over specimens of |stated - came true| in ten bins."""
    rows = (s.true_face >= 0) & (s.true_view == 0)
    at = np.unique(s.specimen, return_inverse=True)[1]
    w = group_weight(at, rows, np.ones(len(at)) if times is None else times)[rows]
    out = {}
    for k, name in enumerate(FACES):
        weight, said, true = binned(s.face[rows, k], s.true_face[rows] == k, w)
        out[name] = float(np.nansum(weight * np.abs(said - true)) / weight.sum())
    return out


def reliability(s: Scored, what: str) -> str:
    """SVG: stated probability against how often it came true."""
    at = np.unique(s.specimen, return_inverse=True)[1]
    use = (s.true_face >= 0) & (s.true_view == 0)
    specimens = len(np.unique(s.specimen[use]))
    charts = []
    for title, (said, hit, rows) in _stated(s).items():
        weight = group_weight(at, use, np.ones(len(at)))
        count, x, y = binned(said, hit, weight[rows])
        found = np.array([binned(said, hit, group_weight(at, use, t)[rows])[2] for t in draws(s.specimen, ROUNDS, 0)])
        chart = Chart(title, "stated probability", "share that came true", (0, 1, 0.2), (0, 1, 0.2))
        for k in range(len(count)):
            chart.bar(BINS[k], BINS[k + 1], float(count[k] / count.max()))
        chart.line([(0, 0), (1, 1)], "ideal")
        known = [k for k in range(len(count)) if count[k] > 0]
        chart.line([(float(x[k]), float(y[k])) for k in known if count[k] >= LEAST], "ours")
        for k in known:
            many = count[k] >= LEAST
            if many:
                low, high = np.nanquantile(found[:, k], [0.025, 0.975])
                chart.whisker(float(x[k]), float(low), float(high), "ours")
            chart.dot((float(x[k]), float(y[k])), "ours", 4.5 if many else 2.5)
            chart.note((BINS[k] + 0.05, 0), f"{count[k]:.0f}", up=float(count[k] / count.max()) * 34 + 3)
        charts.append(chart)
    legend = [("ours", f"{what}: {specimens} specimens; upright lines: 95 % intervals over specimens"),
              ("ideal", "true to its word"),
              ("bar", f"specimens (right: specimens times classes) with that probability; small dots: fewer than {LEAST:.0f}")]
    return sheet(charts, legend, f"Reliability of the probabilities of faces, {what}")


def risk(ours: Scored, baselines: Mapping[str, tuple[str, Scored]], what: str) -> str:
    """SVG: share wrong among the most certain panels, by the share answered. `baselines`: series -> (words, answers)."""
    use = (ours.true_face >= 0) & (ours.true_view == 0)
    at = np.unique(ours.specimen, return_inverse=True)[1]
    all_curves = {"ours": curve(ours), **{k: curve(s) for k, (_, s) in baselines.items()}}
    top = min(1.0, float(np.ceil(max(c.max() for c in all_curves.values()) * 10 + 0.3) / 10))
    chart = Chart(what[0].upper() + what[1:], "coverage: share of specimens answered, most certain first",
                  "share of answers that are wrong", (0, 1, 0.2), (0, top, 0.1), width=640, height=400)
    found = np.array([curve(ours, t, at) for t in draws(ours.specimen, ROUNDS, 0)])
    low, high = np.quantile(found, [0.025, 0.975], axis=0)
    chart.band([*zip(GRID.tolist(), np.clip(low, 0, top).tolist(), strict=True)],
               [*zip(GRID.tolist(), np.clip(high, 0, top).tolist(), strict=True)], "ours")
    for series, values in all_curves.items():
        chart.line([*zip(GRID.tolist(), np.clip(values, 0, top).tolist(), strict=True)], series)
    weight = group_weight(at, use, np.ones(len(at)))
    decided = weight * ours.decided
    legend = [("ours", "ours; shaded: 95 % interval over specimens")]
    if decided.sum() > 0:
        wrong = float(decided @ (ours.face.argmax(axis=1) != ours.true_face) / decided.sum())
        point = (float(decided.sum() / weight.sum()), min(wrong, top))
        chart.dot(point, "ours", 6)
        chart.note(point, "what it decides by its own rule", anchor="start", up=-4, right=11)
    legend += [(series, words) for series, (words, _) in baselines.items()]
    return sheet([chart], legend, f"Risk against coverage of the leading face, {what}")

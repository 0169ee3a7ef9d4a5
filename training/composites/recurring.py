"""Figure that recurs on one panel: our search against autocorrelation and against SIFT matched with itself."""

from __future__ import annotations

import time
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites.camera import DAMAGES
from training.composites.figures import Figure
from training.composites.sheets import RecurringSheet, make_sheet
from training.composites.statistics import group_bootstrap, mean_of, threshold_at, wilson
from training.composites.trials import alike, by_turns
from training.repeat_baselines import band, grey
from vision.repeats.sheet import SHEET_PX, Sheet
from vision.resize import fit_within, resize

METHODS = ("ours", "autocorrelation", "sift")
#: An offset is right within this share of the true one (or of a whole multiple of it).
RIGHT = 0.03
#: Offsets below this share of the longer side are figure that looks like its neighbourhood, not a repeat.
LEAST = 0.08
NOT_FOUND = -1e9

Row = dict[str, Any]
Job = tuple[str, str, str, int, int]


def jobs(tune: list[Figure], report: list[Figure], each: int) -> list[Job]:
    """(part, kind, damage, figure, seed): `each` printed panels a damage, two thirds as many rotary, twice as many plain."""
    rows, out, seed = tuple(DAMAGES), [], 50000
    rng = np.random.default_rng(21)
    for part, kind, n in (("report", "print", each), ("report", "rotary", max(1, 2 * each // 3)), ("report", "none", 2 * each),
                          ("tune", "none", each)):
        firsts = by_turns(report if part == "report" else tune, n * len(rows), rng)
        out += [(part, kind, rows[k % len(rows)], firsts[k], seed + k) for k in range(n * len(rows))]
        seed += 10000
    return out


def measure_sheet(job: Job, figures: list[Figure]) -> Row:
    """All methods on one panel."""
    part, kind, damage, first, seed = job
    rng = np.random.default_rng([seed, 3])
    truth = make_sheet([figures[first], figures[alike(figures, first)[0]]], kind, rng, damage)
    h, w = truth.pixels.shape[:2]
    width, height = fit_within(w, h, max_side=SHEET_PX)
    pixels = resize(truth.pixels, width, height)
    row: Row = {"part": part, "kind": kind, "damage": damage, "group": truth.group, "shrink": truth.shrink, "times": truth.times}
    for method, search in (("ours", _ours), ("autocorrelation", autocorrelation), ("sift", sift_with_itself)):
        start = time.perf_counter()
        score, offset, more = search(pixels)
        row[method], row[f"{method}_s"] = score, time.perf_counter() - start
        row[f"{method}_error"] = _error(truth, offset, width / w)
        row.update(more)
    return row


def _error(truth: RecurringSheet, offset: tuple[float, float] | None, scale: float) -> float | None:
    """Distance of a found offset from the nearest whole multiple (1 to 4) of the true one, share of that multiple."""
    if truth.offset is None or offset is None:
        return None
    true, got = np.array(truth.offset) * scale, np.array(offset)
    errors = [float(np.hypot(*(s * got - m * true)) / np.hypot(*(m * true))) for m in range(1, 5) for s in (1, -1)]
    return min(errors)


def _ours(pixels: NDArray[np.uint8]) -> tuple[float, tuple[float, float] | None, Row]:
    from vision.repeats.find import find_repeats

    h, w = pixels.shape[:2]
    found = [r for r in find_repeats([Sheet("photo", "a", pixels, np.ones((h, w), bool), np.eye(3))])
             if r.within and r.motion == "shift" and r.offset is not None]
    if not found:
        return NOT_FOUND, None, {"named": None, "period": None}
    best = max(found, key=lambda r: r.log_odds)
    named = max(best.log_likelihoods, key=lambda k: best.log_likelihoods[k])
    return best.log_odds, best.offset, {"named": named, "period": best.period}


def autocorrelation(pixels: NDArray[np.uint8]) -> tuple[float, tuple[float, float] | None, Row]:
    """Highest peak of the autocorrelation (FFT, zero padded, over the root of the shared area) beyond `LEAST`; in units of
    its own spread there."""
    from scipy import fft

    b = band(pixels)
    h, w = b.shape
    size = (cv2.getOptimalDFTSize(2 * h), cv2.getOptimalDFTSize(2 * w))
    power = np.abs(fft.rfft2(b, size)) ** 2
    shared = fft.irfft2(np.abs(fft.rfft2(np.ones_like(b), size)) ** 2, size)
    dy = np.minimum(np.arange(size[0]), size[0] - np.arange(size[0]))[:, None]
    dx = np.minimum(np.arange(size[1]), size[1] - np.arange(size[1]))[None, :]
    fit = (shared > 0.15 * h * w) & (np.maximum(dy, dx) > LEAST * max(h, w))
    value = np.where(fit, fft.irfft2(power, size) / np.sqrt(np.maximum(shared, 1)), 0)
    spread = float(np.sqrt(np.mean(value[fit] ** 2)))
    row, col = np.unravel_index(int(np.argmax(value)), value.shape)
    y, x = (int(row) if row <= size[0] // 2 else int(row) - size[0]), (int(col) if col <= size[1] // 2 else int(col) - size[1])
    return float(value[row, col]) / max(spread, 1e-9), (float(x), float(y)), {}


def sift_with_itself(pixels: NDArray[np.uint8]) -> tuple[float, tuple[float, float] | None, Row]:
    """Votes for one shift: each SIFT feature with its best other place beyond `LEAST`, ratio 0.8 to the next place."""
    sift = cv2.SIFT_create(nfeatures=1500, contrastThreshold=0.01)  # type: ignore[attr-defined]
    points, words = sift.detectAndCompute(grey(pixels), None)
    if words is None or len(words) < 4:
        return 0.0, None, {}
    p = np.array([k.pt for k in points])
    least = LEAST * max(pixels.shape[:2])
    moves = []
    for i, group in enumerate(cv2.BFMatcher(cv2.NORM_L2).knnMatch(words, words, k=6)):
        far = [m for m in group if np.hypot(*(p[m.trainIdx] - p[i])) > least]
        if len(far) >= 2 and far[0].distance < 0.8 * far[1].distance:
            move = p[far[0].trainIdx] - p[i]
            moves.append(move if (move[0], move[1]) > (0, 0) else -move)
    if len(moves) < 2:
        return 0.0, None, {}
    m = np.array(moves)
    near = np.hypot(*(m[:, None] - m[None]).transpose(2, 0, 1)) < 4.0
    best = int(near.sum(axis=1).argmax())
    offset = m[near[best]].mean(axis=0)
    return float(near[best].sum()), (float(offset[0]), float(offset[1])), {}


def summarise(rows: list[Row]) -> Row:
    """Rates of recurring figure found, false alarms, errors of the period and what our search called it."""
    out: Row = {"found": {}, "named": {}}
    plain = [r for r in rows if r["kind"] == "none" and r["part"] == "report"]
    for method in METHODS:
        tuned = threshold_at(np.array([r[method] for r in rows if r["kind"] == "none" and r["part"] == "tune"], float), 0.01)
        alarms = sum(r[method] > tuned for r in plain)
        out["found"][method] = {"false_alarms": alarms, "of": len(plain), "interval": wilson(alarms, len(plain))}
        for kind in ("print", "rotary"):
            mine = [r for r in rows if r["kind"] == kind]
            right = np.array([r[method] > tuned and r[f"{method}_error"] is not None and r[f"{method}_error"] <= RIGHT
                              for r in mine], float)
            errors = [r[f"{method}_error"] for r, g in zip(mine, right, strict=True) if g]
            out["found"][method][kind] = {"n": len(mine), "rate": float(right.mean()),
                                          "interval": group_bootstrap([r["group"] for r in mine], mean_of(right)),
                                          "error": float(np.median(errors)) if errors else None}
    for kind in ("print", "rotary", "none"):
        for r in rows:
            if r["kind"] == kind and r["part"] == "report":
                cell = out["named"].setdefault(kind, {})
                cell[r["named"] or "not found"] = cell.get(r["named"] or "not found", 0) + 1
    return out


def text(s: Row) -> str:
    """The summary as lines for the terminal."""
    lines = ["Figure recurring on one panel (right within 3 % of the period), threshold at 1% false alarms from other authors"]
    for method, v in s["found"].items():
        cells = [f"{k} {v[k]['rate']:.2f} ({v[k]['interval'][0]:.2f}-{v[k]['interval'][1]:.2f}) of {v[k]['n']}, period off by "
                 + ("-" if v[k]["error"] is None else f"{v[k]['error']:.2%}") for k in ("print", "rotary")]
        lines.append(f"  {method:16s} " + "; ".join(cells) + f"; false alarms {v['false_alarms']} of {v['of']} "
                     f"({v['interval'][0]:.3f}-{v['interval'][1]:.3f})")
    lines += [f"  {k} called: " + ", ".join(f"{n} {c}" for n, c in sorted(v.items(), key=lambda t: -t[1]))
              for k, v in s["named"].items()]
    return "\n".join(lines)

"""The ticks of a ruler or tape: equal steps along a line, seen in perspective.

Along lines parallel to the ruler's edge the brightness is read; where ticks cross, it swings with their pitch. The phase of
that swing is followed along the line, piece by piece, and a one-dimensional projective map is fitted to it, so that ticks
count true though they shrink with distance. The unit is named by the user or told by which ticks are longer: every fifth
and tenth on a millimetre scale, every fourth, eighth and sixteenth on an inch scale. One line gives lengths along itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.millimetres import Scale
from vision.resize import fit_within, resize
from vision.scale.segments import segments

Array = NDArray[np.float64]
WORKING_PIXELS = 800_000
TICK_MM = {"mm": 1.0, "inch": 25.4 / 16}
#: Pitch of ticks that can be followed, px; fewest ticks; least share of the swing's power at one pitch.
MIN_PITCH, MAX_PITCH, MIN_TICKS, MIN_SHARE = 2.6, 60.0, 16, 0.22
#: Lines tried when none is given, and how far to either side ticks are looked for, as a share of the line's length.
MOST_LINES, MOST_STRETCHES, ASIDE = 20, 4, 0.09
#: A unit is told from tick lengths when its pattern stands out this much (t statistic) and beats the other by the factor.
TOLD_T, TOLD_FACTOR = 5.0, 1.35
#: Least swing of the ticks, grey levels; how far ticks may lean against their line, px along for each px across.
MIN_SWING = 4.0
LEANS = np.linspace(-0.6, 0.6, 7)
RULER_SHARE = 0.0015


@dataclass(frozen=True, eq=False)
class Ticks:
    """Ticks followed along a line. `start`, `end`: photo px of the stretch; `fit`: (a, b, c) of count = (a s + b) / (c s + 1),
    s px from `start`; `covariance` of it; `rms` of the count; `strip` (rows, px) darkness, with `row` the one followed."""

    start: Array
    end: Array
    fit: Array
    covariance: Array
    rms: float
    strip: Array
    row: int
    first: int

    @property
    def count(self) -> float:
        """Ticks between the two ends."""
        s = float(np.hypot(*(self.end - self.start)))
        return abs(_count(self.fit, s) - _count(self.fit, 0.0))


def find_ruler(
    photo: NDArray[np.uint8], *, line: tuple[tuple[float, float], tuple[float, float]] | None = None, unit: str | None = None,
    focal_px: float | None = None,
) -> Scale | None:
    """Scale along a ruler's ticks, or None. `line`: two photo points along the ticks; `unit`: 'mm', 'inch' or None (told from
    the ticks; None is returned when it cannot be told). `focal_px` is not needed: the ticks carry their own perspective."""
    if unit is not None and unit not in TICK_MM:
        raise ValueError(f"unknown unit {unit!r}")
    lines = [np.array(line, dtype=np.float64)] if line is not None else _long_lines(photo)
    found = [t for t in (followed(photo, ends[0], ends[1]) for ends in lines) if t is not None]
    # longest stretches first; one whose ticks differ in length as a scale's do is surer than one that only repeats
    found.sort(key=lambda t: -t.count)
    best: Ticks | None = None
    for ticks in found[:MOST_STRETCHES]:
        longer = _longer(photo, ticks)
        told = told_unit(longer)
        if told is not None and unit in (None, told):
            return _scale(longer, told, unit is not None, told)
        if best is None or longer.count > best.count:
            best = longer
    if best is None or unit is None:
        return None
    return _scale(best, unit, True, told_unit(best))


def _longer(photo: NDArray[np.uint8], ticks: Ticks) -> Ticks:
    """The ticks followed beyond the piece of edge they were found on, as far as they go."""
    for _ in range(3):
        way = ticks.end - ticks.start
        more = followed(photo, ticks.start - 0.7 * way, ticks.end + 0.7 * way)
        if more is None or more.count < 1.05 * ticks.count:
            break
        ticks = more
    return ticks


def _long_lines(photo: NDArray[np.uint8]) -> list[Array]:
    """Ends of long straight edges, strongest first, photo px; no two on one line."""
    h, w = photo.shape[:2]
    width, height = fit_within(w, h, max_pixels=WORKING_PIXELS)
    found = segments(resize(photo, width, height))
    kept: list[Array] = []
    for seg in found:
        a, b = seg.reshape(2, 2)
        length = np.hypot(*(b - a))
        if length < 0.08 * max(width, height):
            continue
        if len(kept) == MOST_LINES:
            break
        normal = np.array([a[1] - b[1], b[0] - a[0]]) / length
        if all(np.abs((k - a) @ normal).max() > 0.02 * length for k in kept):
            kept.append(np.array([a, b]))
    share = np.array([w / width, h / height])
    return [(k + 0.5) * share - 0.5 for k in kept]


def followed(photo: NDArray[np.uint8], a: Array, b: Array) -> Ticks | None:
    """Ticks along the line from `a` to `b` and up to 0.09 of its length beside it, or None."""
    length = float(np.hypot(*(b - a)))
    if length < MIN_TICKS * MIN_PITCH:
        return None
    way = (b - a) / length
    normal = np.array([-way[1], way[0]])
    aside = float(np.clip(ASIDE * length, 6, 90))
    rows = np.arange(-aside, aside + 0.5, 1.0)
    s = np.arange(0.0, length, 0.5)
    at = a + s[None, :, None] * way + rows[:, None, None] * normal
    grey = cv2.cvtColor(photo, cv2.COLOR_RGB2GRAY)
    strip = cv2.remap(grey, at[..., 0].astype(np.float32), at[..., 1].astype(np.float32), cv2.INTER_LINEAR,
                      borderMode=cv2.BORDER_REPLICATE).astype(np.float64)
    start = _start(strip)
    if start is None:
        return None
    row, centre, pitch = start
    signal = strip[max(0, row - 1) : row + 2].mean(axis=0)
    dark = _flat(signal, pitch)
    places, phases = _phases(dark, centre, pitch)
    if len(places) < 6:
        return None
    fit, covariance, rms = _projective(places / 2, phases)
    low, high = float(places.min()) / 2, float(places.max()) / 2
    if not np.isfinite(fit).all() or rms > 0.12 or abs(_count(fit, high) - _count(fit, low)) < MIN_TICKS:
        return None
    shifted = _shifted(fit, low)  # count from the stretch's own start
    jacobian = np.column_stack([(_shifted(fit + d, low) - _shifted(fit - d, low)) / (2 * abs(d).sum())
                                for d in np.diag(np.maximum(np.abs(fit), 1e-3) * 1e-5)])
    return Ticks(a + low * way + rows[row] * normal, a + high * way + rows[row] * normal, shifted,
                 jacobian @ covariance @ jacobian.T, rms, 255 - strip, row, int(places.min()))


def _flat(signal: Array, pitch: float) -> Array:
    """Darkness with what is slower than three pitches taken out, of unit spread."""
    wide = max(3, int(6 * pitch) | 1)
    slow = cv2.blur(signal[None], (wide, 1), borderType=cv2.BORDER_REFLECT)[0]
    dark = slow - signal
    spread = np.sqrt(np.maximum(cv2.blur((dark**2)[None], (wide * 2 + 1, 1), borderType=cv2.BORDER_REFLECT)[0], 0)) + 1.0
    return np.asarray(dark / spread, dtype=np.float64)


def _start(strip: Array) -> tuple[int, int, float] | None:
    """(row, place, pitch) in half px where ticks are plainest: one pitch holds most of the power of a window."""
    n = strip.shape[1]
    best: list[tuple[float, int, int, float]] = []
    for window in {min(n, 192), min(n, 384), min(n, 768)}:
        taper = np.hanning(window)
        frequencies = np.fft.rfftfreq(4 * window)
        usable = (frequencies >= 1 / (2 * MAX_PITCH)) & (frequencies <= 1 / (2 * MIN_PITCH)) & (frequencies >= 6.0 / window)
        if not usable.any():
            continue
        for left in np.linspace(0, n - window, max(1, min(6, n // (window // 2)))).astype(int):
            piece = strip[:, left : left + window]
            piece = (piece - piece.mean(axis=1, keepdims=True)) * taper
            power = np.abs(np.fft.rfft(piece, 4 * window, axis=1)) ** 2
            slow = frequencies > 2.5 / window
            total = power[:, slow].sum(axis=1) + 1e-9
            peak = np.argmax(np.where(usable, power, 0), axis=1)
            near = np.abs(np.arange(power.shape[1])[None] - peak[:, None]) <= 6
            second = np.abs(np.arange(power.shape[1])[None] - 2 * peak[:, None]) <= 8
            share = (power * (near | second)).sum(axis=1) / total
            swing = np.sqrt(power.max(axis=1)) / (window / 4)
            share = np.where(swing > MIN_SWING, share, 0)
            share[peak == 0] = 0.0  # no pitch at all
            for row in np.argsort(-share)[:3]:
                if peak[row] == 0:
                    continue
                best.append((float(share[row]), int(row), int(left + window // 2), float(1 / frequencies[peak[row]])))
    best = [c for c in best if c[0] >= MIN_SHARE]
    if not best:
        return None
    top = max(best)
    finer = [c for c in best if c[0] >= 0.6 * top[0] and c[3] < 0.6 * top[3]]
    chosen = max(finer) if finer else top
    return chosen[1], chosen[2], chosen[3]


def _phases(dark: Array, centre: int, pitch: float) -> tuple[Array, Array]:
    """(places in half px, tick counts) from pieces six pitches long, followed both ways until the swing is lost."""
    found: dict[int, float] = {}
    n = len(dark)
    for direction in (1, -1):
        place, frequency, step = centre, 1 / pitch, 0
        count: float | None = None
        while True:
            half = round(3 / frequency)
            if place - half < 0 or place + half >= n:
                break
            piece = dark[place - half : place + half + 1]
            local = np.arange(-half, half + 1)
            taper = np.hanning(2 * half + 1)
            trial = frequency * np.linspace(0.94, 1.06, 13)
            swings = np.exp(-2j * np.pi * trial[:, None] * local) @ (piece * taper)
            k = int(np.argmax(np.abs(swings)))
            held = float(np.abs(swings[k]) ** 2 / ((piece**2 * taper).sum() * taper.sum() + 1e-9))
            if held < 0.12:
                break
            frequency = 0.7 * frequency + 0.3 * float(trial[k])
            turn = float(np.angle(np.exp(-2j * np.pi * frequency * local) @ (piece * taper)) / (2 * np.pi))
            if count is None:
                count = found.get(place, turn)
            else:
                expected = count + direction * step * frequency
                count = turn + round(expected - turn)
                if abs(count - expected) > 0.3:
                    break
            found[place] = count
            step = max(2, round(1 / frequency))
            place += direction * step
    places = np.array(sorted(found), dtype=np.float64)
    return places, np.array([found[int(p)] for p in places])


def _projective(s: Array, count: Array) -> tuple[Array, Array, float]:
    """(a, b, c), covariance and rms of count = (a s + b) / (c s + 1), by reweighted linear least squares."""
    middle, size = float(s.mean()), float(np.ptp(s)) / 2
    x = (s - middle) / size
    weight = np.ones(len(s))
    use = np.ones(len(s), bool)
    fit = np.zeros(3)
    off = np.zeros(len(s))
    for _ in range(6):
        design = np.c_[x, np.ones_like(x), -count * x] * weight[:, None]
        fit = np.linalg.lstsq(design[use], (count * weight)[use], rcond=None)[0]
        off = (fit[0] * x + fit[1]) / (fit[2] * x + 1) - count
        spread = 1.4826 * float(np.median(np.abs(off[use]))) + 1e-4
        use = np.abs(off) < 4 * spread + 0.01
        weight = 1 / (fit[2] * x + 1)
    rms = float(np.sqrt(np.mean(off[use] ** 2)))
    den = fit[2] * x + 1
    jacobian = np.c_[x / den, 1 / den, -(fit[0] * x + fit[1]) * x / den**2]
    # pieces overlap six-fold, and tick marks are drawn to a few hundredths
    covariance = np.linalg.pinv(jacobian[use].T @ jacobian[use]) * max(rms, 0.015) ** 2 * 6
    # back to s in px: x = (s - middle) / size
    back = _rescaled(fit, middle, size)
    steps = np.diag(np.maximum(np.abs(fit), 1e-3) * 1e-5)
    turn = np.column_stack([
        (_rescaled(fit + d, middle, size) - _rescaled(fit - d, middle, size)) / (2 * abs(d).sum()) for d in steps
    ])
    return back, turn @ covariance @ turn.T, rms


def _rescaled(fit: Array, middle: float, size: float) -> Array:
    a, b, c = fit
    lead = 1 - c * middle / size
    return np.array([a / size / lead, (b - a * middle / size) / lead, c / size / lead])


def _shifted(fit: Array, by: float) -> Array:
    """The same map with s counted from `by`."""
    a, b, c = fit
    lead = c * by + 1
    return np.array([a / lead, (a * by + b) / lead, c / lead])


def _count(fit: Array, s: float) -> float:
    return float((fit[0] * s + fit[1]) / (fit[2] * s + 1))


def told_unit(ticks: Ticks) -> str | None:
    """'mm' or 'inch' by which ticks are longer than their neighbours, None when it cannot be told."""
    length = float(np.hypot(*(ticks.end - ticks.start)))
    low, high = sorted((_count(ticks.fit, 0.0), _count(ticks.fit, length)))
    numbers = np.arange(np.ceil(low), np.floor(high) + 1)
    a, b, c = ticks.fit
    s = (numbers - b) / (a - numbers * c)
    column = ticks.first + 2 * s
    good = (column >= 1) & (column < ticks.strip.shape[1] - 2)
    numbers, column = numbers[good], column[good]
    if len(numbers) < MIN_TICKS:
        return None
    last = ticks.strip.shape[1] - 1
    between = np.gradient(column) / 2
    rows = np.arange(len(ticks.strip))[:, None]
    best = dict.fromkeys((4, 5, 8, 10), 0.0)
    # seen at a slant, ticks lean against the line: a step along it for every step across
    for lean in LEANS:
        k = np.round(column[None] + 2 * lean * (rows - ticks.row)).astype(int)
        at_tick = np.max([ticks.strip[rows, np.clip(k + d, 0, last)] for d in (-1, 0, 1)], axis=0)
        dark = at_tick - ticks.strip[rows, np.clip(k + np.round(between).astype(int)[None], 0, last)]
        for m in best:
            best[m] = max(best[m], _pattern(dark, numbers.astype(int), m))
    metric, imperial = max(best[5], best[10]), max(best[4], best[8])
    if metric > TOLD_T and metric > TOLD_FACTOR * imperial:
        return "mm"
    if imperial > TOLD_T and imperial > TOLD_FACTOR * metric:
        return "inch"
    return None


def _pattern(dark: Array, numbers: NDArray[np.int_], modulus: int) -> float:
    """Largest t statistic, over rows and residues, of every `modulus`-th tick being darker than the others."""
    top = 0.0
    for residue in range(modulus):
        pick = numbers % modulus == residue
        if pick.sum() < 3 or (~pick).sum() < 6:
            continue
        one, rest = dark[:, pick], dark[:, ~pick]
        error = np.sqrt(one.var(axis=1, ddof=1) / one.shape[1] + rest.var(axis=1, ddof=1) / rest.shape[1]) + 0.8
        top = max(top, float(((one.mean(axis=1) - rest.mean(axis=1)) / error).max()))
    return top


def _scale(ticks: Ticks, unit: str, named: bool, told: str | None) -> Scale:
    mm = TICK_MM[unit]
    length = float(np.hypot(*(ticks.end - ticks.start)))

    def along(fit: Array) -> Array:
        sign = 1.0 if fit[0] - fit[1] * fit[2] >= 0 else -1.0
        return np.array([[sign * mm * fit[0] * length, sign * mm * fit[1]], [fit[2] * length, 1.0]])

    sizes, ways = np.linalg.eigh(ticks.covariance)
    moves = np.array([along(ticks.fit + ways[:, k] * np.sqrt(max(0.0, sizes[k]))) for k in range(3)])
    tick = "1 mm" if unit == "mm" else "1/16 inch"
    how = "as you said" if named else "told from which ticks are longer"
    words = (f"{ticks.count:.0f} ruler ticks of {tick} ({how}). Millimetres hold along that line only; other directions would "
             "need the surface's tilt, which a single line does not tell.")
    if named and told is not None and told != unit:
        look = "millimetres" if told == "mm" else "sixteenths of an inch"
        words += f" The lengths of the ticks look like {look}: check the unit."
    ends = tuple((float(x), float(y)) for x, y in (ticks.start, ticks.end))
    return Scale("ruler", ends, words, None, along(ticks.fit), moves, share=RULER_SHARE)

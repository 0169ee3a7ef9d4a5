"""Numbers of each band that may be a narrow side: its two lines, its tone and texture against the face and what lies beyond,
its ends against the panel's corners, and marks of a shadow (dark, of the ground's hue, soft towards one border).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from vision.edges.find_lines import ENDS, Floats, Lines, SideLayout, changes, read_at

Numbers = NDArray[np.float64]

_LINE: Final = ("size", "even", "same", "score", "sure", "sharp", "past", "past_least", "tilt", "light")
NAMES: Final = (
    *(f"arris_{n}" for n in _LINE), *(f"outer_{n}" for n in _LINE),
    "inside", "depth_px", "depth_rows", "depth_share", "taper", "off_outline", "outline_itself", "rank", "between", "beyond_line",
    "face_strip", "face_strip_light", "face_strip_hue", "strip_beyond", "strip_beyond_light", "strip_beyond_hue", "face_beyond",
    "face_beyond_hue", "strip_light", "beyond_light", "strip_chroma", "rough_face", "rough_strip", "rough_beyond", "ramp",
    "ramp_even", "tone_with_face", "tone_with_beyond", "waver", "end_least", "end_most", "end_face", "length_px", "length_share",
    "panel_share", "way_down", "way_aside", "corner_low", "corner_high",
    "turned", "view_known", "cut", "to_border", "groove", "outer_groove", "turned_depth")
#: What the whole outline adds to a side.
PANEL: Final = ("length_px", "length_share", "panel_share", "way_down", "way_aside", "corner_low", "corner_high",
                "turned", "view_known", "cut")


def _band(sums: Floats, first: NDArray[np.floating], last: NDArray[np.floating]) -> Floats:
    """Means (n, stretches[, 3]) between fractional rows (n, stretches); row k reaches from k - 0.5 to k + 0.5."""
    last = np.maximum(last, first + 0.5)
    total = read_at(sums, last + 0.5) - read_at(sums, first + 0.5)
    width = np.clip(last + 0.5, 0, len(sums) - 1.001) - np.clip(first + 0.5, 0, len(sums) - 1.001)
    width = np.maximum(width, 1e-3).astype(np.float32)
    return np.asarray(total / (width[..., None] if sums.ndim == 3 else width), np.float32)


def _norm(v: NDArray[np.floating]) -> NDArray[np.float64]:
    return np.asarray(np.sqrt((v.astype(np.float64) ** 2).sum(axis=-1)))


def _past_ends(tone: Floats) -> NDArray[np.float64]:
    """(2, n) change of colour from the last stretches to what lies past either corner of the side."""
    near = ((slice(0, ENDS), slice(ENDS, ENDS + 3)), (slice(-ENDS, None), slice(-ENDS - 3, -ENDS)))
    return np.stack([_norm(tone[:, past].mean(axis=1) - tone[:, last].mean(axis=1)) for past, last in near])


def _median(v: NDArray[np.floating]) -> NDArray[np.float64]:
    """Median over the second axis, STRETCHES (an even number) long."""
    ordered = np.sort(v, axis=1)
    half = v.shape[1] // 2
    return np.asarray(0.5 * (ordered[:, half - 1] + ordered[:, half]), np.float64)


def _with(a: Floats, b: Floats) -> NDArray[np.float64]:
    """Correlation along the side, drawn to nought where either hardly changes."""
    a, b = a - a.mean(axis=1, keepdims=True), b - b.mean(axis=1, keepdims=True)
    return np.asarray((a * b).mean(axis=1) / (np.sqrt((a * a).mean(axis=1) * (b * b).mean(axis=1)) + 2.0), np.float64)


def line_numbers(layout: SideLayout, lines: Lines) -> NDArray[np.float64]:
    """(lines, len(_LINE)) numbers of each line."""
    change = changes(layout.profiles)
    spread = layout.place - 0.5
    at = lines.row[:, None] + 0.5 + lines.tilt[:, None] * spread
    found = read_at(change, at)
    mid = found[:, ENDS:-ENDS]
    mean = mid.mean(axis=1)
    size = _norm(mean)
    unit = mean / np.maximum(size, 1e-6)[:, None]
    along = (found * unit[:, None]).sum(axis=2)
    inner = along[:, ENDS:-ENDS]
    beside = read_at(change, np.concatenate([at - 2.0, at + 2.0]))[:, ENDS:-ENDS].mean(axis=1)
    single = (beside.reshape(2, -1, 3) * unit).sum(axis=2)
    usual = float(np.median(lines.best)) + 0.3
    scores = lines.score
    past = np.concatenate([along[:, :ENDS], along[:, -ENDS:]], axis=1)
    ends = np.stack([past[:, :ENDS].mean(axis=1), past[:, ENDS:].mean(axis=1)])
    columns = (size, size / (inner.std(axis=1) + 1.0), (inner > 0.25 * size[:, None]).mean(axis=1), scores, scores / usual,
               single.max(axis=0) / np.maximum(size, 0.5), ends.max(axis=0) / (size + 1.0),
               ends.min(axis=0) / (size + 1.0), np.abs(lines.tilt), mean[:, 0])
    return np.stack(columns, axis=1).astype(np.float64)


def band_numbers(layout: SideLayout, lines: Lines, each: NDArray[np.float64], bands: NDArray[np.intp],
                 panel: dict[str, float]) -> Numbers:
    """(bands, len(NAMES)) numbers. `each`: `line_numbers`; `panel`: the numbers of PANEL (`sides_of` in find.py)."""
    i, j, inside = bands[:, 0], bands[:, 1], bands[:, 2].astype(bool)
    spread = layout.place - 0.5
    upper = lines.row[i][:, None] + lines.tilt[i][:, None] * spread
    lower = lines.row[j][:, None] + lines.tilt[j][:, None] * spread
    depth = lines.row[j] - lines.row[i]
    # (rows + 1, stretches, 4): running sums of the profiles and of the roughness
    sums = np.zeros((len(layout.profiles) + 1, len(layout.place), 4), np.float32)
    np.cumsum(layout.profiles, axis=0, out=sums[1:, :, :3])
    np.cumsum(layout.rough, axis=0, out=sums[1:, :, 3])
    wide = np.clip(0.8 * depth, 3.0, 14.0)[:, None]
    rim = np.where(depth >= 6, 1.0, 0.4)[:, None]
    half = 0.5 * (upper + lower)
    spans = {"face": (upper - 1 - wide, upper - 1), "strip": (upper + rim, lower - rim), "beyond": (lower + 1, lower + 1 + wide),
             "first": (upper + rim, half), "second": (half, lower - rim)}
    means = _band(sums, *(np.concatenate(ends) for ends in zip(*spans.values(), strict=True)))
    each_span = dict(zip(spans, np.split(means, len(spans)), strict=True))
    mid = slice(ENDS, -ENDS)
    tone = {k: each_span[k][..., :3] for k in ("face", "strip", "beyond")}
    rough = {k: each_span[k][:, mid, 3].mean(axis=1).astype(np.float64) for k in tone}
    mean = {k: _median(v[:, mid]) for k, v in tone.items()}
    ramp = (each_span["second"] - each_span["first"])[:, mid, 0]
    weaker = np.minimum(lines.score[i], lines.score[j]) + 0.3
    between, after = np.zeros(len(bands)), np.zeros(len(bands))
    for n in range(len(bands)):
        a, b = round(lines.row[i[n]] + 3), round(lines.row[j[n]] - 1)
        between[n] = lines.best[a:b].max(initial=0.0)
        after[n] = lines.best[b + 4:b + 4 + max(4, round(depth[n]))].max(initial=0.0)
    strip, face, beyond = tone["strip"], tone["face"], tone["beyond"]
    step = np.maximum(_norm(mean["strip"] - mean["beyond"]), 2.0)
    ends = _past_ends(strip) / step
    face_end = _past_ends(face).min(axis=0)
    fs, sb, fb = mean["face"] - mean["strip"], mean["strip"] - mean["beyond"], mean["face"] - mean["beyond"]
    lightness = _median(read_at(layout.profiles[..., 0], np.concatenate([upper, upper + 1, lower, lower + 1]))[:, mid])
    at_lines = np.split(lightness, 4)
    grooves = np.minimum(at_lines[0], at_lines[1]), np.minimum(at_lines[2], at_lines[3])
    groove = np.minimum(mean["face"][:, 0], mean["strip"][:, 0]) - grooves[0]
    outer_groove = np.minimum(mean["strip"][:, 0], mean["beyond"][:, 0]) - grooves[1]
    near = np.where(inside, j, i)
    far = np.where(inside, i, j)
    rivals = (lines.row[None] - layout.zero) * np.where(inside, -1, 1)[:, None] > 2
    rank = (rivals & (lines.score[None] > lines.score[far][:, None])).sum(axis=1)
    many = np.ones(len(bands))
    chroma = np.hypot(mean["strip"][:, 1] - 128, mean["strip"][:, 2] - 128)
    columns = [
        *each[i].T, *each[j].T,
        inside * 1.0, depth * layout.step, depth, depth * layout.step / panel["length_px"],
        np.abs(lines.tilt[j] - lines.tilt[i]) / depth, np.abs(lines.row[near] - layout.zero) * layout.step,
        (near == len(lines.row) - 1) & (lines.row[near] == layout.zero), rank, between / weaker, after / weaker,
        _norm(fs), fs[:, 0], _norm(fs[:, 1:]), _norm(sb), sb[:, 0], _norm(sb[:, 1:]), _norm(fb), _norm(fb[:, 1:]),
        mean["strip"][:, 0], mean["beyond"][:, 0], chroma, rough["face"], rough["strip"], rough["beyond"],
        ramp.mean(axis=1), np.abs(ramp.mean(axis=1)) / (ramp.std(axis=1) + 1.0),
        _with(strip[:, mid, 0], face[:, mid, 0]), _with(strip[:, mid, 0], beyond[:, mid, 0]), strip[:, mid, 0].std(axis=1),
        ends.min(axis=0), ends.max(axis=0), face_end, *(panel[k] * many for k in PANEL),
        np.where(inside, 1e3, np.minimum((layout.high - 1 - lines.row[j]) * layout.step, 1e3)),
        groove, outer_groove, panel["turned"] * depth * layout.step / panel["length_px"],
    ]
    return np.stack([np.asarray(c, np.float64) for c in columns], axis=1)

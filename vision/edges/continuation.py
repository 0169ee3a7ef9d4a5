"""Do the lines of the face run on over the arris? One piece of wood shows the same rings on both sides of it.

Lines that reach the arris on the face are followed to it, lines that leave it on the narrow side are followed back; what
they draw along the arris is compared in place and, as a measure of chance, out of place.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.edges.frame import EdgeFrame

Plane = NDArray[np.float32]
Floats = NDArray[np.float64]

#: Rows next to the arris left out (rounding, highlight, a banding's own thickness), and rows read beyond them.
GAP, READ = 2, 6
#: Rows compared as they stand, without following lines.
NEAR = 3
WINDOWS = 6
#: Ways in which lines may run to the arris, px along it a row.
SLOPES = np.tan(np.deg2rad(np.arange(-72, 73, 12.0)))
#: Bands of size along the arris, px (fine detail, rings, slow drift), and lags at which chance is measured.
BANDS = ((1.0, 4.0), (3.0, 12.0), (10.0, 45.0))

NAMES = (
    *(f"{way}_{band}_{what}" for way in ("near", "followed") for band in ("fine", "middle", "slow") for what in ("here", "over")),
    "match_best", "face_lines", "face_turn", "strip_lines", "strip_turn", "tone_gap", "hue_gap", "texture_gap", "rim_line",
    "rim_near", "cross_face", "cross_strip",
)


def measure_continuation(frame: EdgeFrame) -> dict[str, float]:
    """Numbers of the comparison over the upper border (NAMES); nan where a side is not in view.

    `*_here`: correlation in place; `*_over`: by how many spreads it exceeds that out of place, for the rows next to the arris
    as they stand (`near_*`) and for lines followed to it (`followed_*`); `match_best`: largest of these; `*_lines`: how
    strongly lines run one way; `*_turn`: cosine of twice their angle to the arris (1 along it, -1 across); `tone_gap`,
    `hue_gap`: difference of lightness and of colour without lightness; `rim_line`: a line on the face next to the arris, as
    a banding's thickness draws it; `cross_*`: contrast along the arris.
    """
    out = dict.fromkeys(NAMES, math.nan)
    top, rows = frame.top, frame.rows
    gap = GAP if rows >= 14 else 1
    read = int(min(READ, max(3, rows // 2)))
    face_rows = np.arange(top - 1 - gap, max(-1, top - 1 - gap - read), -1)
    strip_rows = np.arange(top + gap, min(top + rows - 1, top + gap + read))
    if len(face_rows) < 3 or len(strip_rows) < 2:
        return out
    ok = frame.valid[face_rows[-1]:strip_rows[-1] + 1].all(axis=0)
    if ok.sum() < 60:
        return out
    first, last = int(np.flatnonzero(ok)[0]), int(np.flatnonzero(ok)[-1]) + 1
    lab = frame.lab[:, first:last]
    luma = lab[..., 0]
    # only the rows compared are filtered
    start = int(face_rows[-1])
    near_arris = np.ascontiguousarray(lab[start:strip_rows[-1] + 1])
    best = []
    for name, (small, large) in zip(("fine", "middle", "slow"), BANDS, strict=True):
        if last - first < 4 * large:
            continue
        band = _band(near_arris, small, large)
        face_band, strip_band = band[face_rows - start], band[strip_rows - start]
        for way in ("near", "followed"):
            if way == "near":
                a, b = face_band[:NEAR].mean(axis=0), strip_band[:NEAR].mean(axis=0)
            else:
                a, b = _followed(face_band), _followed(strip_band)
            here, over = _match(a, b, small, large)
            out[f"{way}_{name}_here"], out[f"{way}_{name}_over"] = here, over
            best.append(over)
    out["match_best"] = max((b for b in best if math.isfinite(b)), default=math.nan)
    deep = max(6, min(rows, 40))
    upper, lower = luma[max(0, top - gap - deep):top - gap], luma[top + gap:top + min(rows - 1, deep)]
    for name, part in (("face", upper), ("strip", lower)):
        out[f"{name}_lines"], out[f"{name}_turn"] = _direction(part)
        out[f"cross_{name}"] = math.log(float((_high(part)).std()) / (float(part.mean()) + 8) + 1e-3)
    colours = [lab[r].mean(axis=(0, 1)) for r in (face_rows, strip_rows)]
    out["tone_gap"] = math.log((float(colours[1][0]) + 8) / (float(colours[0][0]) + 8))
    hue = [(v[1:] - 128) / (float(v[0]) + 20) for v in colours]
    out["hue_gap"] = float(np.hypot(*(hue[0] - hue[1])))
    out["texture_gap"] = out["cross_strip"] - out["cross_face"]
    profile = np.median(lab[max(0, top - 16):top + 3], axis=1)
    change = np.sqrt((np.diff(profile, axis=0) ** 2).sum(axis=1))
    if len(change) > 6:
        near, far = change[-9:-2], change[:-6]
        out["rim_line"] = math.log((float(near.max()) + 0.3) / (float(np.median(far)) + 0.3))
        out["rim_near"] = float(len(near) - int(near.argmax()))
    return out


def _band(lab: Plane, small: float, large: float) -> Floats:
    """(h, n, 2) lightness and yellowness between two sizes along the arris, each divided by the local strength."""
    out = []
    for channel in (0, 2):
        plane = lab[..., channel]
        fine, coarse = (cv2.GaussianBlur(plane, (0, 0), sigmaX=s, sigmaY=0.01) for s in (small / 2, large))
        out.append(np.asarray(fine) - np.asarray(coarse))
    return np.stack(out, axis=-1).astype(np.float64)


def _followed(rows: Floats) -> Floats:
    """(n, c) what the rows (nearest the arris first) draw on it once their lines are followed there, window by window."""
    count, n, channels = rows.shape
    drawn = []
    for slope in SLOPES:
        total = np.zeros((n, channels))
        for k in range(count):
            # the row moved along by a constant: the same two neighbours and shares everywhere, the ends held
            whole, part = divmod(slope * (k + 1.0), 1.0)
            at = np.arange(n + 1) + int(whole)
            held = rows[k, np.clip(at, 0, n - 1)]
            total += held[:-1] * (1 - part) + held[1:] * part
        drawn.append(total / count)
    table = np.stack(drawn)  # (slopes, n, c)
    power = (table**2).sum(axis=-1)
    window = max(8, n // WINDOWS)
    strength = np.stack([cv2.blur(p[None, :], (window, 1))[0] for p in power])
    # a straight way is the likelier one where nothing speaks for another
    strength *= np.exp(-0.5 * (SLOPES / 2.5) ** 2)[:, None]
    pick = strength.argmax(axis=0)
    return np.asarray(table[pick, np.arange(n)])


def _match(a: Floats, b: Floats, small: float, large: float) -> tuple[float, float]:
    """(correlation in place, spreads by which it exceeds that out of place)."""
    span = max(9, int(6 * large)) | 1
    a, b = _levelled(a, span), _levelled(b, span)
    n = len(a)
    reach = int(min(n // 3, 12 * large))
    slack = max(1, round(small))
    away = np.arange(int(2 * large), reach, max(1, int(small)))
    most = max(slack, int(away[-1]) if len(away) else 0)
    table = _correlations(a, b, most)
    here = float(table[most - slack:most + slack + 1].max())
    if len(away) < 4:
        return here, math.nan
    # chance allows the same slack as the true place
    others = np.stack([table[most + away], table[most - away]], axis=1).ravel()
    width = 2 * slack + 1
    peaks = np.array([others[i::2][j:j + width].max() for i in (0, 1) for j in range(max(1, len(others) // 2 - width + 1))])
    return here, float((here - peaks.mean()) / (peaks.std() + 0.03))


def _correlations(a: Floats, b: Floats, most: int) -> Floats:
    """(2 most + 1,) correlation of two (n, c) drawings where `a` lies -most ... most px further along than `b`."""
    n = len(a)
    size = 1 << (n + most).bit_length()
    both = (np.fft.rfft(a, size, axis=0) * np.fft.rfft(b, size, axis=0).conj()).sum(axis=1)
    products = np.fft.irfft(both, size)
    power = [np.r_[0.0, np.cumsum((v * v).sum(axis=1))] for v in (a, b)]
    lags = np.arange(-most, most + 1)
    begin_a, begin_b = np.maximum(lags, 0), np.maximum(-lags, 0)
    kept = n - np.abs(lags)
    of_a, of_b = (p[begin + kept] - p[begin] for p, begin in zip(power, (begin_a, begin_b), strict=True))
    return np.asarray(products[lags] / np.sqrt(np.maximum(of_a * of_b, 0) + 1e-9))


def _levelled(v: Floats, span: int) -> Floats:
    """A line's drawing with its strength evened out along the arris."""
    local = np.stack([cv2.blur((v[:, c] ** 2)[None, :], (span, 1))[0] for c in range(v.shape[1])], axis=-1)
    return np.asarray(v / (np.sqrt(np.maximum(local, 0)) + 0.35 * float(np.sqrt((v**2).mean())) + 1e-6))


def _high(part: Plane) -> Plane:
    return np.asarray(part - cv2.GaussianBlur(part, (0, 0), sigmaX=8, sigmaY=0.01), np.float32)


def _direction(part: Plane) -> tuple[float, float]:
    """(coherence 0..1, cosine of twice the angle of the lines to the arris)."""
    smooth = cv2.GaussianBlur(part, (0, 0), 1.0)
    if min(part.shape) < 4:
        return math.nan, math.nan
    gx, gy = smooth[1:-1, 2:] - smooth[1:-1, :-2], smooth[2:, 1:-1] - smooth[:-2, 1:-1]
    gx, gy = gx - gx.mean(), gy - np.median(gy, axis=1, keepdims=True)
    xx, yy, xy = float((gx * gx).mean()), float((gy * gy).mean()), float((gx * gy).mean())
    total = xx + yy + 0.1
    return math.hypot(xx - yy, 2 * xy) / total, (yy - xx) / total

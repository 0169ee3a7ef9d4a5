"""What is left after registration: likeness by scale, how sharply the match sits, drift of the figure, colour."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.repeats import residual_detail, residual_displacement
from vision.repeats.correlate import standing
from vision.repeats.figure import blur_along
from vision.repeats.register import Registered
from vision.resize import resize_map

#: Name and meaning of every number in `Repeat.measured`.
MEASURED: Final[Mapping[str, str]] = {
    "residual_fine": "Correlation of the two figures at 1 to 2.5 px of the frame, over the region.",
    "residual_mid": "The same at 2.5 to 6 px.",
    "residual_coarse": "The same at 6 to 14 px.",
    "whole_mid": "Correlation at 2.5 to 6 px over all that overlaps.",
    "crossing": "Correlation of what changes along the grain, over all that overlaps, at its peak.",
    "lead": "That peak less the highest value anywhere over 5 px away from it.",
    "agree": "Share of the overlap whose blocks agree.",
    "area": "Region as a share of the smaller of the two sheets.",
    "along_sd": "Standard deviation of the place of the peak along the grain, px of the frame.",
    "across_sd": "The same across the grain.",
    "drift_along": "Robust standard deviation along the grain of what displacement is left, px at 512 px short side.",
    "drift_across": "The same across the grain.",
    "drift_slow": "Rms of that residual once smoothed over neighbours: drift that is common to whole areas.",
    "colour": "Distance of the two regions' mean colour in the a*b* plane.",
    "lightness": "Difference of mean lightness, L* of b less a.",
    "stretch": "Log of the scale along the grain over that across it.",
    "zoom": "Log of the scale from a to b.",
    "bend": "How much the transform's scale varies over the region.",
    "effective": "Independent patches of figure the peak rests on.",
    "votes": "Local features that agree.",
    "standing": "Height of the whole figures' correlation there, in root mean squares over all shifts.",
    "frame_px": "Short side of the frame, px: what detail could be seen at all.",
    **residual_displacement.MEASURED,
    **residual_detail.MEASURED,
}
#: Bands of the figure (two blurs, px of the frame).
BANDS: Final = {"fine": (0.7, 1.7), "mid": (1.7, 4.2), "coarse": (4.2, 10.0)}
#: Shifts tried about the registration, px of the half-size frame.
REACH = 10
#: Finest blur and share taken out of what runs along the grain, for the softer look at the peak of small sheets.
SOFTER = (1.2, 0.8)
#: A block agrees from this correlation on.
BLOCK_AGREES = 0.42

Map = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Measured:
    """`values` over MEASURED; `covariance` 2x2 px^2 of the frame (x, y); `region`: bool map of the frame where it agrees."""

    values: dict[str, float]
    covariance: NDArray[np.float64]
    region: NDArray[np.bool_]


def _band(values: Map, low: float, high: float) -> Map:
    return np.asarray(cv2.GaussianBlur(values, (0, 0), low) - cv2.GaussianBlur(values, (0, 0), high), dtype=np.float32)


def _box(values: Any, size: int) -> Map:
    return np.asarray(cv2.boxFilter(values, cv2.CV_32F, (size, size), borderType=cv2.BORDER_CONSTANT), dtype=np.float32)


def _correlation(a: Map, b: Map, where: NDArray[np.bool_]) -> float:
    x, y = a[where], b[where]
    x, y = x - x.mean(), y - y.mean()
    return float(x @ y / max(float(np.sqrt((x @ x) * (y @ y))), 1e-6))


def own_pixels(found: Registered) -> float:
    """Pixels of the frame's sheet to one px of the frame, 1 at most: an enlarged frame holds no more detail than its sheet."""
    return min(1.0, float(found.to_sheet[0, 0]))


def measure(found: Registered, votes: int, *, same_sheet: bool = False, widest: float = np.inf) -> Measured | None:
    """Measurements of a registration; None where nothing of the overlap agrees.

    `widest`: None too, before the dear measurements, where the peak's place spreads further than this along or across the
    grain, in pixels of the frame or, where that was enlarged, of its sheet. Of two small sheets, unless one is compared with
    itself (`same_sheet`), a softer look counts as well: what crosses the grain alone drowns there in noise.
    """
    h, w = found.overlap.shape
    clear = found.overlap & (found.first_rgb.max(axis=2) < 250) & (found.second_rgb.max(axis=2) < 250)
    if clear.sum() < 1500:
        return None
    peak, covariance = _peak(found, clear)
    if _width(found, peak) > widest:
        softer, covariance = _peak(found, clear, *SOFTER)
        if same_sheet or own_pixels(found) >= 1.0 or _width(found, softer) > widest:
            return None
    weight = clear.astype(np.float32)
    bands = {k: (_band(found.first, *s) * weight, _band(found.second, *s) * weight) for k, s in BANDS.items()}
    block = int(max(21, 0.11 * np.sqrt(h * w))) | 1
    likeness = _blocks(*bands["mid"], block) * 0.6 + _blocks(*bands["coarse"], block) * 0.4
    agrees = (likeness > BLOCK_AGREES) & clear
    region = _largest(agrees, block)
    values: dict[str, float] = {"agree": float(agrees.sum() / clear.sum()), "votes": float(votes)}
    counted = region & clear
    if counted.sum() < 600:
        counted = clear
        region = found.overlap
    for k, (a, b) in bands.items():
        values[f"residual_{k}"] = _correlation(a, b, counted)
    values["whole_mid"] = _correlation(*bands["mid"], clear)
    values.update(peak)
    values.update(_drift(found, region))
    values.update(_colour(found, counted))
    values.update(_shape(found, region))
    values["area"] = float(region.sum() / (h * w))
    values["standing"] = standing(found)
    values["frame_px"] = float(min(h, w))
    drift = residual_displacement.measure_drift(found.first, found.second, counted, found.grain)
    values.update(drift.values)
    values.update(residual_detail.measure_detail(found.first, found.second, counted, drift.field))
    return Measured(values, covariance, region)


def _blocks(a: Map, b: Map, size: int) -> Map:
    """Correlation of two band images in a sliding square."""
    power = np.sqrt(np.maximum(_box(a * a, size), 0) * np.maximum(_box(b * b, size), 0))
    return np.asarray(_box(a * b, size) / np.maximum(power, 0.02 * float(power.max()) + 1e-9), dtype=np.float32)


def _largest(agrees: NDArray[np.bool_], block: int) -> NDArray[np.bool_]:
    """The largest patch that agrees, small gaps closed."""
    k = np.ones((block // 2, block // 2), np.uint8)
    closed = cv2.morphologyEx(agrees.astype(np.uint8), cv2.MORPH_CLOSE, k)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(closed, connectivity=4)
    if count < 2:
        return np.zeros_like(agrees)
    return np.asarray(labels == 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax()))


def _width(found: Registered, peak: Mapping[str, float]) -> float:
    """The wider standard deviation of the peak's place, px as `measure` counts them."""
    return own_pixels(found) * max(peak["along_sd"], peak["across_sd"])


def _peak(found: Registered, clear: NDArray[np.bool_], finest: float = 0.7, taken: float = 1.0,
          ) -> tuple[dict[str, float], NDArray[np.float64]]:
    """Peak of the correlation of what changes along the grain, and the spread of where it can lie.

    `finest`: blur (px of the half-size frame) that takes out what is finer; `taken`: share of what runs along that is taken out.

    The chance of each shift d is taken as (1 - C(d)^2)^(-n / 2), n being the area over the area of one blot of the figure
    (from the images' own mean squared gradients): the likelihood of a Gaussian pair with correlation C.
    """
    h, w = clear.shape
    size = (max(8, w // 2), max(8, h // 2))
    fx, fy = w / size[0], h / size[1]
    share = resize_map(clear.astype(np.float32), *size)
    weight = (share > 0.5).astype(np.float32)
    along = np.maximum(blur_along(weight, found.grain, 8.0), 1e-3)
    images = []
    for image in (found.first, found.second):
        small = resize_map(image * clear, *size) / np.maximum(share, 0.5) * weight
        # a mean over the mask alone: straight grain leaves nothing, not even where the picture ends
        crossing = (small - taken * blur_along(np.asarray(small, np.float32), found.grain, 8.0) / along) * weight
        fine = cv2.GaussianBlur(crossing, (0, 0), finest) - cv2.GaussianBlur(crossing, (0, 0), 6.0)
        images.append(np.asarray(fine * weight, dtype=np.float32))
    a, b = images
    power = float(np.sqrt((a * a).sum() * (b * b).sum())) + 1e-6
    padded = cv2.copyMakeBorder(b, REACH, REACH, REACH, REACH, cv2.BORDER_CONSTANT, value=0)
    surface = cv2.matchTemplate(padded, a, cv2.TM_CCORR) / power  # (2 REACH + 1)^2, middle = no shift
    y, x = np.mgrid[-REACH : REACH + 1, -REACH : REACH + 1].astype(np.float64)
    near = np.hypot(x, y) <= 3.5
    at = int(np.where(near, surface, -2).argmax())
    top = float(surface.ravel()[at])
    far = np.hypot(x - x.ravel()[at], y - y.ravel()[at]) > 5.0
    gx, gy = cv2.Sobel(a, cv2.CV_32F, 1, 0, scale=0.125), cv2.Sobel(a, cv2.CV_32F, 0, 1, scale=0.125)
    gxx, gyy, gxy = float((gx * gx).sum()), float((gy * gy).sum()), float((gx * gy).sum())
    blot = 2 * np.pi * float((a * a).sum()) / max(float(np.sqrt(max(gxx * gyy - gxy**2, 1e-6))), 1e-6)
    n = float(weight.sum()) / max(blot, 4.0)
    c = np.clip(surface.astype(np.float64), 0, 0.98)
    log_chance = -0.5 * n * np.log1p(-(c**2))
    chance = np.exp(log_chance - log_chance.max())
    chance /= chance.sum()
    mx, my = float((chance * x).sum()), float((chance * y).sum())
    cov = np.array([[(chance * (x - mx) ** 2).sum(), (chance * (x - mx) * (y - my)).sum()], [0, (chance * (y - my) ** 2).sum()]])
    cov[1, 0] = cov[0, 1]
    # the chance sits on whole shifts: what one of them can hide is added
    grow = np.diag([fx, fy])
    covariance = grow @ (cov + np.eye(2) / 12.0) @ grow
    u = np.array([np.cos(found.grain), np.sin(found.grain)])
    v = np.array([-u[1], u[0]])
    lead = top - float(np.where(far, surface, -1).max())
    return {"crossing": top, "lead": lead, "effective": n, "along_sd": float(np.sqrt(u @ covariance @ u)),
            "across_sd": float(np.sqrt(v @ covariance @ v))}, covariance


def _drift(found: Registered, region: NDArray[np.bool_]) -> dict[str, float]:
    """Spread of the residual displacement inside the region, along and across the grain.

    Along the grain only points with something crossing it count (firm ones); the slow part is the mean over each point's
    neighbours, whose common motion no tracking noise explains.
    """
    p = found.points.astype(int)
    inside = region[p[:, 1], p[:, 0]]
    unit = 512.0 / min(region.shape)
    if inside.sum() < 8:
        inside = np.ones(len(p), bool)
    r, at, firm = found.residual[inside], found.points[inside], found.firm[inside]
    u = np.array([np.cos(found.grain), np.sin(found.grain)])
    along, across = r @ u, r @ np.array([-u[1], u[0]])
    strong = firm >= np.median(firm)

    def spread(values: NDArray[np.float64]) -> float:
        return float(1.48 * np.median(np.abs(values - np.median(values))) * unit)

    gap = np.linalg.norm(at[:, None] - at[None], axis=2)
    near = np.exp(-0.5 * (gap / (0.08 * float(np.hypot(*region.shape)))) ** 2) * np.sqrt(firm + 1e-9)[None]
    limit = np.clip(r, *np.percentile(r, [5, 95], axis=0))
    slow = near @ limit / near.sum(axis=1, keepdims=True)
    return {"drift_along": spread(along[strong]), "drift_across": spread(across),
            "drift_slow": float(np.sqrt((slow**2).sum(axis=1).mean())) * unit}


def _colour(found: Registered, where: NDArray[np.bool_]) -> dict[str, float]:
    lab = [cv2.cvtColor(rgb[where][None].astype(np.float32) / 255, cv2.COLOR_RGB2LAB)[0].mean(axis=0)
           for rgb in (found.first_rgb, found.second_rgb)]
    first, second = (lab[1], lab[0]) if found.swapped else (lab[0], lab[1])
    return {"colour": float(np.hypot(*(second - first)[1:])), "lightness": float(second[0] - first[0])}


def _shape(found: Registered, region: NDArray[np.bool_]) -> dict[str, float]:
    """Scale of the transform along against across the grain of sheet a, and how it varies over the region."""
    ys, xs = np.nonzero(region)
    corners = np.array([[np.percentile(xs, p), np.percentile(ys, q)] for p in (10, 90) for q in (10, 90)])
    on_a = found.to_other if found.swapped else found.to_sheet
    u = np.array([np.cos(found.grain), np.sin(found.grain)])
    u = on_a[:2, :2] @ u
    u /= np.linalg.norm(u)
    v = np.array([-u[1], u[0]])
    scales, ratios = [], []
    for c in corners:
        q = on_a @ np.append(c, 1.0)
        x = q[:2] / q[2]

        def go(d: NDArray[np.float64], x: NDArray[np.float64] = x) -> float:
            p0, p1 = found.transform @ np.append(x - d, 1.0), found.transform @ np.append(x + d, 1.0)
            return float(np.linalg.norm(p1[:2] / p1[2] - p0[:2] / p0[2]) / 2)

        along, across = max(go(u), 1e-6), max(go(v), 1e-6)
        scales.append(0.5 * np.log(along * across))
        ratios.append(np.log(along / across))
    return {"zoom": float(np.mean(scales)), "stretch": float(np.mean(ratios)), "bend": float(np.ptp(scales))}

"""Gloss: how large and how sharp highlights are, and whether the figure lives on beneath them.

Wood scatters light inside its cells, so its figure changes with the angle of view and pores break a highlight; a film
reflects a lamp as one unbroken patch lying over an unchanged picture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.features import Feature
from vision.resize import fit_within, resize, resize_map
from vision.surface.sample import Plane, enough, masked_blur, sample, thin
from vision.types import GrainField, WorkingView

GROUP = "gloss"

FEATURES: tuple[Feature, ...] = (
    Feature("gloss_clipped", GROUP, "0..1", "Share of pixels burnt out in every channel."),
    Feature("gloss_share", GROUP, "0..1", "Share of the panel lying under a highlight."),
    Feature("gloss_height", GROUP, "ratio", "Brightest patch over the median, as a share of what was left up to white."),
    Feature("gloss_edge", GROUP, "ratio", "Steepest rise of the bright part in 3 % of the panel, over its height."),
    Feature("gloss_range", GROUP, "log ratio", "Range of the slow lightness (10th to 90th percentile)."),
    Feature("gloss_plane", GROUP, "0..1", "Share of slow lightness that a plane explains: window light across a matt face."),
    Feature("gloss_figure_kept", GROUP, "log ratio", "Figure contrast in the brightest fifth over that in the middle."),
    Feature("gloss_figure_dark", GROUP, "log ratio", "Figure contrast in the darkest fifth over that in the middle."),
    Feature("gloss_broken", GROUP, "log ratio", "Fine contrast on the flanks of the bright part over that off them."),
    Feature("gloss_bleach", GROUP, "-1..1", "Correlation of slow chroma with slow lightness: a sheen adds white."),
    Feature("gloss_spots", GROUP, "log share", "Share of small sparkling points well above their surroundings."),
)
_NAMES = tuple(f.name for f in FEATURES)
REGISTER_PX = 256


def measure(view: WorkingView, field: GrainField | None) -> dict[str, float]:
    """Gloss numbers of one panel (names of FEATURES); nan where not measurable."""
    out = dict.fromkeys(_NAMES, math.nan)
    s = sample(view)
    if not enough(s.inside):
        return out
    inside, luma = s.coarse.inside, s.coarse.luma
    if not enough(inside, 200):
        return out
    out["gloss_clipped"] = float((s.coarse.rgb[inside].min(axis=1) >= 250).mean())
    sigma = max(1.0, 0.03 * max(luma.shape))
    slow = masked_blur(luma, inside, sigma)
    v = slow[inside]
    median, top = (float(q) for q in np.percentile(thin(v), (50, 99.5)))
    out["gloss_height"] = (top - median) / max(255 - median, 10.0)
    cut = highlight_level(v)
    bright = inside & (slow > cut)
    out["gloss_share"] = float(bright.sum() / inside.sum())
    p10, p90 = np.percentile(thin(v), (10, 90))
    out["gloss_range"] = math.log((float(p90) + 4) / (float(p10) + 4))
    if top - median > 10:
        gx, gy = slow[1:-1, 2:] - slow[1:-1, :-2], slow[2:, 1:-1] - slow[:-2, 1:-1]
        g = 0.5 * np.hypot(gx, gy)[(inside & (slow > median))[1:-1, 1:-1]]
        if g.size:
            # The blur alone makes a step rise by 0.4 of its height per sigma.
            out["gloss_edge"] = sigma * float(np.percentile(thin(g), 95)) / (top - median)
    out["gloss_plane"] = _plane_share(slow, inside)
    out.update(_figure_under_light(luma, slow, inside))
    out["gloss_bleach"] = _bleach(s.coarse.rgb, inside)
    rest = luma - masked_blur(luma, inside, 3.0)
    z = rest[inside]
    mad = 1.4826 * float(np.median(np.abs(thin(z)))) + 0.5
    out["gloss_spots"] = math.log10(float((z > 5 * mad).mean()) + 1e-5)
    return out


def highlight_level(values: NDArray[np.float32]) -> float:
    """Slow lightness above which a pixel counts as highlight: 3 robust spreads and a fifth of the way to white."""
    few = thin(values)
    median = float(np.median(few))
    spread = 1.4826 * float(np.median(np.abs(few - median)))
    return median + max(min(3 * spread, 0.75 * (255 - median)), 0.2 * (255 - median), 8.0)


def _plane_share(slow: Plane, inside: NDArray[np.bool_]) -> float:
    step = max(1, max(slow.shape) // 64)
    ys, xs = np.nonzero(inside[::step, ::step])
    v = slow[::step, ::step][ys, xs].astype(np.float64)
    if v.size < 12 or v.var() < 0.25:
        return math.nan
    a = np.c_[xs, ys, np.ones_like(xs)].astype(np.float64)
    rest = v - a @ np.linalg.lstsq(a, v, rcond=None)[0]
    return 1 - float(rest.var() / v.var())


def _figure_under_light(luma: Plane, slow: Plane, inside: NDArray[np.bool_]) -> dict[str, float]:
    """Relative figure contrast where the light is strongest and weakest against the middle."""
    v = slow[inside]
    p20, p40, p50, p60, p80 = np.percentile(thin(v), (20, 40, 50, 60, 80))
    # A face under even light has no brightest part: its fifths differ by figure only.
    if p80 - p20 < 0.06 * (float(p50) + 4):
        return {}
    relative = (luma - slow) / (slow + 8.0)
    fine = luma - cv2.GaussianBlur(luma, (0, 0), 1.5)

    def spread(plane: Plane, where: NDArray[np.bool_]) -> float:
        z = plane[where]
        return float(z.std()) if z.size > 50 else math.nan

    middle = inside & (slow >= p40) & (slow <= p60)
    top, low = inside & (slow > p80) & (luma < 250), inside & (slow < p20)
    base = spread(relative, middle) + 2e-3
    out = {"gloss_figure_kept": math.log((spread(relative, top) + 2e-3) / base),
           "gloss_figure_dark": math.log((spread(relative, low) + 2e-3) / base)}
    flank = inside & (slow > p60) & (slow <= p80)
    out["gloss_broken"] = math.log((spread(fine, flank) + 0.2) / (spread(fine, inside & (slow < p40)) + 0.2))
    return out


def _bleach(rgb: NDArray[np.uint8], inside: NDArray[np.bool_]) -> float:
    h, w = inside.shape
    size = fit_within(w, h, max_side=24)
    share = resize_map(inside.astype(np.float32), *size)
    small = resize(rgb, *size)[share > 0.9].astype(np.float32)
    if len(small) < 12:
        return math.nan
    light = small.mean(axis=1)
    # Saturation relative to lightness: in plain shade it stays, under a sheen it falls.
    chroma = (small.max(axis=1) - small.min(axis=1)) / (light + 8)
    if light.std() < 1 or chroma.std() < 1e-3:
        return math.nan
    return float(np.corrcoef(light, chroma)[0, 1])


@dataclass(frozen=True)
class GlossChange:
    """How light lies on one panel in two photos.

    `registered`: whether the two views could be laid over each other by their figure; `figure_match`: correlation -1..1
    of the figure after that; `highlight_a`, `highlight_b`: highlight centre (x, y) in working pixels of view a, or None;
    `shift`: distance of those centres as a share of the panel's diagonal (nan without two highlights);
    `light_change`: spread of the log ratio of slow lightness once overall exposure is taken out; `figure_under`:
    correlation of the figure of both views where either has its highlight (nan without one).
    """

    registered: bool
    figure_match: float
    highlight_a: tuple[float, float] | None
    highlight_b: tuple[float, float] | None
    shift: float
    light_change: float
    figure_under: float

    def __post_init__(self) -> None:
        if not -1.0001 <= self.figure_match <= 1.0001:
            raise ValueError(f"figure_match is a correlation, got {self.figure_match}")
        if not math.isnan(self.shift) and self.shift < 0:
            raise ValueError(f"shift cannot be negative, got {self.shift}")


_UNREGISTERED = GlossChange(False, 0.0, None, None, math.nan, math.nan, math.nan)
#: Lowest correlation of figure at which two views count as the same surface laid over itself.
MATCH_LEVEL = 0.3


def compare(view_a: WorkingView, view_b: WorkingView) -> GlossChange:
    """Lay two rectified views of the same panel over each other and say how a highlight moved against the figure.

    Views of different surfaces, or too small or too plain to register, give `registered=False`.
    """
    sa, sb = sample(view_a), sample(view_b)
    if not (enough(sa.inside, 1500, 24) and enough(sb.inside, 1500, 24)):
        return _UNREGISTERED
    h, w = sa.luma.shape
    size = fit_within(w, h, max_side=REGISTER_PX)
    a, ma = _reduced(sa.filled, sa.inside, size)
    b, mb = _reduced(sb.filled, sb.inside, size)
    fa, fb = _figure(a, ma), _figure(b, mb)
    warp = _register(fa, fb, ma, mb)
    if warp is None:
        return _UNREGISTERED
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    moved = np.asarray(cv2.warpAffine(b, warp, size, flags=flags), np.float32)
    moved_figure = np.asarray(cv2.warpAffine(fb, warp, size, flags=flags), np.float32)
    both = ma & (cv2.warpAffine(mb.astype(np.uint8), warp, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP) > 0)
    if both.sum() < 500:
        return _UNREGISTERED
    match = _correlation(fa[both], moved_figure[both])
    if match < MATCH_LEVEL:
        return GlossChange(False, match, None, None, math.nan, math.nan, math.nan)
    sigma = max(2.0, 0.04 * max(size))
    slow_a, slow_b = masked_blur(a, both, sigma), masked_blur(moved, both, sigma)
    centre_a, hot_a = _highlight(slow_a, both)
    centre_b, hot_b = _highlight(slow_b, both)
    shift = math.nan
    if centre_a is not None and centre_b is not None:
        shift = math.dist(centre_a, centre_b) / math.hypot(*size)
    ratio = np.log((slow_a[both] + 4) / (slow_b[both] + 4))
    hot = hot_a | hot_b
    under = _correlation(fa[hot], moved_figure[hot]) if hot.sum() > 100 else math.nan
    back = w / size[0], h / size[1]

    def full(c: tuple[float, float] | None) -> tuple[float, float] | None:
        return None if c is None else ((c[0] + 0.5) * back[0] - 0.5, (c[1] + 0.5) * back[1] - 0.5)

    return GlossChange(True, match, full(centre_a), full(centre_b), shift, float(ratio.std()), under)


def _reduced(luma: Plane, inside: NDArray[np.bool_], size: tuple[int, int]) -> tuple[Plane, NDArray[np.bool_]]:
    plane = np.asarray(resize_map(luma, *size), np.float32)
    return plane, np.asarray(resize_map(inside.astype(np.float32), *size) > 0.95)


def _figure(plane: Plane, mask: NDArray[np.bool_]) -> Plane:
    """Band-passed, contrast-normalised figure, 0 off the panel."""
    band = cv2.GaussianBlur(plane, (0, 0), 1.0) - masked_blur(plane, mask, 5.0)
    return np.asarray(np.clip(band / np.sqrt(masked_blur(band * band, mask, 10.0) + 1.0), -3, 3) * mask, np.float32)


def _register(fa: Plane, fb: Plane, ma: NDArray[np.bool_], mb: NDArray[np.bool_]) -> NDArray[np.float32] | None:
    """(2, 3) affine taking points of a to points of b: a shift by phase correlation, refined by ECC."""
    (dx, dy), _ = cv2.phaseCorrelate(fa.astype(np.float64), fb.astype(np.float64))
    start = np.array([[1, 0, dx], [0, 1, dy]], np.float32)
    best: tuple[float, NDArray[np.float32]] | None = None
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 60, 1e-4)
    for guess in (start, np.eye(2, 3, dtype=np.float32)):
        try:
            score, warp = cv2.findTransformECC(fa, fb, guess.copy(), cv2.MOTION_AFFINE, criteria, ma.astype(np.uint8), 5)
        except cv2.error:
            continue
        scale = abs(float(np.linalg.det(warp[:, :2])))
        if 0.5 < scale < 2 and (best is None or score > best[0]):
            best = (float(score), np.asarray(warp, np.float32))
    return None if best is None else best[1]


def _highlight(slow: Plane, mask: NDArray[np.bool_]) -> tuple[tuple[float, float] | None, NDArray[np.bool_]]:
    hot = mask & (slow > highlight_level(slow[mask]))
    if hot.sum() < 20:
        return None, np.zeros_like(mask)
    ys, xs = np.nonzero(hot)
    return (float(xs.mean()), float(ys.mean())), hot


def _correlation(a: NDArray[np.float32], b: NDArray[np.float32]) -> float:
    a, b = a - a.mean(), b - b.mean()
    d = math.sqrt(float(np.vdot(a, a)) * float(np.vdot(b, b)))
    return float(np.vdot(a, b)) / d if d > 1e-6 else 0.0

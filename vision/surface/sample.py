"""What the surface rooms share: a panel's lightness, its safe inside, native-resolution tiles and their spectra.

Prepared once per working view and kept as long as the view lives, since five rooms ask for the same thing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from weakref import WeakKeyDictionary

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.resize import fit_within, resize, resize_map
from vision.types import WorkingView

Plane = NDArray[np.float32]

TILE_SIDES = (192, 128, 96, 64, 48)
MAX_TILES = 4
CANDIDATES_PER_AXIS = 5
COARSE_PX = 320
#: A grey level that no camera resolves: floor of every noise figure, so that ratios stay finite on synthetic flats.
NOISE_FLOOR = 0.5
#: Immerkaer's noise kernel (CVIU 64(2), 1996): blind to planes and straight edges; its white-noise gain is 6.
_IMMERKAER = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)


def thin(values: NDArray[Any], keep: int = 8192) -> NDArray[Any]:
    """An even sample of at least `keep` values (all when fewer): enough for any median or percentile asked for here."""
    flat = values.ravel()
    # An odd stride does not stay on one column of an even-sided plane.
    step = (flat.size // keep - 1) | 1 if flat.size >= 2 * keep else 1
    return flat[::step]


def noise_sigma(luma: Plane) -> float:
    """Robust noise level of a plane in grey levels: median absolute Immerkaer response, at least NOISE_FLOOR."""
    if min(luma.shape) < 3:
        return NOISE_FLOOR
    response = cv2.filter2D(luma, cv2.CV_32F, _IMMERKAER)[1:-1, 1:-1]
    return max(NOISE_FLOOR, float(np.median(np.abs(thin(response)))) / 0.6745 / 6.0)


def gradients(luma: Plane) -> tuple[Plane, Plane]:
    """Derivatives (gx, gy) of a plane smoothed with sigma 1, grey levels per pixel, zero on the outermost pixels."""
    smooth = cv2.GaussianBlur(luma, (0, 0), 1.0)
    gx, gy = np.zeros_like(luma), np.zeros_like(luma)
    gx[:, 1:-1] = 0.5 * (smooth[:, 2:] - smooth[:, :-2])
    gy[1:-1] = 0.5 * (smooth[2:] - smooth[:-2])
    return gx, gy


def orientation(luma: Plane, sigma: float = 1.0) -> tuple[float, float]:
    """Dominant line direction of a plane and its coherence.

    Returns (angle in degrees 0..180, 0 along +x, counter-clockwise on screen; coherence 0..1), both from the
    structure tensor summed over the whole plane.
    """
    if min(luma.shape) < 6:
        return 0.0, 0.0
    smooth = cv2.GaussianBlur(luma, (0, 0), sigma)
    # Fourth-order differences: plain ones turn lines of 9 px by up to a degree.
    c = smooth[2:-2, 2:-2].shape
    gx, gy = (sum(k / 12 * smooth[2 + j * dy:2 + j * dy + c[0], 2 + j * dx:2 + j * dx + c[1]]
                  for k, j in ((1, -2), (-8, -1), (8, 1), (-1, 2))) for dx, dy in ((1, 0), (0, 1)))
    jxx, jyy, jxy = float(np.vdot(gx, gx)), float(np.vdot(gy, gy)), float(np.vdot(gx, gy))
    total = jxx + jyy
    if total <= 1e-6 * luma.size:
        return 0.0, 0.0
    # Gradient direction is across the lines; y grows downwards, hence the sign.
    angle = 0.5 * math.degrees(math.atan2(-2 * jxy, jxx - jyy)) + 90.0
    return angle % 180.0, math.hypot(jxx - jyy, 2 * jxy) / total


@dataclass(frozen=True, eq=False)
class Tile:
    """A square of the un-resampled crop, wholly on the panel. `rgb`: (t, t, 3) uint8; `origin`: (x, y) in the crop."""

    rgb: NDArray[np.uint8]
    origin: tuple[int, int]

    @cached_property
    def luma(self) -> Plane:
        """(t, t) lightness in grey levels 0..255."""
        return cv2.cvtColor(self.rgb, cv2.COLOR_RGB2GRAY).astype(np.float32)

    @cached_property
    def noise(self) -> float:
        """Noise level in grey levels."""
        return noise_sigma(self.luma)

    @cached_property
    def grain(self) -> tuple[float, float]:
        """(angle in degrees, coherence) of the tile's own lines."""
        return orientation(self.luma, sigma=1.5)

    @cached_property
    def flat(self) -> Plane:
        """(t, t) lightness without what varies over more than about an eighth of the tile."""
        return self.luma - cv2.GaussianBlur(self.luma, (0, 0), self.luma.shape[0] / 16)

    @cached_property
    def power(self) -> Plane:
        """(t, t) Hann-windowed power spectrum, zero frequency in the middle, grey levels^2 per bin."""
        t = self.luma.shape[0]
        window = np.hanning(t + 2)[1:-1].astype(np.float32)
        w2 = np.outer(window, window)
        plane = (self.luma - self.luma.mean()) * w2
        spectrum = np.fft.rfft2(plane)
        half = (np.abs(spectrum) ** 2 / float((w2 * w2).sum())).astype(np.float32)
        full = np.empty((t, t), np.float32)
        full[:, :half.shape[1]] = half
        # The missing columns are the point mirror of those at hand: the plane is real.
        mirror = half[:, 1:t - half.shape[1] + 1][:, ::-1]
        full[:, half.shape[1]:] = np.roll(mirror[::-1], 1, axis=0)
        return np.fft.fftshift(full)

    @cached_property
    def levelled(self) -> Plane:
        """The largest centred square of `flat`, turned so that the tile's lines run along x (side about 0.7 t)."""
        t = self.luma.shape[0]
        side = int(t / math.sqrt(2)) - 2
        angle = math.radians(self.grain[0])
        c, s = math.cos(angle), math.sin(angle)
        # Output x runs along the grain: (c, -s) on the image since y grows downwards.
        half, mid = (side - 1) / 2, (t - 1) / 2
        m = np.array([[c, s, mid - c * half - s * half], [-s, c, mid + s * half - c * half]])
        return np.asarray(cv2.warpAffine(self.flat, m, (side, side), flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
                                         borderMode=cv2.BORDER_REFLECT), dtype=np.float32)


@dataclass(frozen=True, eq=False)
class Coarse:
    """A reduced panel: `rgb` (h, w, 3) uint8, `luma` (h, w) 0..255, `inside` (h, w) bool."""

    rgb: NDArray[np.uint8]
    luma: Plane
    inside: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Sample:
    """A panel prepared for the surface rooms.

    `rgb`: (h, w, 3), the working view. `luma`: (h, w) its lightness, 0..255. `inside`: (h, w) bool, the mask
    shrunk away from its border where that leaves enough. `tiles`: up to four squares of the native crop (the most
    central one and the sharpest others); empty on panels too small.
    """

    rgb: NDArray[np.uint8]
    luma: Plane
    inside: NDArray[np.bool_]
    tiles: tuple[Tile, ...]

    @cached_property
    def gradients(self) -> tuple[Plane, Plane]:
        """(gx, gy) of `filled` at sigma 1, grey levels per pixel, zero on the outermost pixels."""
        return gradients(self.filled)

    @cached_property
    def values(self) -> Plane:
        """(n,) lightness of the inside pixels."""
        return self.luma[self.inside]

    @cached_property
    def filled(self) -> Plane:
        """(h, w) lightness with everything outside the panel set to the inside median, so that filters see no rim."""
        out = self.luma.copy()
        out[~self.inside] = float(np.median(thin(self.values))) if self.values.size else 0.0
        return out

    @cached_property
    def coarse(self) -> Coarse:
        """The panel at no more than COARSE_PX: all that slow light and flat colour need."""
        h, w = self.luma.shape
        size = fit_within(w, h, max_side=COARSE_PX)
        share = resize_map(self.inside.astype(np.float32), *size)
        inside = share > 0.95
        rgb = resize(self.rgb, *size)
        return Coarse(rgb, cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY).astype(np.float32), inside)

    def low_pass(self, share: float) -> Plane:
        """(h, w) masked Gaussian mean of the lightness; sigma is `share` of the long side."""
        return masked_blur(self.luma, self.inside, max(1.0, share * max(self.luma.shape)))


def masked_blur(plane: Plane, mask: NDArray[np.bool_], sigma: float) -> Plane:
    """Gaussian mean over masked pixels only; large sigmas are computed on a reduced plane. Zero far from the mask."""
    h, w = plane.shape
    weight = mask.astype(np.float32)
    value: Plane = plane * weight
    step = max(1, int(sigma / 3))
    if step > 1:
        size = (max(1, w // step), max(1, h // step))
        value = np.asarray(resize_map(value, *size), np.float32)
        weight = np.asarray(resize_map(weight, *size), np.float32)
    s = sigma / step
    num = cv2.GaussianBlur(value, (0, 0), s)
    den = cv2.GaussianBlur(weight, (0, 0), s)
    out = np.asarray(np.where(den > 1e-3, num / np.maximum(den, 1e-3), 0.0), np.float32)
    if step > 1:
        out = np.asarray(resize_map(out, w, h), np.float32)
    return out


def shrink(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The mask without a rim of 3 % of its thickness (at least 2 px); the mask itself where too little would be left."""
    if not mask.any():
        return mask
    padded = np.pad(mask.astype(np.uint8), 1)
    depth = cv2.distanceTransform(padded, cv2.DIST_L2, 3)[1:-1, 1:-1]
    inner = depth > max(2.0, 0.06 * float(depth.max()))
    return np.asarray(inner, dtype=np.bool_) if inner.sum() >= 0.5 * mask.sum() else mask


def pick_tiles(native: NDArray[np.uint8], mask: NDArray[np.bool_]) -> tuple[Tile, ...]:
    """Up to MAX_TILES squares wholly on the panel: the one nearest to the middle, then the sharpest, never overlapping."""
    h, w = mask.shape
    if h == 0 or w == 0:
        return ()
    coarse = mask[::4, ::4]
    for side in TILE_SIDES:
        if min(h, w) < side:
            continue
        found: list[tuple[float, float, int, int]] = []
        rows, cols = np.nonzero(coarse)
        if rows.size == 0:
            return ()
        cy, cx = 4 * float(rows.mean()), 4 * float(cols.mean())
        for y in _starts(4 * int(rows.min()), min(h, 4 * int(rows.max()) + 4), side):
            for x in _starts(4 * int(cols.min()), min(w, 4 * int(cols.max()) + 4), side):
                if coarse[y // 4:(y + side) // 4, x // 4:(x + side) // 4].mean() < 0.985:
                    continue
                green = native[y:y + side, x:x + side, 1]
                level = float(green.mean())
                lap = cv2.Laplacian(green[::2], cv2.CV_16S)
                # Mean absolute response per grey level; burnt-out and black tiles come last.
                sharp = float(np.abs(lap).mean()) / (level + 16) * (1.0 if 12 < level < 245 else 0.01)
                found.append((math.hypot(x + side / 2 - cx, y + side / 2 - cy), -sharp, x, y))
        if not found:
            continue
        chosen = [min(found)]
        for cand in sorted(found, key=lambda f: (f[1], f[0], f[2], f[3])):
            if len(chosen) == MAX_TILES:
                break
            if all(abs(cand[2] - c[2]) >= side or abs(cand[3] - c[3]) >= side for c in chosen):
                chosen.append(cand)
        return tuple(Tile(np.ascontiguousarray(native[y:y + side, x:x + side]), (x, y)) for _, _, x, y in chosen)
    return ()


def _starts(low: int, high: int, side: int) -> list[int]:
    room = high - low - side
    if room < 0:
        return []
    n = min(CANDIDATES_PER_AXIS, 1 + room // side) if room >= side else (1 if room < 8 else 2)
    return sorted({low + round(room * (i + 0.5) / n) if n == 1 else low + round(room * i / (n - 1)) for i in range(n)})


_SAMPLES: WeakKeyDictionary[WorkingView, Sample] = WeakKeyDictionary()


def sample(view: WorkingView) -> Sample:
    """The prepared panel; computed once per view."""
    known = _SAMPLES.get(view)
    if known is not None:
        return known
    luma = cv2.cvtColor(view.pixels, cv2.COLOR_RGB2GRAY).astype(np.float32) if view.pixels.size else \
        np.zeros(view.mask.shape, np.float32)
    inside = shrink(view.mask)
    made = Sample(view.pixels, luma, inside, pick_tiles(view.native, view.native_mask))
    _SAMPLES[view] = made
    return made


def moments(values: NDArray[np.floating]) -> tuple[float, float]:
    """(skewness, excess kurtosis) after clipping to 6 standard deviations; nan when there is nothing to vary."""
    v = np.asarray(values, np.float32).ravel()
    if v.size < 16:
        return math.nan, math.nan
    sd = float(v.std())
    if sd < 1e-3:
        return math.nan, math.nan
    z = np.clip((v - float(v.mean())) / sd, -6, 6)
    z2 = z * z
    return float((z2 * z).mean()), float((z2 * z2).mean()) - 3.0


def ratio_db(a: float, b: float, floor: float = 1e-6) -> float:
    """10 log10 of a power ratio, both kept above `floor`."""
    return 10.0 * math.log10(max(a, floor) / max(b, floor))


def mean_of(rows: list[dict[str, float]], names: tuple[str, ...]) -> dict[str, float]:
    """Mean over tiles of each named number, ignoring nan; nan where no tile has it."""
    out = {}
    for n in names:
        v = [r[n] for r in rows if n in r and math.isfinite(r[n])]
        out[n] = float(sum(v) / len(v)) if v else math.nan
    return out


def enough(inside: NDArray[np.bool_], pixels: int = 400, side: int = 8) -> bool:
    """Whether a panel is large enough to measure at all."""
    return min(inside.shape) >= side and int(inside.sum()) >= pixels

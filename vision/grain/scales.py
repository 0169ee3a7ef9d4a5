"""Gaussian-derivative structure tensors of one image at several noise scales, averaged down to a grid of cells.

Two scales are kept apart by name. The *noise scale* `sigma` is the Gaussian under the derivative; the *integration scale*
`rho` is the Gaussian window over which directions are averaged (double-angle averaging, so that 1 and 179 degrees agree).
Products are averaged into cells as soon as they are formed, strip by strip, so that nothing the size of the photo is held
in floating point.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.resize import resize

#: Pixels of one strip: its float buffers stay in the second-level cache.
_STRIP_PX = 1 << 17
_CLIP_BLOB = 3


@dataclass(frozen=True)
class GrainParams:
    """Settings of a grain field; saved beside a result with `to_json`.

    sigmas: noise scales in image pixels, ascending. rho: integration scale in image pixels (raised to the cell size where
    cells are larger). glare_level: grey level from which a blob counts as clipped. edge_cap: a cell's energy is cut to this
    many times the robust energy around it, so that one object edge does not speak for its neighbourhood.
    noise_variance: grey levels squared that quantisation and coding leave in every pixel. sharpness: how strongly the best
    scale is preferred to the others (1 is inverse-variance weighting).
    """

    sigmas: tuple[float, ...] = (1.0, 2.0, 4.0)
    rho: float = 8.0
    glare_level: int = 250
    edge_cap: float = 4.0
    noise_variance: float = 0.25
    sharpness: float = 1.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "sigmas", tuple(float(s) for s in self.sigmas))
        if not self.sigmas or any(s < 0.7 for s in self.sigmas) or list(self.sigmas) != sorted(set(self.sigmas)):
            raise ValueError(f"sigmas must ascend from at least 0.7 px, got {self.sigmas}")
        if self.rho <= 0 or self.edge_cap <= 1 or self.noise_variance <= 0 or self.sharpness <= 0:
            raise ValueError("rho, noise_variance and sharpness must be positive and edge_cap above 1")

    def to_json(self) -> str:
        """The settings as a JSON object."""
        return json.dumps(asdict(self), sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> GrainParams:
        """Settings read back from `to_json`; an unknown key is a TypeError."""
        return cls(**json.loads(text))


@dataclass(frozen=True, eq=False)
class ScaleTensor:
    """Averaged tensor of one noise scale on the cell grid, all (rows, cols) float32.

    `cos2`, `sin2`: mean of gx^2 - gy^2 and of 2 gx gy (image axes, y down); `energy`: mean of gx^2 + gy^2, all in grey
    levels^2 per px^2; `weight`: share 0..1 of the integration window that could be measured.
    `variance`: mean squared deviation of the smoothed grey level in the window (nan where not asked for).
    """

    sigma: float
    cos2: NDArray[np.float32]
    sin2: NDArray[np.float32]
    energy: NDArray[np.float32]
    weight: NDArray[np.float32]
    variance: NDArray[np.float32]

    @property
    def oriented(self) -> NDArray[np.float32]:
        """Energy that has a direction: larger minus smaller eigenvalue."""
        return np.hypot(self.cos2, self.sin2)

    @property
    def coherence(self) -> NDArray[np.float32]:
        """Oriented energy as a share of all energy, 0..1."""
        return np.clip(self.oriented / np.maximum(self.energy, 1e-6), 0, 1)


def default_step(height: int, width: int) -> int:
    """Cell size in pixels: 4, or the power of two that keeps the longer side at no more than 256 cells."""
    return max(4, 1 << max(0, math.ceil(math.log2(max(height, width) / 256))))


@lru_cache(maxsize=64)
def derivative_kernels(sigma: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """(derivative, smoothing) taps of a sampled Gaussian of `sigma` pixels.

    The smoothing taps sum to 1; the derivative taps give slope 1 on a ramp of one grey level per pixel.
    """
    radius = max(3, math.ceil(4 * sigma))
    x = np.arange(-radius, radius + 1, dtype=np.float64)
    g = np.exp(-0.5 * (x / sigma) ** 2)
    g /= g.sum()
    d = x * g
    d /= (x * d).sum()
    return d.astype(np.float32), g.astype(np.float32)


def to_grey(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Grey (h, w) uint8 of a grey or RGB image (ITU-R BT.601 luma)."""
    if image.dtype != np.uint8 or image.ndim not in (2, 3) or (image.ndim == 3 and image.shape[2] != 3):
        raise ValueError(f"image must be (h, w) or (h, w, 3) uint8, got {image.shape} {image.dtype}")
    if image.ndim == 2:
        return np.ascontiguousarray(image)
    return np.asarray(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY), dtype=np.uint8)


def glare(image: NDArray[np.uint8], grey: NDArray[np.uint8], level: int) -> NDArray[np.uint8] | None:
    """255 on burnt-out blobs at least 3 px across and their rim, else 0; None where there are none.

    A colour image also loses blobs far brighter and far less colourful than the typical pixel: a highlight takes the hue
    of the lamp, not of the wood.
    """
    burnt = cv2.threshold(grey, level - 1, 255, cv2.THRESH_BINARY)[1]
    if image.ndim == 3:
        thin = image[:: max(1, image.shape[0] // 64), :: max(1, image.shape[1] // 64)].reshape(-1, 3)
        lowest, spread = thin.min(1), np.ptp(thin, axis=1)
        floor = max(180.0, float(np.median(lowest)) + 60)
        limit = min(30.0, 0.5 * float(np.median(spread)))
        if floor < 255 and limit >= 1:
            low = cv2.min(cv2.min(image[..., 0], image[..., 1]), image[..., 2])
            high = cv2.max(cv2.max(image[..., 0], image[..., 1]), image[..., 2])
            pale = cv2.threshold(cv2.subtract(high, low), int(limit), 255, cv2.THRESH_BINARY_INV)[1]
            bright = cv2.threshold(low, int(floor) - 1, 255, cv2.THRESH_BINARY)[1]
            burnt = cv2.bitwise_or(burnt, cv2.bitwise_and(pale, bright))
    if not cv2.hasNonZero(burnt):
        return None
    blob = np.ones((_CLIP_BLOB, _CLIP_BLOB), np.uint8)
    core = cv2.erode(burnt, blob)
    return np.asarray(cv2.dilate(core, np.ones((7, 7), np.uint8)), np.uint8) if cv2.hasNonZero(core) else None


def map_strips(work: Callable[[int], None], starts: Iterable[int], parallel: bool) -> None:
    """Run `work` for every strip start, over the processor's cores where it pays; errors are raised here."""
    cores = os.cpu_count() or 1
    if not parallel or cores < 2:
        for start in starts:
            work(start)
        return
    with ThreadPoolExecutor(min(4, cores)) as pool:
        for _ in pool.map(work, starts):
            pass


def _cells(grey: NDArray[np.uint8], usable: NDArray[np.uint8], step: int, sigma: float, per_px: float,
           variance: bool) -> NDArray[np.float32]:
    """Cell means (rows, cols, 6) of gx^2, gy^2, gx gy, weight, g^2, g over usable pixels of one pyramid level.

    `step`: level pixels per cell; the level's sides are multiples of it. `per_px`: image pixels per level pixel.
    """
    height, width = grey.shape
    rows, cols = height // step, width // step
    derivative, smooth = derivative_kernels(round(sigma, 4))
    reach = len(smooth) // 2
    derivative = derivative / np.float32(per_px)
    tall = max(1, _STRIP_PX // (width * step)) * step
    out = np.zeros((rows, cols, 6), np.float32)

    def work(top: int) -> None:
        bottom = min(height, top + tall)
        above, below = max(0, top - reach), min(height, bottom + reach)
        piece, cut = grey[above:below], slice(top - above, bottom - above)
        at = slice(top // step, bottom // step)
        good = usable[top:bottom]
        holes = cv2.countNonZero(good) < good.size
        bad = good == 0 if holes else None

        def mean(values: NDArray) -> NDArray:
            return resize(values, cols, (bottom - top) // step)

        def filtered(kx: NDArray, ky: NDArray) -> NDArray:
            values = cv2.sepFilter2D(piece, cv2.CV_32F, kx, ky, borderType=cv2.BORDER_REPLICATE)[cut]
            if bad is not None:
                values[bad] = 0
            return values

        gx, gy = filtered(derivative, smooth), filtered(smooth, derivative)
        out[at, :, 2] = mean(cv2.multiply(gx, gy))
        out[at, :, 0] = mean(cv2.multiply(gx, gx, dst=gx))
        out[at, :, 1] = mean(cv2.multiply(gy, gy, dst=gy))
        out[at, :, 3] = mean(good).astype(np.float32) / 255 if holes else 1
        if variance:
            g = filtered(smooth, smooth)
            out[at, :, 5] = mean(g)
            out[at, :, 4] = mean(cv2.multiply(g, g, dst=g))

    map_strips(work, range(0, height, tall), parallel=height * width > 1 << 19)
    return out


def _window(cells: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    """Gaussian window over cells; outside the grid counts as not measured (zero), never as a mirror image."""
    reach = max(1, math.ceil(3 * sigma))
    return np.asarray(cv2.GaussianBlur(cells, (2 * reach + 1, 2 * reach + 1), sigma, borderType=cv2.BORDER_CONSTANT))


def _tame(cells: NDArray[np.float32], cap: float, reach: float) -> None:
    """Cut cells whose energy towers over their surroundings down to `cap` times the robust level there, in place.

    The robust level is the power mean of exponent 1/4, which one strong line hardly moves.
    """
    weight = np.maximum(cells[..., 3], 1e-6)
    energy = (cells[..., 0] + cells[..., 1]) / weight
    root = np.dstack([np.sqrt(np.sqrt(energy)) * cells[..., 3], cells[..., 3]])
    around = _window(root, reach)
    level = (around[..., 0] / np.maximum(around[..., 1], 1e-6)) ** 4
    keep = np.minimum(1, cap * level / np.maximum(energy, 1e-9))
    cells[..., :3] *= keep[..., None]


def scale_tensors(image: NDArray[np.uint8], *, mask: NDArray[np.bool_] | None = None, step: int | None = None,
                  params: GrainParams | None = None) -> tuple[ScaleTensor, ...]:
    """Averaged structure tensors of a grey or RGB uint8 image, one per noise scale, on a common grid of cells.

    image: (h, w) or (h, w, 3) uint8. mask: (h, w) bool, True where the surface lies. step: pixels per cell.
    Gradients outside the mask, on glare and within two sigma of either are zeroed before averaging and the averages are
    divided by what was left (normalised convolution).
    """
    params = params or GrainParams()
    grey = to_grey(image)
    height, width = grey.shape
    step = default_step(height, width) if step is None else int(step)
    if step < 1:
        raise ValueError(f"step must be at least 1 pixel, got {step}")
    if mask is not None and mask.shape != grey.shape:
        raise ValueError(f"mask {mask.shape} and image {grey.shape} differ in size")
    usable = np.full(grey.shape, 255, np.uint8) if mask is None else np.where(mask, np.uint8(255), np.uint8(0))
    burnt = glare(image, grey, params.glare_level)
    if burnt is not None:
        usable[burnt > 0] = 0
    down, right = -height % step, -width % step
    if down or right:
        grey = np.pad(grey, ((0, down), (0, right)), mode="edge")
        usable = np.pad(usable, ((0, down), (0, right)))

    rho = max(params.rho, 0.75 * step) / step
    window = math.sqrt(max(rho**2 - (1 - 1 / step**2) / 12, 0.04))
    levels: dict[int, tuple[NDArray[np.uint8], NDArray[np.uint8], float]] = {1: (grey, usable, 0.0)}
    tensors = []
    for index, sigma in enumerate(params.sigmas):
        factor = 1
        while 4 * factor <= sigma + 1e-9 and step % (2 * factor) == 0:
            factor *= 2
        if factor not in levels:
            finer, ok, spread = levels[factor // 2]
            half_w, half_h = finer.shape[1] // 2, finer.shape[0] // 2
            smooth = np.asarray(cv2.GaussianBlur(finer, (5, 5), 1.0, borderType=cv2.BORDER_REPLICATE), np.uint8)
            half_ok = np.where(resize(ok, half_w, half_h) == 255, np.uint8(255), np.uint8(0))
            # variances add up: what came before, the blur (1 level px) and the 2x2 box ((4 - 1) / 12)
            spread = spread + (1.0 + 0.25) * (factor / 2) ** 2
            levels[factor] = (resize(smooth, half_w, half_h), half_ok, spread)
        level, ok, spread = levels[factor]
        inner = math.sqrt(sigma**2 - spread) / factor
        rim = math.ceil(2 * inner)
        rim_shape = np.ones((2 * rim + 1, 2 * rim + 1), np.uint8)
        inside = cv2.erode(ok, rim_shape, borderType=cv2.BORDER_CONSTANT, borderValue=0)
        cells = _cells(level, np.asarray(inside, np.uint8), step // factor, inner, factor, variance=index == 0)
        _tame(cells, params.edge_cap, 3 * rho)
        tensors.append(_finish(_window(cells, window), sigma, has_variance=index == 0))
    return tuple(tensors)


def _finish(sums: NDArray[np.float32], sigma: float, has_variance: bool) -> ScaleTensor:
    weight = sums[..., 3]
    mean = sums / np.maximum(weight, 1e-6)[..., None]
    spread = np.maximum(mean[..., 4] - mean[..., 5] ** 2, 0) if has_variance else np.full_like(weight, np.nan)
    cos2, sin2, energy = mean[..., 0] - mean[..., 1], 2 * mean[..., 2], mean[..., 0] + mean[..., 1]
    return ScaleTensor(sigma, cos2.astype(np.float32), sin2.astype(np.float32), energy.astype(np.float32),
                       np.ascontiguousarray(weight), spread.astype(np.float32))

"""Moves of one sheet onto another by correlating their whole figures: a second source beside the votes of local features.

Where a picture is small, soft and coarsely coded, hardly a feature survives, but a whole panel of weak likeness still adds up
to a peak. Both figures are brought to few pixels, the first is laid in every way and at several scales, and the
cross-correlation comes from Fourier transforms (the correlation theorem). A peak counts by how far it stands out of its own
surface, over the root of the shared area, so that slivers at the border do not win. Half a turn costs no transform of its
own: the spectrum of a turned image is the conjugate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.repeats.describe import SIGNS, Described
from vision.repeats.figure import ALONG_PX, CLEAR_GRAIN, Figure, blur_along
from vision.repeats.register import Registered
from vision.repeats.vote import Move, agreeing, turn_of
from vision.resize import resize_map

#: Shorter side and most pixels of the correlated images.
SHORT_PX, MOST_AREA = 112, 112 * 230
#: Blurs between which the figure is correlated, px of the correlated images.
BAND = (0.7, 5.0)
#: Share of the along-grain blur taken out first: what merely runs along the grain fits anywhere along it.
ALONG_TAKEN = 0.5
#: Scales tried, first sheet to second, once both are at the same number of sheet pixels.
SCALES: Final = (0.92, 0.96, 1.0, 1.04, 1.085)
#: Sheets must share this part of the smaller one.
LEAST_SHARED = 0.2
#: A peak of less height (root mean squares of its surface) is what chance brings.
LEAST_PEAK = 4.8
#: Cells a side in which likeness is looked for after a peak, and the correlation from which a cell agrees.
CELLS, CELL_AGREES = 6, 0.3

Map = NDArray[np.float32]
Matrix = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Peak:
    """A peak of the correlation. `signs`: laying; `transform`: 3x3, sheet a to sheet b pixels; `height`: root mean squares."""

    signs: tuple[int, int]
    transform: Matrix
    height: float


def correlated(figure: Figure, shrink: float) -> Map:
    """The figure as it is correlated, `shrink` figure pixels to one pixel, 0 outside the mask."""
    h, w = figure.mask.shape
    size = (max(8, round(w / shrink)), max(8, round(h / shrink)))
    mixed = resize_map(figure.levelled - ALONG_TAKEN * (figure.levelled - figure.crossing), *size)
    share = resize_map(figure.mask.astype(np.float32), *size)
    band = cv2.GaussianBlur(mixed, (0, 0), BAND[0]) - cv2.GaussianBlur(mixed, (0, 0), BAND[1])
    return np.asarray(band * share, dtype=np.float32)


def _shrink(figure: Figure) -> float:
    h, w = figure.mask.shape
    return float(max(1.0, min(h, w) / SHORT_PX, np.sqrt(h * w / MOST_AREA)))


def _to_sheet(figure: Figure, image: Map) -> Matrix:
    """3x3 taking pixels of a correlated image to sheet pixels (pixel centres kept)."""
    fy, fx = (figure.mask.shape[k] / image.shape[k] for k in (0, 1))
    return figure.to_sheet() @ np.array([[fx, 0, 0.5 * fx - 0.5], [0, fy, 0.5 * fy - 0.5], [0, 0, 1.0]])


def _laid(image: Map, linear: Matrix) -> tuple[Map, Matrix]:
    """The image under a linear map (turns by quarters, flips, scale), and the 3x3 to its pixels."""
    h, w = image.shape
    corners = np.array([[-0.5, -0.5], [w - 0.5, -0.5], [w - 0.5, h - 0.5], [-0.5, h - 0.5]]) @ linear.T
    low, size = corners.min(axis=0), np.maximum(8, np.round(np.ptp(corners, axis=0))).astype(int)
    matrix = np.eye(3)
    matrix[:2, :2], matrix[:2, 2] = linear, -low - 0.5
    out = cv2.warpAffine(image, matrix[:2], (int(size[0]), int(size[1])), flags=cv2.INTER_LINEAR)
    return np.asarray(out, dtype=np.float32), matrix


def correlation(spectrum_a: Map, spectrum_b: Map, *, turned: bool) -> Map:
    """(h, w) circular cross-correlation, at (dy, dx) the sum over a(y, x) b(y + dy, x + dx), from packed spectra (cv2.dft).

    `turned`: of a turned by half a turn about its first pixel, which is the convolution of both.
    """
    spectrum = cv2.mulSpectrums(spectrum_b, spectrum_a, 0, conjB=not turned)
    return np.asarray(cv2.dft(spectrum, flags=cv2.DFT_INVERSE | cv2.DFT_SCALE), dtype=np.float32)


def shared(a: int, b: int, n: int, *, turned: bool) -> NDArray[np.float32]:
    """(n,) pixels shared along one axis by lengths a and b for each circular shift; `turned`: a runs backwards."""
    t = np.arange(n)
    first = t - a + 1 if turned else np.where(t < b, t, t - n)
    return np.clip(np.minimum(first + a, b) - np.maximum(first, 0), 0, None).astype(np.float32)


def _padded(image: Map, height: int, width: int) -> Map:
    out = np.zeros((height, width), np.float32)
    out[: image.shape[0], : image.shape[1]] = image
    return out


def peaks(a: Described, b: Described, *, most: int = 3, signs: tuple[tuple[int, int], ...] = SIGNS) -> list[Peak]:
    """Highest peaks over all layings and scales, highest first, no two of one laying at one place; at most `most`."""
    shrink = max(_shrink(a.figure) * a.figure.scale, _shrink(b.figure) * b.figure.scale)  # the same for both sheets
    image_a, image_b = correlated(a.figure, shrink / a.figure.scale), correlated(b.figure, shrink / b.figure.scale)
    to_sheet_b, from_sheet_a = _to_sheet(b.figure, image_b), np.linalg.inv(_to_sheet(a.figure, image_a))
    found: list[Peak] = []
    for pair in ((s, (-s[0], -s[1])) for s in ((1, 1), (1, -1))):
        if any(s in signs for s in pair):
            for linear in _ways(a, b, pair[0]):
                found += [Peak(s, to_sheet_b @ move @ from_sheet_a, height)
                          for s, move, height in _of_pair(image_a, image_b, linear, pair) if s in signs]
    found.sort(key=lambda p: -p.height)
    return _apart(found, a, b, most)


def _of_pair(image_a: Map, image_b: Map, linear: Matrix, pair: tuple[tuple[int, int], ...],
             ) -> list[tuple[tuple[int, int], Matrix, float]]:
    """(signs, 3x3 from image a to image b, height) of the peaks of a laying (`linear`, 2x2) and its half turn, all scales."""
    hb, wb = image_b.shape
    high, wide = image_a.shape if linear[0, 0] else image_a.shape[::-1]
    ny, nx = (cv2.getOptimalDFTSize(int(np.ceil(n * SCALES[-1])) + 1 + m) for n, m in ((high, hb), (wide, wb)))
    spectrum_b = np.asarray(cv2.dft(_padded(image_b, ny, nx)), dtype=np.float32)
    out: list[tuple[tuple[int, int], Matrix, float]] = []
    for scale in SCALES:
        laid, matrix = _laid(image_a, scale * linear)
        ha, wa = laid.shape
        spectrum_a = np.asarray(cv2.dft(_padded(laid, ny, nx)), dtype=np.float32)
        for s, turned in zip(pair, (False, True), strict=True):
            surface = correlation(spectrum_a, spectrum_b, turned=turned)
            along_y, along_x = shared(ha, hb, ny, turned=turned), shared(wa, wb, nx, turned=turned)
            for height, x, y in _highest(surface, along_y, along_x, LEAST_SHARED * min(ha * wa, hb * wb)):
                move = np.array([[1.0, 0, x if x < wb else x - nx], [0, 1, y if y < hb else y - ny], [0, 0, 1]])
                if turned:
                    move = np.array([[-1.0, 0, x], [0, -1, y], [0, 0, 1]])
                out.append((s, move @ matrix, height))
    return out


def _ways(a: Described, b: Described, signs: tuple[int, int]) -> list[Matrix]:
    """2x2 layings to be tried: by the grain, and where that asks for a quarter turn of wild figure, also without it.

    The grain of wild figure is read along either border, and may be read along another one on the second picture.
    """
    by_grain = _nearest_quarter(turn_of(a, b, signs))
    if by_grain[0, 0] or max(a.figure.straight, b.figure.straight) >= CLEAR_GRAIN:
        return [by_grain]
    return [by_grain, np.diag(np.array(signs, dtype=np.float64))]


def _nearest_quarter(turn: Matrix) -> Matrix:
    """The signed permutation nearest to a 2x2 orthogonal matrix."""
    keep = np.abs(turn) >= np.abs(turn[:, ::-1])
    if keep.all():
        keep = np.eye(2, dtype=bool)
    return np.asarray(np.sign(turn) * keep, dtype=np.float64)


def _highest(surface: Map, along_y: NDArray[np.float32], along_x: NDArray[np.float32], least: float,
             ) -> list[tuple[float, int, int]]:
    """(height, x, y) of the two highest peaks among shifts that share at least `least` pixels."""
    shared = np.outer(along_y, along_x)
    fit = shared >= least
    value = np.where(fit, surface / np.sqrt(np.maximum(shared, 1.0)), np.float32(0))
    spread = float(np.sqrt(float(np.square(value).sum()) / max(int(fit.sum()), 1)))
    out = []
    for _ in range(2):
        _, top, _, (x, y) = cv2.minMaxLoc(value)
        out.append((float(top) / max(spread, 1e-9), int(x), int(y)))
        value[max(0, y - 4) : y + 5, max(0, x - 4) : x + 5] = 0
    return out


def _apart(found: list[Peak], a: Described, b: Described, most: int) -> list[Peak]:
    """The first `most` that lie over 6 % of the second sheet's longer side apart, or are laid otherwise."""
    h, w = a.figure.mask.shape
    centre = np.array([w / 2 * a.figure.scale, h / 2 * a.figure.scale, 1.0])
    gap = 0.06 * max(b.figure.mask.shape) * b.figure.scale
    out: list[Peak] = []
    for p in found:
        if all(q.signs != p.signs or float(np.abs((p.transform - q.transform)[:2] @ centre).max()) > gap for q in out):
            out.append(p)
        if len(out) == most:
            break
    return out


def dense_moves(a: Described, b: Described, *, most: int = 2, signs: tuple[tuple[int, int], ...] = SIGNS) -> list[Move]:
    """Moves of a onto b that the whole figures agree on, highest peak first.

    `votes` of such a move are the local features that agree with it, which may be none; its points are the cells of a in
    which both figures are alike.
    """
    out = []
    for p in peaks(a, b, most=most, signs=signs):
        if p.height < LEAST_PEAK:
            continue
        points = _cells(a, b, p.transform)
        if not len(points):
            continue
        through = np.c_[points, np.ones(len(points))] @ p.transform.T
        votes = agreeing(a, b, p.signs, p.transform)
        out.append(Move(p.signs, p.transform, votes, p.height, points, through[:, :2], peak=p.height))
    return out


def _cells(a: Described, b: Described, transform: Matrix) -> Matrix:
    """(n, 2) sheet points, the middles of the cells of a in which the figure of b laid by the transform is like that of a."""
    image_a = correlated(a.figure, _shrink(a.figure))
    image_b = correlated(b.figure, _shrink(b.figure))
    to_a = _to_sheet(a.figure, image_a)
    m = np.linalg.inv(_to_sheet(b.figure, image_b)) @ transform @ to_a
    h, w = image_a.shape
    warped = np.asarray(cv2.warpPerspective(image_b, m, (w, h), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP), np.float32)
    cell = max(6, round(max(h, w) / CELLS))
    ny, nx = max(1, h // cell), max(1, w // cell)
    best = np.full((ny, nx), -1.0)
    for dy in (-2, 0, 2):  # what a scale step or the perspective leaves over
        for dx in (-2, 0, 2):
            moved = np.roll(warped, (dy, dx), (0, 1))
            stack = np.dstack([image_a * moved, image_a * image_a, moved * moved])[: ny * cell, : nx * cell]
            both, own, other = np.moveaxis(resize_map(stack, nx, ny), 2, 0)
            like = both / np.sqrt(np.maximum(own * other, 1e-12))
            best = np.maximum(best, np.where(other > 0.05 * own, like, -1.0))
    y, x = np.nonzero(best > CELL_AGREES)
    at = np.stack([(x + 0.5) * cell - 0.5, (y + 0.5) * cell - 0.5, np.ones(len(x))], axis=1)
    return np.asarray((at @ to_a.T)[:, :2], dtype=np.float64)


def standing(found: Registered) -> float:
    """Height of the correlation of two registered figures, in root mean squares over all shifts that leave enough shared.

    Unlike `peaks` it knows where to look (within two pixels of no shift) and has the perspective taken out.
    """
    h, w = found.overlap.shape
    shrink = float(max(1.0, min(h, w) / SHORT_PX, np.sqrt(h * w / MOST_AREA)))
    size = (max(8, round(w / shrink)), max(8, round(h / shrink)))
    inside = found.overlap.astype(np.float32)
    share = resize_map(inside, *size)
    images = []
    for image in (found.first, found.second):
        along = blur_along(np.asarray(image * inside, np.float32), found.grain, ALONG_PX)
        small = resize_map(np.asarray((image - ALONG_TAKEN * along) * inside, np.float32), *size)
        band = cv2.GaussianBlur(small, (0, 0), BAND[0]) - cv2.GaussianBlur(small, (0, 0), BAND[1])
        images.append(np.asarray(band * share, dtype=np.float32))
    ny, nx = (cv2.getOptimalDFTSize(2 * n) for n in images[0].shape)
    first, second, area = (np.asarray(cv2.dft(_padded(v, ny, nx)), dtype=np.float32) for v in (*images, share))
    surface = correlation(first, second, turned=False)
    shared_area = correlation(area, area, turned=False)
    fit = shared_area > LEAST_SHARED * float(share.sum())
    value = np.where(fit, surface / np.sqrt(np.maximum(shared_area, 1.0)), np.float32(0))
    spread = float(np.sqrt(float(np.square(value).sum()) / max(int(fit.sum()), 1)))
    near = np.roll(value, (2, 2), (0, 1))[:5, :5]
    return float(near.max()) / max(spread, 1e-9)

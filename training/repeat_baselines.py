"""Known methods to measure against: SIFT voting, FFT correlation, phase correlation, and mirrored SIFT axis voting.

Each is given the chances it can take: poses it cannot see by itself (turned, mirrored) are tried in turn and the best
counts. None knows anything of wood.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]
Matrix = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Match:
    """`score`: higher is more of a repeat. `matrix`: 3x3 from pixels of a to pixels of b, None when nothing was found."""

    score: float
    matrix: Matrix | None


@dataclass(frozen=True)
class Axis:
    """A mirror axis as a line: x cos(angle) + y sin(angle) = distance (pixels, `angle` radians 0..pi, of its normal)."""

    distance: float
    angle: float
    score: float


def _poses(width: int, height: int) -> tuple[Matrix, ...]:
    """Plain, turned by a half, mirrored down and mirrored across: 3x3 matrices on pixel centres of a (h, w) picture."""
    sx, sy = width - 1.0, height - 1.0
    return (np.eye(3), np.array([[-1, 0, sx], [0, -1, sy], [0, 0, 1.0]]), np.array([[1, 0, 0], [0, -1, sy], [0, 0, 1.0]]),
            np.array([[-1, 0, sx], [0, 1, 0], [0, 0, 1.0]]))


def _posed(pixels: NDArray[np.float32], k: int) -> NDArray[np.float32]:
    return np.ascontiguousarray((pixels, pixels[::-1, ::-1], pixels[::-1], pixels[:, ::-1])[k])


def grey(pixels: Pixels) -> NDArray[np.uint8]:
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), dtype=np.uint8)


def band(pixels: Pixels) -> NDArray[np.float32]:
    """Grey levels between 1 and 12 px, the local contrast evened out."""
    light = grey(pixels).astype(np.float32)
    fine = cv2.GaussianBlur(light, (0, 0), 1.0) - cv2.GaussianBlur(light, (0, 0), 12.0)
    size = np.sqrt(cv2.GaussianBlur(fine * fine, (0, 0), 24.0))
    return np.asarray(fine / (size + 1.0), dtype=np.float32)


def sift_voting(a: Pixels, b: Pixels, *, ratio: float = 0.8, reach: float = 4.0) -> Match:
    """SIFT (Lowe 2004), two nearest neighbours, RANSAC for a similarity (OpenCV); score is the number of inliers.

    Similarities that no two panels can have (scale beyond 0.7..1.4, turned by more than 12 degrees from a pose) score 0.
    """
    sift = cv2.SIFT_create(nfeatures=1500, contrastThreshold=0.01)  # type: ignore[attr-defined]
    grey_a, grey_b = grey(a), grey(b)
    points_a, words_a = sift.detectAndCompute(grey_a, None)
    best = Match(0.0, None)
    if words_a is None or len(words_a) < 2:
        return best
    for mirrored in (False, True):
        points_b, words_b = sift.detectAndCompute(np.ascontiguousarray(grey_b[::-1]) if mirrored else grey_b, None)
        if words_b is None or len(words_b) < 2:
            continue
        near = cv2.BFMatcher(cv2.NORM_L2).knnMatch(words_a, words_b, k=2)
        good = [m[0] for m in near if len(m) == 2 and m[0].distance < ratio * m[1].distance]
        if len(good) < 3:
            continue
        src = np.array([points_a[m.queryIdx].pt for m in good], np.float32)
        dst = np.array([points_b[m.trainIdx].pt for m in good], np.float32)
        cv2.setRNGSeed(7)
        part, inliers = cv2.estimateAffinePartial2D(src, dst, method=cv2.RANSAC, ransacReprojThreshold=reach,
                                                    maxIters=3000, confidence=0.995)
        if part is None:
            continue
        scale = float(np.hypot(part[0, 0], part[1, 0]))
        turn = np.rad2deg(np.arctan2(part[1, 0], part[0, 0])) % 180
        if not 0.7 < scale < 1.4 or 12 < turn < 168:
            continue
        # several features at one place count once
        kept = np.unique(np.round(src[inliers.ravel() > 0] / 2).astype(int), axis=0)
        if len(kept) > best.score:
            matrix = np.vstack([part, [0, 0, 1.0]])
            if mirrored:
                matrix = _poses(b.shape[1], b.shape[0])[2] @ matrix
            best = Match(float(len(kept)), matrix)
    return best


def fft_correlation(a: Pixels, b: Pixels) -> Match:
    """Highest peak of the autocorrelation of a canvas that holds both panels, away from its middle: by FFT this is their
    cross-correlation, here over the root of the shared area so that slivers do not win; peak in units of its own spread."""
    from scipy import fft

    band_a, band_b = band(a), band(b)
    h = cv2.getOptimalDFTSize(a.shape[0] + b.shape[0])
    w = cv2.getOptimalDFTSize(a.shape[1] + b.shape[1])
    ones = (fft.rfft2(np.ones(a.shape[:2], np.float32), (h, w)), fft.rfft2(np.ones(b.shape[:2], np.float32), (h, w)))
    shared = fft.irfft2(ones[0] * np.conj(ones[1]), (h, w))
    fit = shared > 0.15 * min(a.shape[0] * a.shape[1], b.shape[0] * b.shape[1])
    freq_a = fft.rfft2(band_a, (h, w))
    best = Match(0.0, None)
    for k, pose in enumerate(_poses(b.shape[1], b.shape[0])):
        product = fft.irfft2(freq_a * np.conj(fft.rfft2(_posed(band_b, k), (h, w))), (h, w))
        value = np.where(fit, product / np.sqrt(np.maximum(shared, 1)), 0)
        spread = float(np.sqrt(np.mean(value[fit] ** 2)))
        row, col = np.unravel_index(int(np.argmax(value)), value.shape)
        score = float(value[row, col]) / max(spread, 1e-9)
        if score > best.score:
            dy, dx = (int(row) if row < a.shape[0] else int(row) - h), (int(col) if col < a.shape[1] else int(col) - w)
            best = Match(score, pose @ np.array([[1, 0, -dx], [0, 1, -dy], [0, 0, 1.0]]))
    return best


def phase_correlation(a: Pixels, b: Pixels) -> Match:
    """`skimage.registration.phase_cross_correlation` on the evened-out panels; score is the correlation of what overlaps
    after that shift, times the root of the overlapping share."""
    from skimage.registration import phase_cross_correlation

    band_a, band_b = band(a), band(b)
    h, w = max(a.shape[0], b.shape[0]), max(a.shape[1], b.shape[1])
    field_a = np.pad(band_a, ((0, h - a.shape[0]), (0, w - a.shape[1])))
    best = Match(0.0, None)
    for k, pose in enumerate(_poses(b.shape[1], b.shape[0])):
        field_b = np.pad(_posed(band_b, k), ((0, h - b.shape[0]), (0, w - b.shape[1])))
        shift = phase_cross_correlation(field_a, field_b, normalization="phase", disambiguate=False)[0]
        # the shift is known up to a whole turn of the field in each direction: take what overlaps best
        for dy in (shift[0], shift[0] - np.sign(shift[0]) * h):
            for dx in (shift[1], shift[1] - np.sign(shift[1]) * w):
                score = _overlap_score(band_a, _posed(band_b, k), int(dy), int(dx))
                if score > best.score:
                    best = Match(score, pose @ np.array([[1, 0, -int(dx)], [0, 1, -int(dy)], [0, 0, 1.0]]))
    return best


def _overlap_score(a: NDArray[np.float32], b: NDArray[np.float32], dy: int, dx: int) -> float:
    """Correlation of a with b moved by (dy, dx), times the root of the overlapping share of the smaller."""
    y0, y1 = max(0, dy), min(a.shape[0], b.shape[0] + dy)
    x0, x1 = max(0, dx), min(a.shape[1], b.shape[1] + dx)
    if y1 - y0 < 24 or x1 - x0 < 24:
        return 0.0
    p, q = a[y0:y1, x0:x1].ravel(), b[y0 - dy : y1 - dy, x0 - dx : x1 - dx].ravel()
    p, q = p - p.mean(), q - q.mean()
    value = float(p @ q / (np.sqrt(float(p @ p) * float(q @ q)) + 1e-9))
    return value * float(np.sqrt(p.size / min(a.size, b.size)))


def mirror_axes(pixels: Pixels, *, most: int = 8, angle_bins: int = 180) -> list[Axis]:
    """Mirror axes by voting of mirrored SIFT pairs, in the manner of Loy and Eklundh (ECCV 2006), best first.

    Every feature is matched with the best mirrored feature elsewhere on the picture; a pair votes for the line halfway
    between, weighted by how well the two orientations mirror, 1 - cos(phi_i + phi_j - 2 theta) where positive, and by how
    alike the scales are. Peaks of the smoothed votes are axes; `score` is in votes.
    """
    light = grey(pixels)
    h, w = light.shape
    sift = cv2.SIFT_create(nfeatures=2000, contrastThreshold=0.01)  # type: ignore[attr-defined]
    points, words = sift.detectAndCompute(light, None)
    mirrored, mirrored_words = sift.detectAndCompute(np.ascontiguousarray(light[:, ::-1]), None)
    if words is None or mirrored_words is None or len(words) < 4 or len(mirrored_words) < 4:
        return []
    p = np.array([k.pt for k in points])
    q = np.array([(w - 1 - k.pt[0], k.pt[1]) for k in mirrored])
    phi_p = np.deg2rad([k.angle for k in points])
    phi_q = np.pi - np.deg2rad([k.angle for k in mirrored])  # direction on the unmirrored picture
    size_p, size_q = np.array([k.size for k in points]), np.array([k.size for k in mirrored])
    best: list[tuple[int, int]] = []
    for group in cv2.BFMatcher(cv2.NORM_L2).knnMatch(words, mirrored_words, k=3):
        for m in group:  # a feature may find itself: the nearest other place counts
            if np.hypot(*(p[m.queryIdx] - q[m.trainIdx])) > 6:
                best.append((m.queryIdx, m.trainIdx))
                break
    if not best:
        return []
    i, j = np.array(best).T
    d = q[j] - p[i]
    theta = np.arctan2(d[:, 1], d[:, 0])
    weight = np.maximum(1 - np.cos(phi_p[i] + phi_q[j] - 2 * theta), 0)
    weight *= np.exp(-((np.abs(size_p[i] - size_q[j]) / (0.2 * (size_p[i] + size_q[j]))) ** 2))
    middle = (p[i] + q[j]) / 2
    angle = theta % np.pi
    distance = middle[:, 0] * np.cos(angle) + middle[:, 1] * np.sin(angle)
    reach = int(np.ceil(np.hypot(h, w)))
    votes = np.zeros((angle_bins, 2 * reach + 1), np.float32)
    np.add.at(votes, ((angle / np.pi * angle_bins).astype(int) % angle_bins, np.round(distance).astype(int) + reach), weight)
    # the far end of the angles joins the near end with the distance reversed
    pad = 6
    wide = np.vstack([votes[-pad:, ::-1], votes, votes[:pad, ::-1]])
    smooth = cv2.GaussianBlur(wide, (0, 0), sigmaX=max(2.0, 0.006 * max(h, w)), sigmaY=1.5)[pad:-pad]
    axes: list[Axis] = []
    for _ in range(most):
        row, col = np.unravel_index(int(np.argmax(smooth)), smooth.shape)
        top = float(smooth[row, col])
        if top <= 0:
            break
        axes.append(Axis(float(col) - reach, (float(row) + 0.5) / angle_bins * np.pi, top))
        gap = max(4, round(0.04 * max(h, w)))
        for r in range(int(row) - 5, int(row) + 6):
            c = int(col) if 0 <= r < angle_bins else 2 * reach - int(col)
            smooth[r % angle_bins, max(0, c - gap) : c + gap + 1] = 0
    return axes


BASELINES: dict[str, Callable[[Pixels, Pixels], Match]] = {"sift": sift_voting, "fft": fft_correlation,
                                                           "phase": phase_correlation}

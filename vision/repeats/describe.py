"""Local features of a sheet's figure, with the features that its mirrored and half-turned likeness would have.

Features are upright to the grain of their sheet, not to their own gradients: on wood nearly every patch would choose the
same two directions, and a fixed frame tells a half turn and the two mirrorings apart by mere reordering of the descriptor
(the cells of a SIFT descriptor and its eight directions change places; Loy and Eklundh 2006 do so for mirrors).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.product import product
from vision.repeats.figure import Figure, figure_of
from vision.repeats.sheet import Sheet
from vision.resize import resize_map

#: Most features kept of one sheet.
FEATURES_PER_SHEET = 360
#: Signs (along, across the grain) by which the figure of one sheet can lie in the frame of another.
SIGNS: Final = ((1, 1), (-1, -1), (1, -1), (-1, 1))
#: Share of the along-grain blur that is taken out of the image the features are found on.
ALONG_TAKEN = 0.5
#: Figure images of fewer pixels than this are described at finer scales.
SMALL_AREA = 70_000
#: Numbers in a descriptor.
DIMENSIONS = 64
#: Descriptors look at a patch this much wider than SIFT's own choice.
WIDER = 1.25


@dataclass(frozen=True, eq=False)
class Described:
    """Features of one sheet.

    `points`: (n, 2) float32 sheet pixels; `sizes`: (n,) float32 sheet pixels; `descriptors`: (n, DIMENSIONS) float32 of
    length 1; `turned`, `mirrored`, `mirrored_turned`: the same features as they would be described had the sheet been
    turned by half a turn, mirrored about its grain (across it), or mirrored along it. `frame`: 2x2, sheet axes to grain axes.
    """

    points: NDArray[np.float32]
    sizes: NDArray[np.float32]
    descriptors: NDArray[np.float32]
    turned: NDArray[np.float32]
    mirrored: NDArray[np.float32]
    mirrored_turned: NDArray[np.float32]
    frame: NDArray[np.float64]
    figure: Figure

    def seen(self, signs: tuple[int, int]) -> NDArray[np.float32]:
        """Descriptors of the sheet laid with the given signs along and across the grain."""
        return (self.descriptors, self.turned, self.mirrored, self.mirrored_turned)[SIGNS.index(signs)]


@lru_cache(maxsize=1)
def _basis() -> NDArray[np.float32]:
    """(128, DIMENSIONS): smoothest cosines over the 4x4 cells, the even one left out, times the 8 directions; orthonormal.

    The even one holds how often each direction occurs, which all grain shares.
    """
    k = np.arange(4)
    cos = np.array([np.cos(np.pi * (k + 0.5) * u / 4) for u in range(4)])
    cos /= np.linalg.norm(cos, axis=1, keepdims=True)
    pairs = sorted(((u, v) for u in range(4) for v in range(4)), key=lambda p: (p[0] + p[1], p[0]))[1 : 1 + DIMENSIONS // 8]
    columns = [np.kron(np.outer(cos[v], cos[u]).ravel(), np.eye(8)[o]) for u, v in pairs for o in range(8)]
    return np.array(columns, dtype=np.float32).T.copy()


def laid(raw: NDArray[np.float32], signs: tuple[int, int]) -> NDArray[np.float32]:
    """Raw (n, 128) SIFT descriptors reordered as if the patch had been flipped by the signs along and across its frame."""
    cells = raw.reshape(-1, 4, 4, 8)
    o = np.arange(8)
    along, across = signs
    if across < 0:
        cells, o = cells[:, ::-1], (-o) % 8
    if along < 0:
        cells, o = cells[:, :, ::-1], (4 - o) % 8
    return np.ascontiguousarray(cells[..., o]).reshape(-1, 128)


def _short(raw: NDArray[np.float32]) -> NDArray[np.float32]:
    root = np.sqrt(raw / np.maximum(raw.sum(axis=1, keepdims=True), 1e-6))
    out = product(root, _basis().T)
    return np.asarray(out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-6), dtype=np.float32)


def _spread(keypoints: list[cv2.KeyPoint], width: int, height: int, most: int) -> list[cv2.KeyPoint]:
    """The strongest `most` keypoints, at most an even share of them from each cell of an 8 x 6 grid, then the rest."""
    if len(keypoints) <= most:
        return keypoints
    ordered = sorted(keypoints, key=lambda k: -k.response)
    share, taken = int(np.ceil(1.5 * most / 48)), np.zeros((6, 8), int)
    first: list[cv2.KeyPoint] = []
    rest: list[cv2.KeyPoint] = []
    for k in ordered:
        r, c = min(5, int(6 * k.pt[1] / height)), min(7, int(8 * k.pt[0] / width))
        (first if taken[r, c] < share else rest).append(k)
        taken[r, c] += 1
    return (first + rest)[:most]


def describe(sheet: Sheet, *, most: int = FEATURES_PER_SHEET) -> Described:
    """Features of a sheet; a sheet without figure gives none."""
    figure = figure_of(sheet)
    h, w = figure.mask.shape
    image = figure.levelled - ALONG_TAKEN * (figure.levelled - figure.crossing)
    # SIFT doubles its input: a smaller one goes in, and nothing is invented; an enlarged figure goes back to its own pixels
    grown = min(1.0, figure.scale)
    half = (2.0 if h * w * grown**2 > SMALL_AREA else 1.4) / grown
    size = (max(8, round(w / half)), max(8, round(h / half)))
    small = resize_map(image, *size)
    picture = np.clip(128 + 50 * small, 0, 255).astype(np.uint8)
    inside = cv2.resize(figure.mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    bordered = cv2.copyMakeBorder(inside, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    inside = cv2.erode(bordered, np.ones((7, 7), np.uint8))[1:-1, 1:-1]
    sift = cv2.SIFT.create(0, 3, 0.012, 20.0, 1.6)
    found = sift.detect(picture, np.ascontiguousarray(inside * np.uint8(255)))
    unique = {(round(k.pt[0], 2), round(k.pt[1], 2), k.octave): k for k in found}  # one per place, whatever its directions
    kept = _spread(list(unique.values()), size[0], size[1], most)
    frame = np.array([[np.cos(figure.grain), np.sin(figure.grain)], [-np.sin(figure.grain), np.cos(figure.grain)]])
    if len(kept) < 2:
        none = np.zeros((0, DIMENSIONS), np.float32)
        return Described(np.zeros((0, 2), np.float32), np.zeros(0, np.float32), none, none, none, none, frame, figure)
    for k in kept:
        k.angle = float(np.degrees(figure.grain))
        k.size *= WIDER
    described, found_raw = sift.compute(picture, kept)
    raw = np.asarray(found_raw, dtype=np.float32)
    fx, fy = w / size[0] * figure.scale, h / size[1] * figure.scale
    points = np.array([k.pt for k in described], np.float32)
    points = (points + 0.5) * np.array([fx, fy], np.float32) - 0.5
    sizes = np.array([k.size for k in described], np.float32) * np.float32(np.sqrt(fx * fy))
    views = [_short(laid(raw, s)) for s in SIGNS]
    return Described(points, sizes, views[0], views[1], views[2], views[3], frame, figure)

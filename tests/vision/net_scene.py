"""A made-up net whose evidence is known: it sees veneer wherever a picture is redder than the rest, and nothing else."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.looks import context_crop, native_tile, panel_crop
from vision.net_answer import FACE_NAMES, NetAnswer
from vision.panels import rectify
from vision.types import Panel, Photo, WorkingView

NAMES = ("context", "panel", "native")
QUAD = ((150.0, 120.0), (720.0, 170.0), (700.0, 560.0), (130.0, 520.0))
#: A corner of the panel in shares of its width and height.
CORNER = (0.05, 0.05, 0.3, 0.35)


def photo_with(patches=(), seed: int = 0, size=(900, 700), quad=QUAD) -> tuple[Photo, Panel]:
    """A brown panel on grey with red patches, each (u0, v0, u1, v1) in shares of the panel's width and height."""
    rng = np.random.default_rng(seed)
    pixels = np.full((size[1], size[0], 3), 120, np.float32)
    cv2.fillPoly(pixels, [np.array(quad, np.int32)], (130, 120, 100))
    frame = cv2.getPerspectiveTransform(np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32), np.array(quad, np.float32))
    for u0, v0, u1, v1 in patches:
        corners = np.array([[[u0, v0], [u1, v0], [u1, v1], [u0, v1]]], np.float32)
        cv2.fillPoly(pixels, [cv2.perspectiveTransform(corners, frame)[0].astype(np.int32)], (200, 90, 70))
    pixels += rng.normal(0, 4, (*pixels.shape[:2], 1))
    photo = Photo("p", "a.jpg", "", np.clip(pixels, 0, 255).astype(np.uint8))
    return photo, Panel("s1", "p", tuple(quad), source="given")


@dataclass(frozen=True)
class RedNet:
    """`gain`: nats of a picture that is red all over; `cells` of its map along each side; `bias` of its first answer."""

    gain: float = 40.0
    cells: int = 7
    bias: float = 0.3
    shuffled: bool = False

    def answer(self, photo: Photo, view: WorkingView) -> NetAnswer:
        """What it says of a panel; `shuffled`: with its places mixed up, so that its map lies."""
        side = 224 // self.cells
        face_map = np.zeros((len(NAMES), 6, self.cells, self.cells), np.float32)
        for k, crop in enumerate((context_crop(photo, view), panel_crop(view), native_tile(view))):
            x = crop.astype(np.float32)
            red = np.maximum(x[..., 0] - x[..., 1:].mean(axis=2) - 35, 0) / 100
            found = red.reshape(self.cells, side, self.cells, side).mean(axis=(1, 3))
            if self.shuffled:
                rng = np.random.default_rng(int(1000 * found.sum()) + k)
                found = rng.permutation(found.ravel()).reshape(found.shape)
            face_map[k, FACE_NAMES.index("veneer")] = self.gain * found
        face = np.array([self.bias, 0, -1, -2, -2, -3], np.float32) + face_map.mean(axis=(2, 3)).sum(axis=0)
        return NetAnswer(face, np.zeros(4, np.float32), np.zeros(4, np.float32), face_map, NAMES)


def answer_with(maps: np.ndarray, names=NAMES) -> NetAnswer:
    """An answer whose evidence for veneer is `maps` (crops, h, w), in nats a picture."""
    face_map = np.zeros((len(names), 6, *maps.shape[1:]), np.float32)
    face_map[:, 1] = maps
    face = np.array([0.0, 0, -9, -9, -9, -9], np.float32) + face_map.mean(axis=(2, 3)).sum(axis=0)
    return NetAnswer(face, np.zeros(4, np.float32), np.zeros(4, np.float32), face_map, names)


def view_of(photo: Photo, panel: Panel) -> WorkingView:
    """The working view of the panel."""
    return rectify(photo, panel)

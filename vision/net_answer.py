"""What the panel net answers about one panel: what it thinks, and what each place of each of its pictures adds to that."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.registry import CORES, FACES

FACE_NAMES = tuple(FACES)


@dataclass(frozen=True, eq=False)
class NetAnswer:
    """Answers of a net whose evidence adds up.

    `face` (6,), `core` (4,), `view` (4,): logits in nats, in the order of `vision.inference.model.TARGETS`. `face_map`
    (crops, 6, h, w): evidence of each place, so that face = bias + sum of face_map / (h * w) over crops and places, the bias
    being the same for all panels. `crops`: what each picture shows, keys of `vision.crop_places.PLACES`.
    """

    face: NDArray[np.float32]
    core: NDArray[np.float32]
    view: NDArray[np.float32]
    face_map: NDArray[np.float32]
    crops: tuple[str, ...]

    def __post_init__(self) -> None:
        if self.face.shape != (len(FACES),) or self.core.shape != (len(CORES),) or self.view.shape != (4,):
            raise ValueError(f"logits of shapes {self.face.shape}, {self.core.shape}, {self.view.shape}")
        if self.face_map.ndim != 4 or self.face_map.shape[:2] != (len(self.crops), len(FACES)):
            raise ValueError(f"face_map {self.face_map.shape} does not fit {len(self.crops)} crops and {len(FACES)} faces")
        if not (np.isfinite(self.face).all() and np.isfinite(self.face_map).all()):
            raise ValueError("a net's answer is finite")

    def leading(self) -> tuple[str, str]:
        """The face the net puts first and the one it puts second."""
        order = np.argsort(-self.face, kind="stable")
        return FACE_NAMES[order[0]], FACE_NAMES[order[1]]

    def log_odds(self, pair: tuple[str, str]) -> float:
        """Nats by which the net prefers the first face of a pair to the second, its bias included."""
        a, b = (FACE_NAMES.index(p) for p in pair)
        return float(self.face[a] - self.face[b])

    def evidence(self, pair: tuple[str, str]) -> NDArray[np.float64]:
        """(crops, h, w) nats that each place adds for the first face of a pair as against the second; their sum is `log_odds`
        but for the bias."""
        a, b = (FACE_NAMES.index(p) for p in pair)
        h, w = self.face_map.shape[2:]
        return (self.face_map[:, a].astype(np.float64) - self.face_map[:, b]) / (h * w)

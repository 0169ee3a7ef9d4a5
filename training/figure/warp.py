"""How the fibres of a trunk wander: curl, ribbon, quilt, bird's eye, burl. What is cut from it shows the wander as figure.

A wander moves the places at which the trunk is read, so that rings, pores and rays follow it, and adds the sheen of fibres that
rise to the surface and fall away from it. Sizes are common practice, no source.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from training.figure.noise import Floats, cell_hash, second_hash, smoothstep, thin_grid, value_noise, widen

#: Ways in which fibres wander, with what each looks like on a face.
FIGURED: Final[dict[str, str]] = {
    "straight": "Nothing but the rings.",
    "curl": "Bands of light and dark across the grain.",
    "ribbon": "Stripes of light and dark along the grain, on quarter-sawn faces.",
    "quilt": "Cushions of light and dark.",
    "birds_eye": "Small round eyes scattered over the face.",
    "burl": "Swirls and clusters of eyes without a direction.",
}


class Warp:
    """The wander of one trunk: `kind` a key of FIGURED, `seed` fixes its strength and pitch."""

    def __init__(self, kind: str, seed: int) -> None:
        if kind not in FIGURED:
            raise ValueError(f"unknown figure {kind!r}; known: {', '.join(FIGURED)}")
        rng = np.random.default_rng([seed, 12])
        self.kind, self.seed = kind, seed + 7001
        self.pitch = float({"curl": rng.uniform(9, 28), "ribbon": rng.uniform(14, 40), "quilt": rng.uniform(22, 55),
                            "birds_eye": rng.uniform(16, 40), "burl": rng.uniform(26, 60)}.get(kind, 1.0))
        self.strength = float(rng.uniform(0.6, 1.3))

    def __call__(self, p: Floats, texel: float) -> tuple[Floats, Floats | None, Floats | None]:
        """(places moved, sheen to add to the tone or None, share 0..1 of eyes or None) of a (h, w, 3) grid of places, mm."""
        if self.kind == "straight":
            return p, None, None
        return getattr(self, f"_{self.kind}")(p, texel)

    def _slow(self, p: Floats, texel: float, salt: int, across: float, along: float) -> Floats:
        """Slow noise over the grid, worked out on few of its places."""
        shape = p.shape[:2]
        step = max(1, int(0.12 * across / max(texel, 1e-3)))
        rows, cols = thin_grid(shape, step)
        thin = p[np.round(rows).astype(int)][:, np.round(cols).astype(int)] if step == 1 else _between(p, rows, cols)
        wave = value_noise(self.seed + salt, thin[..., 0] / across, thin[..., 1] / across, thin[..., 2] / along)
        return wave if wave.shape == shape else widen(wave, shape)

    def _curl(self, p: Floats, texel: float) -> tuple[Floats, Floats, None]:
        lean = 1.6 * self._slow(p, texel, 1, 90.0, 160.0)
        phase = p[..., 2] * np.float32(6.2832 / self.pitch) + 2.2 * lean
        depth = np.float32(0.02 * self.pitch * self.strength)
        patch = smoothstep(-0.6, 0.3, self._slow(p, texel, 2, 120.0, 420.0))
        moved = p.copy()
        moved[..., 0] += depth * patch * np.sin(phase)
        moved[..., 1] += depth * patch * np.sin(phase + np.float32(1.1))
        return moved, (np.float32(0.11 * self.strength) * patch * np.cos(phase)).astype(np.float32), None

    def _ribbon(self, p: Floats, texel: float) -> tuple[Floats, Floats, None]:
        r = np.hypot(p[..., 0], p[..., 1])
        phase = r * np.float32(6.2832 / self.pitch) + 1.5 * self._slow(p, texel, 3, 80.0, 500.0)
        # fibres lean one way in one layer and the other way in the next: the trunk is read a little further round
        turn = np.float32(0.0011 * self.strength) * p[..., 2] * np.sin(phase)
        moved = p.copy()
        moved[..., 0] -= turn * p[..., 1] * np.float32(0.1)
        moved[..., 1] += turn * p[..., 0] * np.float32(0.1)
        return moved, (np.float32(0.075 * self.strength) * np.sin(phase)).astype(np.float32), None

    def _quilt(self, p: Floats, texel: float) -> tuple[Floats, Floats, None]:
        wave = self._slow(p, texel, 4, self.pitch, 0.6 * self.pitch)
        other = self._slow(p, texel, 5, self.pitch, 0.6 * self.pitch)
        moved = p.copy()
        depth = np.float32(0.05 * self.pitch * self.strength)
        moved[..., 0] += depth * wave
        moved[..., 1] += depth * other
        return moved, (np.float32(0.10 * self.strength) * wave).astype(np.float32), None

    def _birds_eye(self, p: Floats, texel: float) -> tuple[Floats, Floats, Floats]:
        moved, eyes = self._eyed(p, 0.32, self.pitch, (1.2, 2.6))
        dark = np.float32(0.5) * np.clip(eyes - 0.2, 0, 0.8)
        return moved, (np.float32(-0.05) * eyes).astype(np.float32), dark.astype(np.float32)

    def _burl(self, p: Floats, texel: float) -> tuple[Floats, Floats, Floats]:
        moved = p.copy()
        for axis in range(3):
            wave = self._slow(p, texel, 10 + axis, self.pitch, self.pitch)
            fine = self._slow(p, texel, 20 + axis, 0.37 * self.pitch, 0.37 * self.pitch)
            moved[..., axis] += np.float32(self.strength * self.pitch) * (1.1 * wave + 0.35 * fine)
        moved[..., 2] *= np.float32(0.25)  # no direction is longer than another
        near, eyes = self._eyed(p, 0.45, 0.4 * self.pitch, (1.5, 4.0))
        moved += near - p
        sheen = np.float32(0.07) * self._slow(p, texel, 31, 0.5 * self.pitch, 0.5 * self.pitch)
        crowded = smoothstep(-0.1, 0.5, self._slow(p, texel, 32, 1.3 * self.pitch, 1.3 * self.pitch))
        return moved, sheen.astype(np.float32), (np.float32(0.62) * crowded * np.clip(eyes - 0.1, 0, 0.9)).astype(np.float32)

    def _eyed(self, p: Floats, share: float, pitch: float, radius: tuple[float, float]) -> tuple[Floats, Floats]:
        """(places drawn towards eyes, closeness 0..1 to the nearest eye): one eye at most in each cell along the radius."""
        theta, r, z = np.arctan2(p[..., 1], p[..., 0]), np.hypot(p[..., 0], p[..., 1]), p[..., 2]
        ring = np.floor(r / 90.0).astype(np.int32)  # an eye runs out along the radius for so long
        arc = theta * (ring.astype(np.float32) + 0.5) * np.float32(90.0) / np.float32(pitch)
        high = z / np.float32(pitch)
        ia, iz = np.floor(arc).astype(np.int32), np.floor(high).astype(np.int32)
        h = cell_hash(self.seed + 41, ia, iz, ring)
        size = radius[0] + (radius[1] - radius[0]) * second_hash(h, 3)
        room = np.clip(size / pitch, 0, 0.45)
        da = (arc - ia - (room + (1 - 2 * room) * second_hash(h, 1))) * pitch
        dz = (high - iz - (room + (1 - 2 * room) * second_hash(h, 2))) * pitch
        d = np.hypot(da, dz) / size
        there = h < share
        eyes = np.where(there, 1.0 - smoothstep(0.1, 1.05, d), 0.0).astype(np.float32)
        # rings dip towards the pith at an eye, and show as small circles round it
        dip = np.where(there, np.exp(-np.square(d / 1.6)), 0.0).astype(np.float32) * np.float32(1.4) * size.astype(np.float32)
        moved = p.copy()
        safe = np.maximum(r, 1e-3)
        moved[..., 0] += dip * p[..., 0] / safe
        moved[..., 1] += dip * p[..., 1] / safe
        return moved, eyes


def _between(p: Floats, rows: np.ndarray, cols: np.ndarray) -> Floats:
    r, c = np.clip(np.round(rows).astype(int), 0, p.shape[0] - 1), np.clip(np.round(cols).astype(int), 0, p.shape[1] - 1)
    return p[r][:, c]

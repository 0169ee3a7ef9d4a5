"""A surface as colour, height and gloss, and the picture that one lamp and one window make of it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from training.damage.fields import Floats, grid

#: Shares of a lamp's light that reach the inside of a shadow are those of `Lamp.ambient`; shadows are marched this far.
MAX_MARCH = 14


@dataclass(eq=False)
class Surface:
    """What is drawn on. `colour`: (h, w, 3) float32 sRGB 0..1; `height`: (h, w) float32 px above the face; `gloss`: (h, w)
    0 (matt) to 1 (mirror-like varnish); `shade`: (h, w) factor on all light (dirt in gaps, dark holes)."""

    colour: Floats
    height: Floats
    gloss: Floats
    shade: Floats

    @property
    def shape(self) -> tuple[int, int]:
        return int(self.colour.shape[0]), int(self.colour.shape[1])

    def copy(self) -> Surface:
        return Surface(self.colour.copy(), self.height.copy(), self.gloss.copy(), self.shade.copy())

    def paint(self, cover: Floats, colour: Floats | tuple[float, float, float]) -> None:
        """Lay `colour` over what is there, `cover` (h, w) 0..1."""
        other = np.asarray(colour, np.float32)
        self.colour += cover[..., None] * (other - self.colour)

    def tone(self, cover: Floats, factor: float | tuple[float, float, float]) -> None:
        """Multiply colour by `factor` where `cover` is 1."""
        self.colour *= 1 + cover[..., None] * (np.asarray(factor, np.float32) - 1)


@dataclass(frozen=True)
class Lamp:
    """`azimuth`, `elevation`: where the main light comes from, radians (azimuth in picture axes, y down); `ambient`: share
    of light from all round; `window`: (x, y) slope at which a facet mirrors the window; `size`: spread of the window in
    slopes; `strength`: grey levels its full mirror image adds; `spread`: how far the mirror direction moves over the panel."""

    azimuth: float
    elevation: float
    ambient: float = 0.4
    window: tuple[float, float] = (0.4, 0.2)
    size: float = 0.12
    strength: float = 90.0
    spread: float = 0.3


def any_lamp(rng: np.random.Generator) -> Lamp:
    """A room's light: from low side light to nearly overhead."""
    far = rng.uniform(0.05, 0.7)
    about = rng.uniform(0, 2 * np.pi)
    return Lamp(
        float(rng.uniform(0, 2 * np.pi)),
        float(np.deg2rad(rng.uniform(18, 68))),
        float(rng.uniform(0.25, 0.65)),
        (float(far * np.cos(about)), float(far * np.sin(about))),
        float(rng.uniform(0.06, 0.22)),
        float(rng.uniform(20, 150)),
        float(rng.uniform(0.1, 0.5)),
    )


def shine(surface: Surface, lamp: Lamp) -> NDArray[np.float32]:
    """(h, w, 3) float32 grey levels 0..255 of the lit surface.

    Diffuse light follows Lambert's law about the height field, with marched cast shadows; the gloss mirrors a soft window.
    Light multiplies sRGB colour by its 1/2.2 power, which is the same as multiplying linear colour.
    """
    height = cv2.GaussianBlur(surface.height, (0, 0), 0.6)
    gx = cv2.Sobel(height, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    gy = cv2.Sobel(height, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    norm = np.float32(1) / np.sqrt(1 + gx * gx + gy * gy)
    flat, low = np.float32(np.sin(lamp.elevation)), np.float32(np.cos(lamp.elevation))
    toward = np.float32(np.cos(lamp.azimuth)), np.float32(np.sin(lamp.azimuth))
    direct = np.clip((flat - low * (gx * toward[0] + gy * toward[1])) * norm / flat, 0, 2.2)
    direct *= 1 - cast(surface.height, lamp)
    ambient = np.float32(lamp.ambient)
    light = (ambient * norm + (1 - ambient) * direct) * surface.shade
    out = surface.colour * (np.maximum(light, 1e-4) ** np.float32(1 / 2.2))[..., None] * np.float32(255)
    h, w = surface.shape
    y, x = grid(surface.shape)
    reach = np.float32(lamp.spread / max(h, w))
    dx = -gx + (x - np.float32((w - 1) / 2)) * reach - np.float32(lamp.window[0])
    dy = -gy + (y - np.float32((h - 1) / 2)) * reach - np.float32(lamp.window[1])
    blur = np.float32(lamp.size) * (1.8 - surface.gloss)
    mirror = surface.gloss * np.exp(-(dx * dx + dy * dy) / (2 * blur * blur)) * np.float32(lamp.strength)
    out += (mirror * surface.shade)[..., None]
    return np.clip(out, 0, 255)


def cast(height: Floats, lamp: Lamp) -> Floats:
    """(h, w) 0..1 how much of the lamp each point loses to what stands between: marched against the light."""
    top, bottom = float(height.max()), float(height.min())
    slope = float(np.tan(lamp.elevation))
    steps = int(min(MAX_MARCH, np.ceil((top - bottom) / slope)))
    out = np.zeros_like(height)
    if top - bottom < 0.15 or steps < 1:
        return out
    h, w = height.shape
    for k in range(1, steps + 1):
        dx, dy = k * np.cos(lamp.azimuth), k * np.sin(lamp.azimuth)
        move = np.array([[1, 0, dx], [0, 1, dy]], np.float64)
        there = cv2.warpAffine(
            height, move, (w, h), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE
        )
        np.maximum(
            out,
            np.clip((there - height - np.float32(k * slope)) / np.float32(0.35 * k * slope + 0.15) + np.float32(0.5), 0, 1),
            out=out,
        )
    return out

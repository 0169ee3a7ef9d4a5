"""Ten ways in which phones develop a picture, and four ways in which it then reaches a reader. All are made up.

A phone's way is a set of habits that its shots share; a shot varies about them (training/scenes/phone.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np


@dataclass(frozen=True)
class Habit:
    """How one phone develops. Multipliers on a shot's draw: `noise`, `sharpen`, `blur`; `denoise`, `contrast`, `saturation`:
    middle of the draw; `local`: strength of local brightening of shadows 0..1; `halo`: reach of its sharpening, px; `warm`:
    lean of its white balance; `balance`: share of the lamp's colour taken out; `quality`: JPEG; `halved`: colour stored at half
    size."""

    noise: float = 1.0
    sharpen: float = 1.0
    blur: float = 1.0
    denoise: float = 0.5
    contrast: float = 1.2
    saturation: float = 1.0
    local: float = 0.0
    halo: float = 1.1
    warm: float = 0.0
    balance: float = 0.75
    quality: tuple[int, int] = (82, 96)
    halved: bool = True


HABITS: Final[dict[str, Habit]] = {
    "plain": Habit(),
    "crisp": Habit(noise=0.7, sharpen=1.5, denoise=0.45, contrast=1.35, local=0.25, quality=(88, 96)),
    "smooth": Habit(noise=0.8, sharpen=0.9, denoise=0.95, contrast=1.1, local=0.3, halo=1.6, quality=(80, 93)),
    "vivid": Habit(sharpen=1.2, denoise=0.6, contrast=1.6, saturation=1.18, local=0.2, warm=0.02, quality=(82, 95)),
    "night": Habit(noise=1.5, sharpen=1.1, denoise=0.9, contrast=1.0, local=0.55, balance=0.6, halo=1.8, quality=(76, 92)),
    "old": Habit(noise=1.8, sharpen=0.6, blur=1.8, denoise=0.3, contrast=1.0, saturation=0.9, quality=(70, 90)),
    "cheap": Habit(noise=1.6, sharpen=1.6, blur=1.4, denoise=0.85, contrast=1.5, saturation=1.08, halo=2.2, quality=(70, 90)),
    "natural": Habit(noise=0.9, sharpen=0.35, denoise=0.25, contrast=0.9, saturation=0.95, quality=(90, 97), halved=False),
    "cool": Habit(denoise=0.6, contrast=1.15, saturation=0.93, warm=-0.03, balance=0.95, local=0.15),
    "wide": Habit(noise=1.1, sharpen=1.2, blur=1.2, denoise=0.7, contrast=1.25, local=0.3),
}


@dataclass(frozen=True)
class Delivery:
    """What happens to a picture after the phone: `sizes`: longest side px that it is shrunk to (empty: left as it is),
    `quality`: of the JPEG then written, `passes`: how often it was written before."""

    sizes: tuple[int, ...] = ()
    quality: tuple[int, int] = (85, 96)
    passes: int = 0


DELIVERIES: Final[dict[str, Delivery]] = {
    "camera": Delivery(),
    "message": Delivery((1600, 1280, 1024), (72, 90), 1),
    "listing": Delivery((1024, 800, 640), (70, 90), 1),
    "thumbnail": Delivery((480, 400, 320), (60, 85), 2),
}


def pick(rng: np.random.Generator, weights: dict[str, float]) -> str:
    """One key, drawn with its weight."""
    names = sorted(weights)
    share = np.array([weights[n] for n in names], dtype=float)
    return str(rng.choice(names, p=share / share.sum()))

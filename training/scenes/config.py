"""The committed settings of the rendered set, read from training/config/scenes.toml."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

CONFIG_FILE = Path(__file__).resolve().parent.parent / "config" / "scenes.toml"


@dataclass(frozen=True)
class Settings:
    """See scenes.toml for what each value means."""

    version: int
    seed: int
    photos_per_piece: tuple[int, int]
    twin_share: float
    min_panel_px: int
    min_panel_width_px: int
    pieces: dict[str, float]
    styles: dict[str, float]
    views: dict[str, float]
    long_side: tuple[int, int]
    portrait_share: float
    spp: int
    max_depth: int
    jpeg: tuple[int, int]


def load_settings(path: Path = CONFIG_FILE) -> Settings:
    """Settings from a TOML file; raises KeyError when one is missing."""
    raw = tomllib.loads(path.read_text(encoding="utf-8"))
    s, p = raw["set"], raw["picture"]
    return Settings(
        version=int(s["version"]),
        seed=int(s["seed"]),
        photos_per_piece=(int(s["photos_per_piece"][0]), int(s["photos_per_piece"][1])),
        twin_share=float(s["twin_share"]),
        min_panel_px=int(s["min_panel_px"]),
        min_panel_width_px=int(s["min_panel_width_px"]),
        pieces=dict(raw["pieces"]),
        styles=dict(raw["styles"]),
        views=dict(raw["views"]),
        long_side=(int(p["long_side"][0]), int(p["long_side"][1])),
        portrait_share=float(p["portrait_share"]),
        spp=int(p["spp"]),
        max_depth=int(p["max_depth"]),
        jpeg=(int(p["jpeg"][0]), int(p["jpeg"][1])),
    )


def draw(rng: np.random.Generator, weights: dict[str, float]) -> str:
    """A key drawn by weight."""
    keys = list(weights)
    w = np.array([weights[k] for k in keys], dtype=float)
    return keys[int(rng.choice(len(keys), p=w / w.sum()))]

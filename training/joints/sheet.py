"""Command: `python -m training.joints.sheet --out FILE`: a contact sheet to judge the pictures by eye, truth drawn on or not."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training.joints.kinds import NAMES
from training.joints.make import drawn, make_joint
from vision.resize import fit_within, resize

TILE = 300


def tile(name: str, seed: int, *, draw: bool) -> NDArray[np.uint8]:
    picture = make_joint(name, seed)
    pixels = drawn(picture) if draw else picture.pixels
    scale = TILE / max(pixels.shape[:2])
    width, height = fit_within(round(pixels.shape[1] * scale), round(pixels.shape[0] * scale), max_side=TILE)
    out = np.full((TILE, TILE, 3), 20, np.uint8)
    out[:height, :width] = resize(pixels, width, height)
    for colour, thick in (((0, 0, 0), 2), ((255, 255, 255), 1)):
        cv2.putText(out, f"{name} {seed}", (4, TILE - 6), cv2.FONT_HERSHEY_SIMPLEX, 0.42, colour, thick, cv2.LINE_AA)
    return out


def sheet(names: Sequence[str], seeds: Sequence[int], *, draw: bool = False, columns: int = 6) -> NDArray[np.uint8]:
    tiles = [tile(n, s, draw=draw) for n in names for s in seeds]
    tiles += [np.zeros_like(tiles[0])] * (-len(tiles) % columns)
    return np.concatenate([np.concatenate(tiles[k:k + columns], axis=1) for k in range(0, len(tiles), columns)])


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--names", nargs="*", default=list(NAMES))
    parser.add_argument("--seeds", nargs="*", type=int, default=[1])
    parser.add_argument("--draw", action="store_true")
    chosen = parser.parse_args(arguments)
    cv2.imwrite(str(chosen.out), sheet(chosen.names, chosen.seeds, draw=chosen.draw)[..., ::-1])


if __name__ == "__main__":
    main()

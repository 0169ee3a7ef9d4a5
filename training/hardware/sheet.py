"""Command: `python -m training.hardware.sheet --out FILE`: a contact sheet to judge the pictures by, truth drawn on or not."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training.hardware.grounds import drawn
from training.hardware.make import LAYOUTS, HardwarePicture, make
from vision.resize import fit_within, resize

TILE = 320
_COLOURS = {"knob": (0, 255, 0), "pull": (255, 0, 255), "keyhole": (255, 255, 0), "hinge": (0, 255, 255), "screw": (255, 128, 0),
            "hole": (255, 0, 0), "glass": (80, 120, 255)}


def outlined(picture: HardwarePicture) -> NDArray[np.uint8]:
    out = picture.pixels.copy()
    for kind, points in picture.truth:
        cv2.polylines(out, [np.round(points).astype(np.int32)], True, _COLOURS[kind], 1, cv2.LINE_AA)
    return out


def sheet(pictures: Sequence[HardwarePicture], *, draw: bool, columns: int = 6) -> NDArray[np.uint8]:
    tiles = []
    for p in pictures:
        pixels = outlined(p) if draw else p.pixels
        tile = np.full((TILE, TILE, 3), 20, np.uint8)
        width, height = fit_within(pixels.shape[1], pixels.shape[0], max_side=TILE)
        tile[:height, :width] = resize(pixels, width, height)
        tiles.append(tile)
    tiles += [np.zeros_like(tiles[0])] * (-len(tiles) % columns)
    return np.concatenate([np.concatenate(tiles[k : k + columns], axis=1) for k in range(0, len(tiles), columns)])


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seeds", nargs="*", type=int, default=[1, 2, 3])
    parser.add_argument("--draw", action="store_true")
    chosen = parser.parse_args(arguments)
    grounds = drawn("fit", 12)
    pictures = [make(s, grounds, layout) for layout in LAYOUTS for s in chosen.seeds]
    cv2.imwrite(str(chosen.out), sheet(pictures, draw=chosen.draw)[..., ::-1])


if __name__ == "__main__":
    main()

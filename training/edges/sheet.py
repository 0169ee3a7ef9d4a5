"""Command: `python -m training.edges.sheet --out FILE`: a contact sheet to judge the pictures by eye, truth drawn on or not."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites.figures import Figure, load
from training.edges.kinds import NAMES
from training.edges.make import EdgePicture, make_edge
from vision.resize import resize


def tile(picture: EdgePicture, *, draw: bool, width: int = 420) -> NDArray[np.uint8]:
    """The picture `width` wide with its name, outlines drawn on it when asked for."""
    pixels, truth = picture.pixels.copy(), picture.truth
    if draw:
        cv2.polylines(pixels, [np.round(truth.outline).astype(np.int32)], True, (255, 0, 255), 1)
        if truth.arris is not None:
            a, b = (tuple(round(v) for v in p) for p in truth.arris)
            cv2.line(pixels, a, b, (0, 255, 0), 1)
    if pixels.shape[0] > pixels.shape[1]:
        pixels = np.ascontiguousarray(np.rot90(pixels, -1))
    h = round(pixels.shape[0] * width / pixels.shape[1])
    small = resize(pixels, width, h)[:270]
    small = np.pad(small, ((0, 270 - small.shape[0]), (0, 0), (0, 0)))
    text = f"{truth.build} {truth.setting} s{truth.seed}"
    cv2.putText(small, text, (4, 12), cv2.FONT_HERSHEY_SIMPLEX, 0.4, (0, 0, 0), 2, cv2.LINE_AA)
    cv2.putText(small, text, (4, 12), cv2.FONT_HERSHEY_SIMPLEX, 0.4, (255, 255, 255), 1, cv2.LINE_AA)
    return np.asarray(small, np.uint8)


def sheet(names: Sequence[str], setting: str, seeds: Sequence[int], photos: Sequence[Figure], *, draw: bool = False,
          columns: int = 4) -> NDArray[np.uint8]:
    tiles = [tile(make_edge(n, setting, s, photos), draw=draw) for n in names for s in seeds]
    tiles += [np.zeros_like(tiles[0])] * (-len(tiles) % columns)
    return np.concatenate([np.concatenate(tiles[k:k + columns], axis=1) for k in range(0, len(tiles), columns)])


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--setting", default="close")
    parser.add_argument("--names", nargs="*", default=list(NAMES))
    parser.add_argument("--seeds", nargs="*", type=int, default=[1])
    parser.add_argument("--photos", type=Path, default=None, help="photo collection for real figure")
    parser.add_argument("--draw", action="store_true")
    chosen = parser.parse_args(arguments)
    photos = [] if chosen.photos is None else load(chosen.photos, Path("build/textures"), "tune")
    cv2.imwrite(str(chosen.out), sheet(chosen.names, chosen.setting, chosen.seeds, photos, draw=chosen.draw)[..., ::-1])


if __name__ == "__main__":
    main()

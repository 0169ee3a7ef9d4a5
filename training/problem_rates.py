"""How often photo problems are raised on ordinary photos, and on the same photos spoilt by a known amount.

    python -m training.problem_rates --photos DIR [--most 80]

Ordinary photos: every file of `DIR`/photos.csv marked as outlined, at most one a specimen, at most `--most`. Spoiling is
done on the decoded pixels: Gaussian focus blur and straight motion blur (px of the one-megapixel copy), light divided or
multiplied in linear light, JPEG written again. Intervals are exact binomial (Clopper-Pearson) over photos.
"""

from __future__ import annotations

import argparse
import csv
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training.binomial import exact_interval
from vision.errors import GrainassayError
from vision.intake import load_photo, measure_problems
from vision.intake.problems import SHARPNESS_PX
from vision.registry import PROBLEMS
from vision.resize import fit_within, resize
from vision.types import Photo

Pixels = NDArray[np.uint8]


def focus(pixels: Pixels, sigma: float) -> Pixels:
    """Gaussian blur."""
    return np.asarray(cv2.GaussianBlur(pixels, (0, 0), sigma), np.uint8)


def motion(pixels: Pixels, length: int) -> Pixels:
    """Straight blur of `length` px at 30 degrees."""
    kernel = np.zeros((length, length), np.float32)
    middle = (length - 1) / 2
    step = np.array([np.cos(np.pi / 6), np.sin(np.pi / 6)]) * middle
    ends = np.round([[middle - step[0], middle - step[1]], [middle + step[0], middle + step[1]]]).astype(int)
    cv2.line(kernel, tuple(ends[0].tolist()), tuple(ends[1].tolist()), 1.0)
    return np.asarray(cv2.filter2D(pixels, -1, kernel / kernel.sum()), np.uint8)


def light(pixels: Pixels, factor: float) -> Pixels:
    """Exposure changed by a factor in linear light (gamma 2.2)."""
    table = (255 * np.clip((np.arange(256) / 255) ** 2.2 * factor, 0, 1) ** (1 / 2.2)).round().astype(np.uint8)
    return np.asarray(cv2.LUT(pixels, table), np.uint8)


def compressed(pixels: Pixels, quality: int) -> Pixels:
    """JPEG written and read again; only the pixels tell."""
    done, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise ValueError("JPEG could not be written")
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)


#: Name -> (what is done, the problems that count as caught).
SPOILT: dict[str, tuple[Callable[[Pixels], Pixels], tuple[str, ...]]] = {
    "focus blur, sigma 2 px": (lambda p: focus(p, 2.0), ("focus_blur", "motion_blur")),
    "focus blur, sigma 4 px": (lambda p: focus(p, 4.0), ("focus_blur", "motion_blur")),
    "motion blur, 15 px": (lambda p: motion(p, 15), ("focus_blur", "motion_blur")),
    "light divided by 12": (lambda p: light(p, 1 / 12), ("underexposed",)),
    "light times 8": (lambda p: light(p, 8.0), ("overexposed", "glare")),
    "JPEG quality 10": (lambda p: compressed(p, 10), ("strong_compression",)),
}


def ordinary(folder: Path, most: int) -> list[Photo]:
    """Photos as they are, one a specimen, spread over the collection."""
    with (folder / "photos.csv").open(newline="") as stream:
        rows = [r for r in csv.DictReader(stream) if r["use"] == "outlined"]
    first = list({r["group"]: r for r in reversed(rows)}.values())[::-1]
    photos = []
    for row in first[:: max(1, -(-len(first) // most))]:
        try:
            photos.append(load_photo(folder / "img" / row["file"], "photo"))
        except GrainassayError as error:
            print(f"left out: {error}")
    return photos


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--most", type=int, default=80)
    args = parser.parse_args()
    photos = ordinary(args.photos, args.most)
    raised = Counter(p.kind for photo in photos for p in measure_problems(photo))
    print(f"{len(photos)} ordinary photos")
    for kind in PROBLEMS:
        low, high = exact_interval(raised[kind], len(photos))
        if kind not in ("too_far", "no_wood_like_surface"):
            print(f"  raised {kind:24s} {raised[kind] / len(photos):.3f}   [{low:.3f}, {high:.3f}]")
    for name, (spoil, caught) in SPOILT.items():
        hits = 0
        for photo in photos:
            size = fit_within(photo.width, photo.height, max_pixels=SHARPNESS_PX)
            bad = replace(photo, pixels=spoil(resize(photo.pixels, *size)), jpeg_quality=None)
            hits += any(p.kind in caught for p in measure_problems(bad))
        low, high = exact_interval(hits, len(photos))
        print(f"  caught {name:24s} {hits / len(photos):.3f}   [{low:.3f}, {high:.3f}]")


if __name__ == "__main__":
    main()

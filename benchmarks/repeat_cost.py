"""What the search for repeats costs as photos are added: 2 to 48 photos of six panels each.

    python -m benchmarks.repeat_cost

Panels are cut from logs and printed webs of the figure generator, so that true repeats are among them. The yardstick is
matching every panel with every other, feature by feature, with the same code in the same run. Cost per photo should
stay level: the limits are on the ratio to the cost per photo of a 2-photo listing. Rendering the panels is not timed.
"""

from __future__ import annotations

import time
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks.rows import Row, table, use_two_cores
from training.figure.species import SPECIES
from training.trap_scenes import board_face
from vision.repeats.describe import Described, describe
from vision.repeats.find import find_repeats
from vision.repeats.index import CandidateIndex
from vision.repeats.sheet import Sheet
from vision.repeats.vote import moves

PHOTOS = (2, 4, 8, 16, 24, 48)
PANELS = 6
#: Listings on which every panel is matched with every other; larger ones are not run, that is the point.
BRUTE = (2, 4, 8)
WIDTH, HEIGHT = 400, 200
#: Most the cost per photo may grow from 2 photos to the listing's size.
MOST_GROWTH = 2.0


def panels(count: int, seed: int = 0) -> list[Sheet]:
    """`count` sheets, PANELS a photo; two of every photo are cut from one print, the others from boards of their own."""
    rng = np.random.default_rng(seed)
    names = sorted(SPECIES)
    out = []
    web: NDArray[np.uint8] | None = None
    for k in range(count):
        role = k % PANELS
        if role == 0 or web is None:
            web = _wood(str(rng.choice(names)), 2 * WIDTH, HEIGHT, rng)
        if role < 2:
            x = 0 if role == 0 else int(rng.integers(40, WIDTH // 2))
            face = web[:, x : x + WIDTH]
        else:
            face = _wood(str(rng.choice(names)), WIDTH, HEIGHT, rng)
        noisy = face.astype(np.float32) + rng.normal(0, 2.5, face.shape).astype(np.float32)
        pixels = np.clip(noisy, 0, 255).astype(np.uint8)
        to_photo = np.array([[1.0, 0, 20], [0, 1.0, 20 + 1.2 * HEIGHT * role], [0, 0, 1]])
        out.append(Sheet(f"photo {k // PANELS}", f"panel {k}", pixels, np.ones((HEIGHT, WIDTH), np.bool_), to_photo))
    return out


def _wood(species: str, width: int, height: int, rng: np.random.Generator) -> NDArray[np.uint8]:
    return board_face(species, str(rng.choice(["flat", "rift", "quarter"])), int(rng.integers(1 << 30)), width, height)


def _sorted_out(described: list[Described]) -> int:
    index = CandidateIndex()
    for d in described:
        index.add(d)
    chosen = index.candidates()
    for c in chosen:
        moves(described[c.a], described[c.b], signs=(c.signs,))
    return len(chosen)


def _every_pair(described: list[Described]) -> None:
    for a, b in combinations(described, 2):
        moves(a, b)


def seconds(work: object, *args: object) -> float:
    """CPU time of one call: other work on the machine must not count."""
    start = time.process_time()
    work(*args)  # type: ignore[operator]
    return time.process_time() - start


def rows() -> list[Row]:
    """Cost per photo against that of two photos, and against matching every pair."""
    cv2.setNumThreads(1)
    sheets = panels(PANELS * max(PHOTOS))
    find_repeats(sheets[:PANELS])
    whole: dict[int, float] = {}
    sought: dict[int, float] = {}
    brute: dict[int, float] = {}
    out: list[Row] = []
    for n in PHOTOS:
        part = sheets[: n * PANELS]
        whole[n] = min(seconds(find_repeats, part) for _ in range(3 if n == 2 else 1)) / n
        described = [describe(s) for s in part]
        sought[n] = min(seconds(_sorted_out, described) for _ in range(3 if n == 2 else 1)) / n
        if n in BRUTE:
            brute[n] = seconds(_every_pair, described) / n
    out.append(Row(f"repeats: whole search, {PHOTOS[0]} photos of {PANELS} panels, a photo", whole[PHOTOS[0]], "s"))
    for n in PHOTOS[1:]:
        out.append(Row(f"repeats: whole search, {n} photos: cost a photo against {PHOTOS[0]} photos", whole[n] / whole[PHOTOS[0]],
                       "times", MOST_GROWTH))
    out.extend(Row(f"repeats: sorting out and matching, {n} photos: cost a photo against {PHOTOS[0]} photos",
                   sought[n] / sought[PHOTOS[0]], "times") for n in PHOTOS[1:])
    out.extend(Row(f"repeats: matching every pair, {n} photos: cost a photo against {PHOTOS[0]} photos",
                   brute[n] / brute[PHOTOS[0]], "times") for n in BRUTE[1:])
    out.extend(Row(f"repeats: sorting out and matching, {n} photos, against matching every pair", sought[n] / brute[n], "times",
                   1.0 if n == max(BRUTE) else None) for n in BRUTE)
    return out


if __name__ == "__main__":
    use_two_cores()
    print(table(rows()))

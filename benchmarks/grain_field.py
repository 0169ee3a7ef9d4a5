"""Time and memory of the grain field of a 12-megapixel photo against a full-size structure tensor.

Run with ``python -m benchmarks.grain_field``. The reference is ``skimage.feature.structure_tensor(image, sigma=3)`` on the
same picture in the same run, as uint8 and as float32. The target is a fifth of the reference's time.
"""

from __future__ import annotations

import resource
import threading
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from skimage.feature import structure_tensor

from benchmarks.rows import Row, number, table, use_two_cores
from vision.grain import grain_field
from vision.resize import resize


def picture(height: int = 3000, width: int = 4000, seed: int = 0) -> NDArray[np.uint8]:
    """Grain-like grey uint8 picture with sensor noise."""
    rng = np.random.default_rng(seed)
    figure = resize(rng.integers(60, 200, (height // 4, width // 100), dtype=np.uint8), width, height)
    return np.clip(figure + rng.normal(0, 4, (height, width)).astype(np.float32), 0, 255).astype(np.uint8)


def best_of(work: Callable[[], object], runs: int) -> float:
    """Shortest of `runs` wall times, seconds."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def resident_mb() -> float:
    """Resident memory of this process now, MB (Linux)."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize() / 1e6


def extra_mb(work: Callable[[], object]) -> float:
    """Most memory held above the start while `work` runs, MB, sampled every 2 ms."""
    start, samples, done = resident_mb(), [0.0], threading.Event()

    def watch() -> None:
        while not done.wait(0.002):
            samples.append(resident_mb() - start)

    watcher = threading.Thread(target=watch)
    watcher.start()
    work()
    done.set()
    watcher.join()
    return max(samples)


def rows() -> list[Row]:
    """Times, ratios and extra memory."""
    image = picture()
    view = np.ascontiguousarray(image[:480, :640])
    grain_field(view)
    extra = extra_mb(lambda: grain_field(image))
    ours = best_of(lambda: grain_field(image), 5)
    found = [
        Row("grain field of 4000 x 3000 pixels", ours, "s"),
        Row("grain field of 4000 x 3000 pixels: memory held meanwhile", extra, "MB"),
        Row("grain field of 640 x 480 pixels", best_of(lambda: grain_field(view), 20) * 1e3, "ms"),
    ]
    for name, reference in (("uint8", image), ("float32", image.astype(np.float32) / np.float32(255))):
        theirs = best_of(partial(structure_tensor, reference, sigma=3), 3)
        found.append(Row(f"its time over the structure tensor's ({name}: {number(theirs)} s)", ours / theirs, "times", 0.2))
    return found


if __name__ == "__main__":
    use_two_cores()
    print(table(rows()))

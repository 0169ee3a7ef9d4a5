"""Time that end joints take on one picture, against a full-size structure tensor of the same picture.

Run with ``python -m benchmarks.joint_ends``. The reference is ``skimage.feature.structure_tensor(image, sigma=3)`` as float32 on
the same picture in the same run. No target is set.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from skimage.feature import structure_tensor

from benchmarks.grain_field import best_of
from benchmarks.rows import Row, number, table, use_two_cores
from vision.joints.tails import find_tails


def picture(height: int = 420, width: int = 640, seed: int = 0) -> NDArray[np.uint8]:
    """A board with six machine-cut tails at its right end, streaks along it and sensor noise."""
    rng = np.random.default_rng(seed)
    streaks = 165 + 12 * np.repeat(rng.standard_normal((height, 1)), width, axis=1)
    y, x = np.mgrid[:height, :width]
    depth = np.clip(x - (width - 60), 0, 60)
    off = np.abs((y % 70) - 35.0)  # from the middle of a pin
    pin = (depth > 0) & (off < 17 - (depth - 30) * np.tan(np.deg2rad(8.0)))
    tone = np.where(pin, 110, streaks) + rng.normal(0, 4, (height, width))
    return np.clip(tone[..., None] * np.array([1.0, 0.82, 0.62]), 0, 255).astype(np.uint8)


def rows() -> list[Row]:
    """Times and their ratio."""
    image = picture()
    if not find_tails(image):
        raise RuntimeError("the joint of the picture was not found: its time would mean nothing")
    light = image.mean(axis=2).astype(np.float32) / np.float32(255)
    ours, theirs = best_of(lambda: find_tails(image), 7), best_of(lambda: structure_tensor(light, sigma=3), 7)
    return [Row("end joints of 640 x 420 pixels", ours * 1e3, "ms"),
            Row(f"its time over the structure tensor's ({number(theirs * 1e3)} ms)", ours / theirs, "times")]


if __name__ == "__main__":
    use_two_cores()
    print(table(rows()))

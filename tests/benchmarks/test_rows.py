"""Tables of figures, the big photo and the memory meter: a benchmark that misreads is worse than none."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from benchmarks import install_weight
from benchmarks.big_photo import HEIGHT, NOISE_SD, WIDTH, enlarged
from benchmarks.rows import Row, number, table


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0"), (0.0123, "0.0123"), (0.5, "0.500"), (1.0, "1.00"), (9.999, "10.0"),
        (12.34, "12.3"), (123.4, "123"), (4567, "4567"),
    ],
)
def test_numbers_have_three_figures_and_no_exponent(value, text):
    assert number(value) == text


def test_a_target_is_met_up_to_the_limit_and_missed_beyond():
    assert Row("x", 5, "s", 5).met is True and Row("x", 5.1, "s", 5).met is False and Row("x", 5, "s").met is None
    text = table([Row("slow", 5.1, "s", 5), Row("free", 2, "s")])
    assert "| slow | 5.10 s | at most 5.00 s, MISSED |" in text and "| free | 2.00 s |  |" in text


@pytest.mark.parametrize("shape", [(300, 400), (300, 700), (640, 360)])
def test_the_big_photo_is_the_same_every_time_and_twelve_megapixels(shape):
    ramp = np.linspace(40, 200, shape[1]).astype(np.uint8)
    small = np.broadcast_to(ramp[None, :, None], (*shape, 3)).copy()
    big = enlarged(small)
    assert big.shape == (HEIGHT, WIDTH, 3) and np.array_equal(big[::101, ::97], enlarged(small)[::101, ::97])
    if shape == (300, 400):  # nothing is cropped: rows differ by the noise alone
        sd = (big[:1000, 2000:2010, 0].astype(float)).std(axis=0).mean()
        assert abs(sd - NOISE_SD) < 0.3


def test_the_memory_meter_sees_what_is_held():
    """In a process of its own, where nothing else has raised the mark."""
    code = (
        "import sys; from benchmarks.whole_photo import high_water_mb as mark; before = mark(); "
        "block = bytearray(b'x') * 120_000_000; during = mark(); del block; print(during - before, mark() - before)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=install_weight.ROOT, check=True, capture_output=True, text=True)
    during, after = map(float, done.stdout.split())
    assert 110 < during < 140 and after == pytest.approx(during, abs=5)


def test_a_package_weighs_what_its_files_weigh():
    import jinja2

    folder = Path(jinja2.__file__).parent
    # The folder holds all of the package but its metadata.
    assert install_weight.folder_mb(folder) == pytest.approx(install_weight.package_mb("jinja2"), rel=0.2)


def test_weights_are_sorted_and_cover_the_lock():
    found = install_weight.by_package()
    assert list(found.values()) == sorted(found.values(), reverse=True)
    assert {"numpy", "opencv-python-headless", "onnxruntime"} <= set(found) and "mitsuba" not in found

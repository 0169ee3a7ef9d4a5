"""Compiled inner loops of the figure (kernels.c), where a C compiler is at hand: the same figure about ten times sooner.

The library is kept in build/kernels under a name made of its source, and made anew when that changes. Noise and hashes come out
equal to the last bit with numpy's; longer formulas differ by rounding. Without a compiler `library` is None and numpy does it.
"""

from __future__ import annotations

import ctypes
import hashlib
import os
import shutil
import subprocess
import tempfile
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

SOURCE = Path(__file__).with_name("kernels.c")
FOLDER = Path(__file__).resolve().parents[2] / "build" / "kernels"
#: No reordering of sums, no fused multiply-add: numpy has neither.
_FLAGS = ["-O3", "-march=x86-64-v3", "-ffp-contract=off", "-fno-math-errno", "-fno-trapping-math", "-shared", "-fPIC"]


@lru_cache(maxsize=1)
def library() -> ctypes.CDLL | None:
    """The compiled loops; None where they cannot be had or GRAINASSAY_KERNELS=off."""
    if os.environ.get("GRAINASSAY_KERNELS") == "off":
        return None
    key = hashlib.sha256(SOURCE.read_bytes() + " ".join(_FLAGS).encode()).hexdigest()[:16]
    path = FOLDER / f"figure-{key}.so"
    try:
        if not path.exists():
            _compile(path)
        return ctypes.CDLL(str(path))
    except (OSError, subprocess.CalledProcessError):
        return None


def _compile(path: Path) -> None:
    compiler = shutil.which("cc") or shutil.which("gcc") or shutil.which("clang")
    if compiler is None:
        raise OSError("no C compiler")
    path.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=path.parent) as folder:
        made = Path(folder) / path.name
        subprocess.run([compiler, *_FLAGS, "-o", str(made), str(SOURCE), "-lm"], check=True, capture_output=True)
        os.replace(made, path)  # other processes see the whole file or none


def pointer(values: NDArray[np.generic] | None) -> ctypes.c_void_p:
    """Address of a contiguous array; the caller keeps the array."""
    return ctypes.c_void_p(None if values is None else values.ctypes.data)


def call(name: str, *arguments: object) -> bool:
    """Run a loop: arrays by address, floats as float, whole numbers as given type. False where there is no library."""
    loops = library()
    if loops is None:
        return False
    given: list[object] = []
    for value in arguments:
        if value is None or isinstance(value, np.ndarray):
            given.append(pointer(value))
        elif isinstance(value, float | np.floating):
            given.append(ctypes.c_float(float(value)))
        else:
            given.append(value)
    getattr(loops, name)(*given)
    return True


def size(n: int) -> ctypes.c_int64:
    """A count of places."""
    return ctypes.c_int64(n)


def word(n: int) -> ctypes.c_uint32:
    """A seed, its lowest 32 bits."""
    return ctypes.c_uint32(n & 0xFFFFFFFF)

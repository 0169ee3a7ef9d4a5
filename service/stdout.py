"""Standard output kept clean for one document."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterator


@contextlib.contextmanager
def reserved() -> Iterator[Callable[[str], None]]:
    """Send everything that libraries print on standard output to standard error; yields a function that prints text on
    the real standard output, UTF-8, ending in a newline.

    The file descriptor itself is redirected where there is one, so that native code is caught as well.
    """
    real = sys.stdout
    real.flush()
    try:
        saved = os.dup(real.fileno())
    except (OSError, ValueError):
        saved = -1
    if saved >= 0:
        sys.stderr.flush()
        os.dup2(2, real.fileno())

    def write(text: str) -> None:
        data = (text + "\n").encode("utf-8")
        if saved < 0:
            real.write(text + "\n")
            real.flush()
            return
        while data:
            data = data[os.write(saved, data):]

    sys.stdout = sys.stderr
    try:
        yield write
    finally:
        sys.stdout = real
        if saved >= 0:
            real.flush()
            os.dup2(saved, real.fileno())
            os.close(saved)

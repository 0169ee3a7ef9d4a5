"""Reading a photo's bytes from disk, with the byte limit checked before anything is read."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from vision.errors import PhotoError
from vision.intake.limits import Limits

CHOOSE_A_FILE = "Give the path of a JPEG, PNG, WebP, TIFF or HEIC photo."


def megabytes(count: int) -> str:
    """Byte count in megabytes for a message, never rounded to a misleading 0."""
    return f"{count / 1e6:.1f} MB" if count >= 100_000 else f"{count} bytes"


def read_bytes(path: str | os.PathLike[str], limits: Limits) -> bytes:
    """Whole content of a regular file of at most `limits.max_bytes`.

    Raises PhotoError when the path is missing, a folder, not a regular file, unreadable, empty or over the limit. The
    size comes from the file system, so an oversized file is refused without being read; a file that grows meanwhile is
    refused too. Pipes and devices are refused because their size is not known beforehand.
    """
    name = os.fspath(path)
    try:
        status = os.stat(name)
    except FileNotFoundError:
        raise PhotoError(name, "There is no such file.", "Check the path and the spelling.") from None
    except (OSError, ValueError) as failure:
        cause = f"The file cannot be reached ({_reason(failure)})."
        raise PhotoError(name, cause, "Check the path and its permissions.") from None
    if stat.S_ISDIR(status.st_mode):
        raise PhotoError(name, "This is a folder, not a photo.", "Name the photos inside it, for example with a * at the end.")
    if not stat.S_ISREG(status.st_mode):
        raise PhotoError(name, "This is not an ordinary file.", "Save the photo to a file first.")
    if status.st_size == 0:
        raise PhotoError(name, "The file is empty.", "Copy the photo again from the phone.")
    if status.st_size > limits.max_bytes:
        raise _too_heavy(name, status.st_size, limits)
    try:
        with Path(name).open("rb") as file:
            data = file.read(status.st_size + 1)
    except OSError as failure:
        cause = f"The file cannot be read ({_reason(failure)})."
        raise PhotoError(name, cause, "Check the file's permissions or copy it again.") from None
    if len(data) > status.st_size:
        raise PhotoError(name, "The file is still being written.", "Wait until the copy is finished and try again.")
    return data


def _too_heavy(name: str, size: int, limits: Limits) -> PhotoError:
    cause = f"The file is {megabytes(size)}, more than the limit of {megabytes(limits.max_bytes)}."
    return PhotoError(name, cause, "Export it as JPEG at the camera's own resolution.")


def _reason(failure: Exception) -> str:
    return (getattr(failure, "strerror", None) or str(failure)).lower()

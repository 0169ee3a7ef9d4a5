"""The one way a photo enters the program."""

from __future__ import annotations

import hashlib
import math
import os

from vision.errors import UsageError
from vision.intake.decode import decode
from vision.intake.limits import Limits
from vision.intake.reading import read_bytes
from vision.types import Photo

_DEFAULT_LIMITS = Limits()


def load_photo(
    path: str | os.PathLike[str], photo_id: str, *, limits: Limits = _DEFAULT_LIMITS, mm_per_px: float | None = None
) -> Photo:
    """Photo read from disk: upright, 8-bit sRGB, stripped of everything but its pixels.

    Parameters
    ----------
    path : the file; its content decides the format (JPEG, PNG, WebP, TIFF, HEIC/HEIF), its name does not.
    photo_id : the id the photo travels under.
    limits : bounds on bytes (checked before reading) and pixels (checked before decoding).
    mm_per_px : scale of the upright photo in millimetres per pixel, if the user knows it.

    Returns
    -------
    Photo with `problems` empty; see `measure_problems`. Positions, dates and camera names in the file are not kept.

    Raises
    ------
    PhotoError : the file cannot be used; names file, cause and remedy. UsageError : `mm_per_px` is not a length.
    """
    if mm_per_px is not None and not (math.isfinite(mm_per_px) and mm_per_px > 0):
        raise UsageError(os.fspath(path), f"A scale of {mm_per_px} mm per pixel makes no sense.", "Give a number above 0.")
    data = read_bytes(path, limits)
    decoded = decode(data, os.fspath(path), limits)
    return Photo(
        id=photo_id,
        file=os.fspath(path),
        sha256=hashlib.sha256(data).hexdigest(),
        pixels=decoded.pixels,
        jpeg_quality=decoded.jpeg_quality,
        mm_per_px=mm_per_px,
    )

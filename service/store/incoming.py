"""From the bytes that came in to the copy that is kept: limits first, then decoding, then a JPEG of nothing but pixels."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from typing import BinaryIO

from vision.errors import PhotoError
from vision.intake.limits import Limits
from vision.intake.reading import megabytes

#: Quality of the kept copy; with full colour resolution its errors stay below the noise of a phone camera.
QUALITY = 95
#: Longest side that a JPEG can have (ITU-T T.81: 16 bits), with the margin that the encoder needs.
_LONGEST = 65_500


@dataclass(frozen=True, eq=False)
class Incoming:
    """`jpeg`: the copy to keep; `sha256`: of the bytes that came in; `jpeg_quality`: theirs, None when they were no JPEG."""

    jpeg: bytes
    sha256: str
    width: int
    height: int
    jpeg_quality: int | None


def receive(source: bytes | BinaryIO, name: str, limits: Limits) -> bytes:
    """The bytes of an upload, never more than the limit in memory. `name` is used in messages only. Raises PhotoError."""
    data = source if isinstance(source, bytes) else source.read(limits.max_bytes + 1)
    if len(data) > limits.max_bytes:
        cause = f"The file is more than the limit of {megabytes(limits.max_bytes)}."
        raise PhotoError(name, cause, "Export it as JPEG at the camera's own resolution.")
    if not data:
        raise PhotoError(name, "The file is empty.", "Choose the photo again.")
    return data


def sha256(data: bytes) -> str:
    """SHA-256 as 64 hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def reencode(data: bytes, name: str, limits: Limits) -> Incoming:
    """Decodes (kind by content, pixels checked before decoding) and encodes anew: upright, sRGB, no place, date, camera,
    thumbnail or comment. Raises PhotoError."""
    from PIL import Image

    from vision.intake.decode import decode

    decoded = decode(data, name, limits)
    height, width = decoded.pixels.shape[:2]
    if max(height, width) > _LONGEST:
        cause = f"The picture is {max(height, width)} pixels long; the limit is {_LONGEST}."
        raise PhotoError(name, cause, "Save a part of it as a photo of its own.")
    out = io.BytesIO()
    try:
        Image.fromarray(decoded.pixels).save(out, "JPEG", quality=QUALITY, subsampling=0)
    except MemoryError:
        raise PhotoError(name, "There is not enough memory to keep it.", "Close other programs or use a smaller photo.") from None
    return Incoming(out.getvalue(), sha256(data), width, height, decoded.jpeg_quality)

"""The focal length a photo's file states, in pixels of the upright photo."""

from __future__ import annotations

import math
import os

#: EXIF tags (CIPA DC-008): the Exif block, and the focal length as on a 35 mm film, whose diagonal is 43.27 mm.
EXIF_BLOCK, FOCAL_35MM, FILM_DIAGONAL_MM = 0x8769, 0xA405, 43.27


def stated_focal_px(path: str | os.PathLike[str], width: int, height: int) -> float | None:
    """Focal length in px of a photo `width` by `height`, or None where the file does not state it.

    Read from the 35 mm equivalent, which by CIPA DCG-001 is taken over the diagonal. A photo that was cropped later states
    too short a length; the pose fit allows for some of that.
    """
    try:
        from PIL import Image

        with Image.open(path) as image:
            value = image.getexif().get_ifd(EXIF_BLOCK).get(FOCAL_35MM)
        length = float(value) if value is not None else 0.0
    except Exception:  # EXIF is written by anybody; a broken block must not cost the photo
        return None
    return length * math.hypot(width, height) / FILM_DIAGONAL_MM if 8 <= length <= 400 else None

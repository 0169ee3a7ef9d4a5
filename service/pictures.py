"""Evidence pictures of an assessment as JPEG bytes, sized for a phone and for the report."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from vision.assessment import Assessment, PhotoResult

#: Longest side and JPEG quality of the pictures.
PICTURE_PX, PICTURE_QUALITY = 1600, 86


def _outlined(result: PhotoResult) -> NDArray[np.uint8]:
    """Photo with the panels outlined and named: light over dark, so that it shows on any surface."""
    from PIL import Image, ImageDraw, ImageFont

    image = Image.fromarray(result.photo.pixels).copy()
    draw = ImageDraw.Draw(image)
    unit = max(2, round(max(image.size) / 500))
    font = ImageFont.load_default(size=unit * 9)
    for r in result.panels:
        corners = [(float(x), float(y)) for x, y in r.panel.outline]
        loop: Any = [*corners, corners[0]]
        draw.line(loop, fill=(20, 20, 20), width=3 * unit, joint="curve")
        draw.line(loop, fill=(255, 255, 255), width=unit, joint="curve")
        centre = tuple(np.mean(corners, axis=0))
        draw.text(centre, r.panel.id, fill=(255, 255, 255), font=font, anchor="mm", stroke_width=unit, stroke_fill=(20, 20, 20))
    return np.asarray(image)


def evidence_pictures(assessment: Assessment) -> dict[str, bytes]:
    """Evidence picture of every photo by photo id; findings carry the numbers of `words.finding_numbers`."""
    from PIL import Image

    from vision import evidence
    from vision.resize import fit_within, resize

    draw = getattr(evidence, "draw_evidence", None)
    out = {}
    for result in assessment.photos:
        if draw is None:
            picture = _outlined(result)
        else:
            here = [f for f in assessment.findings if any(w.photo == result.photo.id for w in f.where)]
            panels = result.panels
            picture = draw(result.photo, [r.panel for r in panels], [r.verdict for r in panels], here, [r.field for r in panels])
        height, width = picture.shape[:2]
        picture = resize(picture, *fit_within(width, height, max_side=PICTURE_PX))
        buffer = io.BytesIO()
        Image.fromarray(picture).save(buffer, "JPEG", quality=PICTURE_QUALITY)
        out[result.photo.id] = buffer.getvalue()
    return out

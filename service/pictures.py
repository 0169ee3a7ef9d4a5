"""Evidence pictures of an assessment as JPEG bytes, sized for a phone and for the report."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from service.words import basis_words, finding_numbers, panel_name

if TYPE_CHECKING:
    from service.contract import Document
    from vision.assessment import Assessment

#: Width and JPEG quality of the pictures.
PICTURE_PX, PICTURE_QUALITY = 1200, 86


def evidence_pictures(assessment: Assessment, doc: Document) -> dict[str, bytes]:
    """Evidence picture of every photo by photo id; numbers, names and basis are those of the document."""
    from PIL import Image

    from vision.evidence import draw_evidence

    out = {}
    for result in assessment.photos:
        panels = result.panels
        picture = draw_evidence(
            result.photo, [r.panel for r in panels], {r.panel.id: r.verdict for r in panels},
            [f for f in assessment.findings if any(w.photo == result.photo.id for w in f.where)],
            {r.panel.id: None if r.field is None else (r.field, r.to_photo) for r in panels},
            width=PICTURE_PX, numbers=finding_numbers(doc), names={r.panel.id: panel_name(r.panel.id) for r in panels},
            basis=basis_words(doc),
        )
        buffer = io.BytesIO()
        Image.fromarray(picture).save(buffer, "JPEG", quality=PICTURE_QUALITY)
        out[result.photo.id] = buffer.getvalue()
    return out

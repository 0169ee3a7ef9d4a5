"""Close-up of one finding for the report."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.evidence.marks import Mark, draw_mark
from vision.resize import fit_within, resize
from vision.types import Finding, Photo

CROP_PX = 480


def finding_crop(photo: Photo, finding: Finding, *, side: int = CROP_PX) -> NDArray[np.uint8] | None:
    """Square-ish crop (h, w, 3) uint8 round the finding's largest region on this photo, with its mark; None if it has
    none there. Surroundings are included: twice the region's extent, at least a twelfth of the photo's long side; small
    crops are enlarged at most twofold, so that nothing looks sharper than it was."""
    regions = [r for r in finding.where if r.photo == photo.id]
    if not regions:
        return None
    spans = [np.ptp(np.array(r.points, dtype=float), axis=0) for r in regions]
    region, span = max(zip(regions, spans, strict=True), key=lambda pair: float(pair[1].max()))
    points = np.array(region.points, dtype=float)
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    wanted = max(1.3 * float(span.max()), float(span.max()) + max(photo.width, photo.height) / 12, 32.0)
    w, h = (int(min(wanted, s)) for s in (photo.width, photo.height))
    x = int(np.clip(middle[0] - w / 2, 0, photo.width - w))
    y = int(np.clip(middle[1] - h / 2, 0, photo.height - h))
    crop = photo.pixels[y : y + h, x : x + w]
    if max(w, h) >= side:
        size = fit_within(w, h, max_side=side)
    else:
        grow = min(2.0, side / max(w, h))
        size = round(w * grow), round(h * grow)
    out = np.ascontiguousarray(resize(crop, *size)).copy()
    scale = np.array([size[0] / w, size[1] / h])
    draw_mark(out, Mark(0, region.type, (points - [x, y]) * scale), max(2.0, side / 200))
    return out

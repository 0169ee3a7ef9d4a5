"""Plies of made edges counted anew from their pictures by the whole program, net included."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from training.edge_rows import Row, spoilt
from training.edges.sets import CACHE, Trial, figures_of, picture_of
from vision.edges.frame import lay_out
from vision.edges.plies import Plies, count_plies


def counted(rows: Sequence[Row], part: str, photos: Path | None, least_px: float, cache: Path | None = CACHE) -> Iterator[
        tuple[Row, Plies]]:
    """(row, plies) of made plywood whose thinnest ply is `least_px` high in its picture."""
    seen = [r for r in rows if r.truth is not None and r.truth.plies and r.truth.ply_px >= least_px]
    figures = figures_of(part, photos) if seen else []
    for row in seen:
        assert row.truth is not None
        picture = picture_of(Trial(row.truth.build, row.truth.setting, row.truth.seed), part, figures, cache)
        outline, face_at = spoilt(picture.truth)
        frame = lay_out(picture.pixels, outline, face_at=face_at)
        if frame is not None:
            yield row, count_plies(frame, row.net)

"""Real outlined panels, opened and rectified one photo at a time, for the rooms that look for joints and hardware."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from vision.types import Photo, WorkingView


@dataclass(frozen=True, eq=False)
class RealPanel:
    """`face`, `view`: labels of the row; `text`: what its collector wrote; `photo`, `working`: opened and rectified."""

    id: str
    author: str
    face: str
    view: str
    text: str
    photo: Photo
    working: WorkingView


def panels(folder: Path, part_of: Callable[[str], str], part: str) -> Iterator[RealPanel]:
    """Every outlined panel by authors of a part, photo after photo."""
    from training.panel_photos import outlined_photos
    from training.real_photos import labelled_panels, open_panel
    from vision.panels import rectify

    rows_by = {r.id: r for r in labelled_panels(folder)}
    for photo in outlined_photos(folder):
        if part_of(photo.author) != part:
            continue
        loaded = photo.load()
        for r in photo.rows:
            opened, panel = open_panel(rows_by[r["id"]], loaded)
            text = f"{r['evidence']}; {r['notes']}; {r['damage']}"
            yield RealPanel(r["id"], photo.author, r["face"], r["view"], text, opened, rectify(opened, panel))

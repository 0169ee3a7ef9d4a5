"""Real panels to draw damage on and to leave sound: whole views by photographers of one part, and a folder to carry them in.

A collection's panels that are labelled sound are rectified as the program does it and cut to the box inside their outline.
`carry` writes them, with the figures of the part, as pictures into one folder for a machine without the collection.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from training.composites.figures import Figure, grain_angle, inner_box
from training.real_photos import labelled_panels, open_panel
from vision.intake import load_photo
from vision.panels import rectify
from vision.resize import fit_within, resize

#: Longest and least side of a kept view, pixels.
MAX_SIDE, MIN_SIDE = 900, 60
#: Faces that damage is drawn on; all others are only ever left sound.
DRAWN_ON = ("solid_wood", "veneer", "printed", "opaque", "bare_board")
INDEX = "carried.json"


@dataclass(frozen=True, eq=False)
class RealPanel:
    """`pixels`: (h, w, 3) uint8, grain of wood along x; `face`, `core`: as labelled; `sound_only`: nothing is drawn on it
    (not furniture's face, or a narrow side); `group`: the photographer."""

    pixels: NDArray[np.uint8]
    face: str
    core: str
    sound_only: bool
    group: str


def real_panels(folder: Path, wanted: set[str]) -> list[RealPanel]:
    """Sound real panels by the photographers `wanted`, in the collection's order."""
    out = []
    last: tuple[Path, object] | None = None
    for row in labelled_panels(folder):
        if row.author not in wanted or "wear" in row.cues or row.line_scan or row.view == "whole":
            continue
        if last is None or last[0] != row.path:
            last = (row.path, load_photo(row.path, "photo"))
        try:
            photo, panel = open_panel(row, last[1])  # type: ignore[arg-type]
            view = rectify(photo, panel, working_px=MAX_SIDE)
        except ValueError:
            continue
        x0, y0, x1, y1 = inner_box(view.mask)
        pixels = np.ascontiguousarray(view.pixels[y0:y1, x0:x1])
        if min(pixels.shape[:2]) < MIN_SIDE:
            continue
        width, height = fit_within(pixels.shape[1], pixels.shape[0], max_side=MAX_SIDE)
        pixels = resize(pixels, width, height)
        face = row.face or "unknown"
        if face in ("solid_wood", "veneer", "printed") and 45 <= grain_angle(pixels)[0] < 135:
            pixels = np.ascontiguousarray(np.rot90(pixels, -1))
        out.append(RealPanel(pixels, face, row.core or "unknown", face not in DRAWN_ON or row.view != "face", row.author))
    return out


def carry(folder: Path, figures: Sequence[Figure], panels: Sequence[RealPanel], *, most: int = 1200) -> None:
    """Write figures (at most `most` pixels long) and panels into a folder as good JPEG with an index."""
    folder.mkdir(parents=True, exist_ok=True)
    rows: list[dict[str, object]] = []
    for k, figure in enumerate(figures):
        width, height = fit_within(figure.pixels.shape[1], figure.pixels.shape[0], max_side=most)
        Image.fromarray(resize(figure.pixels, width, height)).save(folder / f"f{k:04d}.jpg", quality=93)
        rows.append({"file": f"f{k:04d}.jpg", "group": figure.group, "name": figure.name, "kind": figure.kind})
    for k, panel in enumerate(panels):
        Image.fromarray(panel.pixels).save(folder / f"p{k:04d}.jpg", quality=93)
        rows.append(
            {
                "file": f"p{k:04d}.jpg",
                "group": panel.group,
                "face": panel.face,
                "core": panel.core,
                "sound_only": panel.sound_only,
            }
        )
    (folder / INDEX).write_text(json.dumps(rows))


def carried(folder: Path) -> tuple[list[Figure], list[RealPanel]]:
    """What `carry` wrote."""
    figures, panels = [], []
    for row in json.loads((folder / INDEX).read_text()):
        pixels = cv2.imread(str(folder / row["file"]), cv2.IMREAD_COLOR)
        if pixels is None:
            raise FileNotFoundError(folder / row["file"])
        picture = np.ascontiguousarray(pixels[..., ::-1])
        if row["file"].startswith("f"):
            figures.append(Figure(np.asarray(picture, np.uint8), row["group"], row["name"], row["kind"]))
        else:
            panels.append(RealPanel(np.asarray(picture, np.uint8), row["face"], row["core"], row["sound_only"], row["group"]))
    return figures, panels

"""Outlined real photographs as labelled panels: rows of panels.csv, how far each label is trusted, and its pixels.

A collection is a folder with `img/` and `panels.csv` (columns: id, file, group, source, polygon, view, face, core,
edge, layout, damage, p, trust, evidence, notes). Photos are read where they lie and never copied.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from vision import registry
from vision.types import Outline, Panel, Photo

#: How far a label counts, by where it comes from; multiplied by the collector's own belief p.
TRUST = {"author_stated": 1.0, "visible": 1.0, "by_eye": 0.6}
LINE_SCAN = "line-scan"
LINE_SCAN_WEIGHT = 0.3
#: Darker than this (grey level) at every percentile up to 95 is the border of a line-scan picture.
BORDER_LEVEL = 16
_EDGE_SHOWN = {"plies", "particles", "fibre", "banding", "lipping"}
_WORDS = {
    "knot": ("knot",), "macro": ("pore", "macro", "close-up", "close up"),
    "highlight": ("gloss", "highlight", "reflection", "sheen"), "figure": ("grain", "figure", "cathedral", "ring", "ray"),
}


@dataclass(frozen=True)
class Labelled:
    """One labelled panel. `author`: cluster that no split may cut; `specimen`: one physical thing; `weight`: trust 0..1
    before sharing within a specimen; `headline`: counts in headline figures; unknown labels are None.
    `core_shown`: whether the core is in view where the truth says so (a banded edge hides it), None where only the view tells."""

    id: str
    path: Path
    outline: Outline
    author: str
    specimen: str
    view: str | None
    face: str | None
    core: str | None
    weight: float
    headline: bool
    cues: tuple[str, ...]
    line_scan: bool
    core_shown: bool | None = None


def _known(value: str, names: object) -> str | None:
    return value if value in names else None  # type: ignore[operator]


def cues_of(row: dict[str, str]) -> tuple[str, ...]:
    """Keys of registry.CUES that a row's columns and remarks say are in view; ('none',) without any."""
    text = f"{row.get('evidence', '')} {row.get('notes', '')}".lower()
    found = {cue for cue, words in _WORDS.items() if any(w in text for w in words)}
    if row["view"] in ("edge", "joint") or row.get("edge") in _EDGE_SHOWN:
        found.add("edge")
    if row["view"] == "end" or row.get("edge") == "end_grain":
        found.add("end")
    if row.get("layout") in ("boards", "book", "slip", "parquet", "herringbone"):
        found.add("boards")
    if row.get("damage") not in ("", "none", None):
        found.add("wear")
    return tuple(c for c in registry.CUES if c in found) or ("none",)


def labelled_panels(folder: Path) -> list[Labelled]:
    """All rows of `folder`/panels.csv, ordered by file so that each photo is decoded once.

    Raises
    ------
    FileNotFoundError
        if the folder has no panels.csv.
    ValueError
        if two rows share an id.
    """
    with (folder / "panels.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    out = []
    for row in sorted(rows, key=lambda r: (r["file"], r["id"])):
        scan = LINE_SCAN in row["notes"]
        x_y = (p.split(":") for p in row["polygon"].split())
        out.append(Labelled(
            id=row["id"], path=folder / "img" / row["file"], outline=tuple((float(x), float(y)) for x, y in x_y),
            author=row["source"], specimen=row["group"],
            view=_known(row["view"], registry.VIEWS), face=_known(row["face"], registry.FACES),
            core=_known(row["core"], registry.CORES),
            weight=TRUST[row["trust"]] * float(row["p"]) * (LINE_SCAN_WEIGHT if scan else 1.0),
            headline=row["trust"] != "by_eye" and not scan, cues=cues_of(row), line_scan=scan,
        ))
    if len({r.id for r in out}) != len(out):
        raise ValueError(f"{folder / 'panels.csv'}: ids repeat")
    return out


def without_border(pixels: NDArray[np.uint8]) -> tuple[int, int, int, int]:
    """(x0, y0, x1, y1) of a line-scan picture without its black border; the whole picture where there is none."""
    grey = pixels.max(axis=2)
    box = []
    for axis, size in ((0, pixels.shape[1]), (1, pixels.shape[0])):
        bright = np.flatnonzero(np.percentile(grey, 95, axis=axis) > BORDER_LEVEL)
        box.append((int(bright[0]), int(bright[-1]) + 1) if len(bright) else (0, size))
    return box[0][0], box[1][0], box[0][1], box[1][1]


def open_panel(row: Labelled, photo: Photo) -> tuple[Photo, Panel]:
    """The photo (border cut off a line-scan picture) and the panel of one row on it."""
    outline = row.outline
    if row.line_scan:
        x0, y0, x1, y1 = without_border(photo.pixels)
        cut = np.ascontiguousarray(photo.pixels[y0:y1, x0:x1])
        outline = tuple((min(max(x - x0, 0), x1 - x0), min(max(y - y0, 0), y1 - y0)) for x, y in outline)
        photo = Photo(photo.id, photo.file, photo.sha256, cut, photo.problems, photo.jpeg_quality)
    return photo, Panel(id=row.id, photo=photo.id, outline=outline, source="given")

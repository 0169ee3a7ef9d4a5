"""Rendered photographs as labelled panels: NAME.jpg with its truth in NAME.json, as `training.scenes` writes them.

A piece of furniture is both author and specimen: all pictures of a piece stay on one side of every split. Pieces that
share their figure (`twin_group`) count as one.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from training.real_photos import Labelled
from vision import registry

TRUTH_SCHEMA = "1.0"
#: Background patches taught as "not wood" from one picture.
BACKGROUNDS = 1
#: Least side of such a patch, px.
BACKGROUND_PX = 60


def rendered_panels(folder: Path) -> list[Labelled]:
    """All labelled panels of a folder of renders, by file name.

    Raises
    ------
    FileNotFoundError
        if the folder holds no truth.
    """
    out = [row for path in sorted(folder.glob("*.json")) for row in _picture(path)]
    if not out:
        raise FileNotFoundError(f"{folder} holds no rendered panels")
    return out


def _picture(path: Path) -> Iterator[Labelled]:
    truth = json.loads(path.read_text(encoding="utf-8"))
    picture = path.with_suffix(".jpg")
    if not isinstance(truth, dict) or truth.get("truth_schema") != TRUTH_SCHEMA or not picture.exists():
        return
    piece = str(truth.get("twin_group") or truth["piece"])
    for panel in truth["panels"]:
        yield _row(picture, piece, f"{path.stem}.{panel['id']}", panel["outline"], panel["view"], panel["face"], panel["core"],
                   _cues(panel), bool(panel.get("core_shown")))
    patches = sorted(truth.get("background", []), key=lambda b: (int(b["id"]) + int(truth["seed"])) % 7)
    for patch in patches[:BACKGROUNDS]:
        outline = _background(path.with_name(f"{path.stem}_id.png"), int(patch["id"]))
        if outline is not None:
            yield _row(picture, piece, f"{path.stem}.{patch['id']}", outline, "face", "not_wood", None, ("none",))


def _background(ids: Path, number: int) -> list[list[float]] | None:
    """Largest square inside the widest place of a background surface; None where it is too small to be a panel."""
    instance = cv2.imread(str(ids), cv2.IMREAD_GRAYSCALE)
    if instance is None:
        return None
    inside = np.pad((instance == number).astype(np.uint8), 1)
    distance = cv2.distanceTransform(inside, cv2.DIST_L2, 3)
    y, x = np.unravel_index(int(distance.argmax()), distance.shape)
    half = float(distance.max()) / np.sqrt(2) - 1
    if half < BACKGROUND_PX / 2:
        return None
    cx, cy = float(x) - 1, float(y) - 1
    return [[cx - half, cy - half], [cx + half, cy - half], [cx + half, cy + half], [cx - half, cy + half]]


def _row(
    picture: Path, piece: str, name: str, outline: list[list[float]], view: str, face: str, core: str | None,
    cues: tuple[str, ...], core_shown: bool | None = None,
) -> Labelled:
    return Labelled(
        id=name, path=picture, outline=tuple((float(x), float(y)) for x, y in outline), author=piece,
        specimen=f"{name.rsplit('.', 1)[0]}/{face}/{view}", view=view if view in registry.VIEWS else None,
        face=face if face in registry.FACES else None, core=core if core in registry.CORES else None,
        weight=1.0, headline=True, cues=cues, line_scan=False,
        core_shown=core_shown,
    )


def _cues(panel: dict[str, Any]) -> tuple[str, ...]:
    found = set()
    if panel.get("core_shown"):
        found.add("end" if panel["view"] == "end" else "edge")
    if panel.get("layout") in ("book", "slip", "random", "running", "boards"):
        found.add("boards")
    if panel["view"] == "face" and panel.get("grain_deg") is not None:
        found.add("figure")
    return tuple(c for c in registry.CUES if c in found) or ("none",)

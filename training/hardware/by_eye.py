"""Real panels looked at by eye: what is in boxes is there; what stands at a spot is that, or nothing. Photos are not in here.

Each entry of by_eye.json has the photo's file name, the panel's outline and either `boxes`, (kind, left, top, right, bottom), all
hardware in view, or `spots`, (kind, 'nothing' or 'unsure', x, y), what an earlier net took for something; all in photo pixels.
Photographers of the part 'report' are not among them. `python -m training.hardware.by_eye --photos DIR --out DIR` writes the
boxed panels that the net learns on, each `COPIES` times, for there are few.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from training.hardware.grounds import author_part
from training.hardware.make import LONG_PX, HardwarePicture
from training.hardware.rendered import LONG, labelled
from vision.hardware.gather import Candidate, candidates
from vision.hardware.kinds import SEEN
from vision.hardware.net import look
from vision.intake import load_photo
from vision.panels import panels_from_outlines, rectify
from vision.resize import fit_within, resize
from vision.types import Photo, WorkingView

FILE = Path(__file__).with_name("by_eye.json")
COPIES = 4
#: A candidate is the one at a spot when its middle lies this near on the photo, px, or in so many of its own widths.
NEAR_PX, NEAR_SHARE = 6.0, 0.3


def views(photos: Path, what: str) -> Iterator[tuple[str, dict[str, Any], Photo, WorkingView]]:
    """(author, entry, photo, view) of every entry that has `what`, 'boxes' or 'spots'."""
    import csv

    with (photos / "photos.csv").open(encoding="utf-8") as file:
        authors = {Path(r["file"]).name: r["source"] for r in csv.DictReader(file)}
    for entry in json.loads(FILE.read_text(encoding="utf-8")):
        if what not in entry:
            continue
        photo = load_photo(photos / "img" / entry["file"], "photo")
        edge = [photo.width - 1.0, photo.height - 1.0]
        outline = [(float(np.clip(x, 0, edge[0])), float(np.clip(y, 0, edge[1]))) for x, y in entry["outline"]]
        yield authors[entry["file"]], entry, photo, rectify(photo, panels_from_outlines(photo, [("panel", outline)])[0])


def boxed(photos: Path, *, long: int = LONG_PX) -> Iterator[tuple[str, HardwarePicture]]:
    """(author, picture) of the panels whose hardware is boxed."""
    for author, entry, photo, view in views(photos, "boxes"):
        things = np.zeros(photo.pixels.shape[:2], np.int32)
        kinds: dict[int, str | None] = {}
        for k, (kind, x0, y0, x1, y1) in enumerate(entry["boxes"], 1):
            kinds[k] = kind
            if kind == "knob":
                cv2.ellipse(things, ((x0 + x1) // 2, (y0 + y1) // 2), ((x1 - x0) // 2, (y1 - y0) // 2), 0, 0, 360, k, -1)
            else:
                things[y0 : y1 + 1, x0 : x1 + 1] = k
        h, w = view.pixels.shape[:2]
        size = fit_within(w, h, max_side=long)
        labels, truth = labelled(view, kinds, things, size)
        yield author, HardwarePicture(resize(view.pixels, *size), labels, tuple(truth), "real", None, 1.0, ())


def spotted(photos: Path) -> Iterator[tuple[str, list[Candidate], list[int | None]]]:
    """(author, candidates, label of each) of the panels with spots: 0 nothing, 1 + place in SEEN, None where nobody looked."""
    for author, entry, _, view in views(photos, "spots"):
        found = candidates(look(view.pixels), view.pixels)
        labels: list[int | None] = []
        for c in found:
            x, y = view.photo_points(np.array([c.middle]))[0]
            near = max(NEAR_PX, NEAR_SHARE * c.width * view.px_scale)
            there = [(float(np.hypot(x - a, y - b)), kind) for kind, a, b in entry["spots"]]
            away, kind = min(there)
            labels.append(None if away > near or kind == "unsure" else 0 if kind == "nothing" else 1 + SEEN.index(kind))
        yield author, found, labels


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    chosen = parser.parse_args(arguments)
    chosen.out.mkdir(parents=True, exist_ok=True)
    written = 0
    for k, (author, p) in enumerate(boxed(chosen.photos, long=LONG)):
        if author_part(author) != "fit":
            continue
        written += 1
        for copy in range(COPIES):
            stem = chosen.out / f"real_{k:03d}_{copy}"
            cv2.imwrite(f"{stem}.jpg", p.pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 88])
            cv2.imwrite(f"{stem}.png", p.labels)
    print(f"{written} panels")


if __name__ == "__main__":
    main()

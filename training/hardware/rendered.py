"""Faces of rendered furniture with their knobs and pulls, places known from the renderer's map of what each pixel shows.

Pieces are parted by a hash of their name (twins, the same piece in other stuff, together): half teach the net ('fit'), a fifth
sets chances ('held_out'), the rest is reported. `python -m training.hardware.rendered --renders DIR --out DIR` writes the
teaching ones as `NAME.jpg` and `NAME.png` (labels as in HardwarePicture).
"""

from __future__ import annotations

import argparse
import json
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.hardware.make import LONG_PX, UNKNOWN, HardwarePicture
from vision.errors import GrainassayError
from vision.hardware.kinds import SEEN
from vision.intake import load_photo
from vision.panels import panels_from_outlines, rectify
from vision.resize import fit_within, resize
from vision.types import Photo, WorkingView

#: Longer side of a face kept for teaching, px; least share of the photo that a face fills; views narrower than this are left out.
LONG, LEAST_SHARE, LEAST_SIDE = 640, 0.01, 48
#: A handle is this large on its panel, mm; longer ones are pulls. Other metal things are no part of the piece.
HANDLE_MM, PULL_MM = (18.0, 230.0), 80.0


def part_of(piece: str) -> str:
    """'fit', 'held_out' or 'report'."""
    tenth = zlib.crc32(piece.encode()) % 10
    return "fit" if tenth < 5 else "held_out" if tenth < 7 else "report"


def handles(truth: dict[str, Any], ids: NDArray[np.uint8]) -> tuple[NDArray[np.int32], int]:
    """((rows, columns) number of the metal thing at each pixel, 0 for none; how many there are)."""
    metal = [b["id"] for b in truth["background"] if b["material"] == "metal"]
    mask = np.isin(ids, metal).astype(np.uint8)
    count, labels = cv2.connectedComponents(mask, connectivity=8)
    return np.asarray(labels, np.int32), count - 1


def _kind(things: NDArray[np.int32], number: int, panel: NDArray[np.uint8], to_photo: NDArray[np.float64]) -> str | None:
    """'knob' or 'pull' where a thing is a handle on the panel, else None."""
    ys, xs = np.nonzero(things == number)
    if len(xs) < 12 or panel[ys, xs].mean() < 0.6:
        return None
    at = np.c_[xs, ys, np.ones(len(xs))] @ np.linalg.inv(to_photo).T
    mm = (at[:, :2] / at[:, 2:]).astype(np.float32)
    long = max(cv2.minAreaRect(mm)[1])
    if not HANDLE_MM[0] <= long <= HANDLE_MM[1]:
        return None
    return "pull" if long >= PULL_MM else "knob"


def labelled(view: WorkingView, kinds: dict[int, str | None], things: NDArray[np.int32], size: tuple[int, int],
             ) -> tuple[NDArray[np.uint8], list[tuple[str, NDArray[np.float64]]]]:
    """(labels (h, w), truth) of a view shown with `size` = (w, h), by the map of things on the photo."""
    w, h = size
    vh, vw = view.pixels.shape[:2]
    xs, ys = np.meshgrid((np.arange(w) + 0.5) * vw / w - 0.5, (np.arange(h) + 0.5) * vh / h - 0.5)
    on = np.round(view.photo_points(np.stack([xs.ravel(), ys.ravel()], 1))).astype(int)
    inside = (on >= 0).all(axis=1) & (on[:, 0] < things.shape[1]) & (on[:, 1] < things.shape[0])
    flat = np.zeros(w * h, np.int32)
    flat[inside] = things[on[inside, 1], on[inside, 0]]
    which = flat.reshape(h, w)
    labels, truth = np.zeros((h, w), np.uint8), []
    for number in np.unique(which[which > 0]).tolist():
        kind = kinds.get(number)
        py, px = np.nonzero(which == number)
        hull = cv2.convexHull(np.stack([px, py], 1).astype(np.float32))[:, 0]
        small = np.ptp(hull[:, 0]) < 3 or np.ptp(hull[:, 1]) < 3
        value = UNKNOWN if kind is None or small else 1 + SEEN.index(kind)
        cv2.fillConvexPoly(labels, np.round(hull).astype(np.int32), value)
        if value != UNKNOWN and kind is not None:
            truth.append((kind, hull.astype(np.float64)))
    return labels, truth


def faces(folder: Path, part: str, *, long: int = LONG_PX, every: int = 1) -> Iterator[tuple[str, HardwarePicture]]:
    """(name, picture) of every face of rendered furniture of a part of the pieces, by true outline; `every`-th photo."""
    for path in sorted(folder.glob("*.json"))[::every]:
        truth = json.loads(path.read_text(encoding="utf-8"))
        if "panels" not in truth or part_of(str(truth.get("twin_group") or truth["piece"])) != part:
            continue
        photo = load_photo(path.with_suffix(".jpg"), "photo")
        ids = cv2.imread(str(path.with_name(f"{path.stem}_id.png")), cv2.IMREAD_UNCHANGED)
        if ids is None or ids.shape[:2] != photo.pixels.shape[:2]:
            continue
        things, count = handles(truth, np.asarray(ids, np.uint8))
        for row in truth["panels"]:
            made = _face(photo, row, things, count, long) if row["view"] == "face" else None
            if made is not None:
                yield f"{truth['name']}_{row['id']}", made


def _face(photo: Photo, row: dict[str, Any], things: NDArray[np.int32], count: int, long: int) -> HardwarePicture | None:
    if row["area_px"] < LEAST_SHARE * photo.width * photo.height:
        return None
    try:
        view = rectify(photo, panels_from_outlines(photo, [(str(row["id"]), [tuple(q) for q in row["outline"]])])[0])
    except GrainassayError:  # an outline that crosses itself is of no use here
        return None
    if min(view.mask.shape) * view.px_scale < LEAST_SIDE:
        return None
    panel = np.zeros(things.shape, np.uint8)
    cv2.fillPoly(panel, [np.round(np.array(row["outline"])).astype(np.int32)], 1)
    kinds = {k: _kind(things, k, panel, np.array(row["to_photo"], float)) for k in range(1, count + 1)}
    h, w = view.pixels.shape[:2]
    size = fit_within(w, h, max_side=long)
    labels, seen = labelled(view, kinds, things, size)
    return HardwarePicture(resize(view.pixels, *size), labels, tuple(seen), "rendered", None, 1.0, ())


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--renders", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--bare", type=int, default=4, help="every how many faces without a handle are kept")
    chosen = parser.parse_args(arguments)
    chosen.out.mkdir(parents=True, exist_ok=True)
    bare, kept, counts = 0, 0, dict.fromkeys(SEEN, 0)
    for name, p in faces(chosen.renders, "fit", long=LONG):
        bare += not p.labels.any()
        if not p.labels.any() and bare % chosen.bare:
            continue
        kept += 1
        for kind, _ in p.truth:
            counts[kind] += 1
        cv2.imwrite(str(chosen.out / f"{name}.jpg"), p.pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 86])
        cv2.imwrite(str(chosen.out / f"{name}.png"), p.labels)
    print(f"{kept} faces: {counts}")


if __name__ == "__main__":
    main()

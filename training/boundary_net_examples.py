"""Pack the pictures that the boundary net is taught from into one file that travels to a machine with a GPU.

    python -m training.boundary_net_examples --photos DIR --renders DIR --cache DIR --out examples.npz

Rendered photos carry their map of things; outlined real photographs carry what an outline tells: inside it (shrunk a
little) one surface and furniture, or no furniture. All else on a real photo is unknown. Each picture belongs to one fold:
real ones by author, rendered ones by piece, so that a net of fold k has seen neither author nor piece of what it is judged on.
"""

from __future__ import annotations

import argparse
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from training.boundary_net import FURNITURE, NO_FURNITURE, ONE_SURFACE, UNKNOWN
from training.panel_photos import OutlinedPhoto, cells_of, outline_of, outlined_photos
from training.rendered_panels import load
from training.surface_head import folds
from vision.panels.cells import working_size
from vision.resize import resize

FOLDS = 5
#: An outline is shrunk by this share of its size before it counts as one surface without a boundary.
SHRINK = 0.03
JPEG_QUALITY = 74


@dataclass(frozen=True, eq=False)
class Example:
    """One picture. `pixels`: (h, w, 3) uint8; `labels`: (h, w) uint8, ids or codes; `quads`: (n, 4, 2) float32 corners
    (working px) of whole surfaces of real photos, on which gaps can be drawn."""

    pixels: NDArray[np.uint8]
    labels: NDArray[np.uint8]
    quads: NDArray[np.float32]
    rendered: bool
    fold: int


def is_floor(row: dict[str, str]) -> bool:
    """Whether an outlined row of wood is a floor: wood, but no furniture."""
    return "floor" in f"{row['group']} {row['evidence']} {row['notes']}".lower()


def real_labels(rows: Sequence[dict[str, str]], size: tuple[int, int], shape: tuple[int, int]) \
        -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """Label map (h, w) of the codes and quads for the rows of a photo of `size` (width, height)."""
    labels, quads = np.full(shape, UNKNOWN, np.uint8), []
    for row in rows:
        at = (outline_of(row) + 0.5) * [shape[1] / size[0], shape[0] / size[1]] - 0.5
        mask = np.zeros(shape, np.uint8)
        cv2.fillPoly(mask, [np.round(at * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
        shrink = max(2, round(SHRINK * float(mask.sum()) ** 0.5))
        inner = cv2.erode(mask, np.ones((2 * shrink + 1, 2 * shrink + 1), np.uint8)) > 0
        if row["face"] == "not_wood":
            labels[inner] = NO_FURNITURE
        elif row["view"] in ("whole", "joint", "end"):
            labels[inner] = FURNITURE
        elif is_floor(row):
            continue
        else:
            labels[inner] = ONE_SURFACE
            if row["view"] == "face" and len(at) == 4 and mask.sum() > 0.02 * mask.size:
                quads.append(at)
    return labels, np.array(quads, np.float32).reshape(-1, 4, 2)


def real_examples(photos: Sequence[OutlinedPhoto], cache: Path) -> list[Example]:
    """Examples of outlined photographs, line-scan pictures left out."""
    fold = folds([p.author for p in photos], FOLDS)
    out = []
    for photo in photos:
        rows = [r for r in photo.rows if "line-scan" not in r["notes"]]
        if rows:
            seen, size = cells_of(photo, cache)
            labels, quads = real_labels(rows, size, (seen.pixels.shape[0], seen.pixels.shape[1]))
            out.append(Example(seen.pixels, labels, quads, False, fold[photo.author]))
    return out


def rendered_examples(paths: Sequence[Path]) -> list[Example]:
    """Examples of rendered photos."""
    renders = [load(p) for p in paths]
    fold = folds([str(r.truth["piece"]) for r in renders], FOLDS)
    out = []
    for r in renders:
        width, height = working_size(r.photo.width, r.photo.height)
        ids = np.asarray(cv2.resize(r.ids, (width, height), interpolation=cv2.INTER_NEAREST), np.uint8)
        out.append(Example(resize(r.photo.pixels, width, height), ids, np.empty((0, 4, 2), np.float32), True,
                           fold[str(r.truth["piece"])]))
    return out


def pack(examples: Sequence[Example], path: Path) -> None:
    """Write examples: pictures as JPEG, maps as PNG, one after the other."""
    blobs, ends, quads, owner = [], [], [], []
    for k, e in enumerate(examples):
        for image, form, options in ((e.pixels, "JPEG", {"quality": JPEG_QUALITY}), (e.labels, "PNG", {})):
            stream = io.BytesIO()
            Image.fromarray(image).save(stream, form, **options)
            blobs.append(stream.getvalue())
            ends.append(len(blobs[-1]))
        quads.append(e.quads)
        owner += [k] * len(e.quads)
    np.savez(path, blob=np.frombuffer(b"".join(blobs), np.uint8), ends=np.cumsum(ends), quads=np.concatenate(quads),
             owner=np.array(owner, np.int32), rendered=np.array([e.rendered for e in examples]),
             fold=np.array([e.fold for e in examples], np.int32))


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True, help="folder with img/ and panels.csv")
    parser.add_argument("--renders", type=Path, required=True, help="folder of rendered scenes")
    parser.add_argument("--cache", type=Path, required=True, help="folder for what the backbone sees, made on first use")
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    examples = real_examples(outlined_photos(args.photos), args.cache) + rendered_examples(sorted(args.renders.glob("p*.json")))
    pack(examples, args.out)
    print(f"{len(examples)} examples, {args.out.stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()

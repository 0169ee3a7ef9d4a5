"""What the panel net is taught on: the crops of labelled panels as small picture files in one pack, with their labels.

    python -m training.panel_crops --photos DIR --out FILE.npz                 # real panels, with the fold of each author
    python -m training.panel_crops --renders DIR --out FILE.npz [--workers N] [--seconds S] [--groups LOW HIGH]

Crops are kept a little larger than the net reads them, so that windows can be drawn from them. Only made where the pictures are;
a pack holds pixels and is never committed.
"""

from __future__ import annotations

import argparse
import os
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.real_photos import Labelled, labelled_panels, open_panel
from vision.errors import GrainassayError
from vision.inference.model import TARGETS

#: Side of a kept crop, px, and the quality it is written with.
KEPT, QUALITY = 240, 85
#: Folds of authors that nets are left out by: those of the held-out figures.
UNKNOWN_FOLD = -1


@dataclass(frozen=True, eq=False)
class Pack:
    """Crops of n panels. `crops` (n, 4) encoded pictures; `marks` (n, 4) packed bits; `labels` target -> (n,) index or -1;
    `weight` (n,) trust shared within a specimen; `fold` (n,); `ids`, `groups` (n,) names."""

    ids: NDArray[np.str_]
    groups: NDArray[np.str_]
    crops: list[list[bytes]]
    marks: list[list[bytes]]
    labels: dict[str, NDArray[np.int64]]
    weight: NDArray[np.float32]
    fold: NDArray[np.int64]

    def save(self, path: Path) -> None:
        """One file: bytes end to end with their lengths."""
        flat = [b for row in self.crops for b in row]
        bits = [b for row in self.marks for b in row]
        labels: dict[str, Any] = {f"label_{t}": v for t, v in self.labels.items()}
        np.savez(path, ids=self.ids, groups=self.groups, weight=self.weight, fold=self.fold,
                 lengths=np.array([len(b) for b in flat]), bytes=np.frombuffer(b"".join(flat), np.uint8),
                 bit_lengths=np.array([len(b) for b in bits]), bits=np.frombuffer(b"".join(bits), np.uint8), **labels)

    @staticmethod
    def load(path: Path) -> Pack:
        """Read what `save` wrote."""
        with np.load(path) as d:
            n = len(d["ids"])
            crops, marks = (_split(d[a].tobytes(), d[b], n) for a, b in (("bytes", "lengths"), ("bits", "bit_lengths")))
            return Pack(d["ids"], d["groups"], crops, marks, {t: d[f"label_{t}"].astype(np.int64) for t in TARGETS},
                        d["weight"], d["fold"])

    def pixels(self, at: Sequence[int] | NDArray[np.intp]) -> NDArray[np.uint8]:
        """(len(at), 4 crops, KEPT, KEPT, 4) uint8: red, green, blue, mark."""
        return np.stack([np.stack([_open(c, m) for c, m in zip(self.crops[i], self.marks[i], strict=True)]) for i in at])


def _split(data: bytes, lengths: NDArray[np.intp], rows: int) -> list[list[bytes]]:
    ends = np.cumsum(lengths)
    parts = [data[e - n : e] for e, n in zip(ends, lengths, strict=True)]
    each = len(parts) // rows if rows else 0
    return [parts[i * each : (i + 1) * each] for i in range(rows)]


def _open(data: bytes, mark: bytes) -> NDArray[np.uint8]:
    import zlib

    bgr = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    assert bgr is not None
    bits = np.unpackbits(np.frombuffer(zlib.decompress(mark), np.uint8))[: KEPT * KEPT].reshape(KEPT, KEPT)
    return np.dstack([bgr[..., ::-1], bits * 255]).astype(np.uint8)


def encoded(picture: NDArray[np.uint8]) -> tuple[bytes, bytes]:
    """A crop (KEPT, KEPT, 4) as picture file and packed mark."""
    import zlib

    _, data = cv2.imencode(".webp", np.ascontiguousarray(picture[..., 2::-1]), [cv2.IMWRITE_WEBP_QUALITY, QUALITY])
    return data.tobytes(), zlib.compress(np.packbits(picture[..., 3] > 127).tobytes(), 6)


def labels_of(row: Labelled) -> dict[str, int]:
    """Index of a row's label for every target, -1 where unknown."""
    from training.tables import core_visible_label

    found = {t: TARGETS[t].index(v) if (v := getattr(row, t)) in TARGETS[t] else -1 for t in ("face", "core", "view")}
    return {**found, "core_visible": int(core_visible_label(row.view, row.face, row.core, row.core_shown))}


def crops_of(path: Path, rows: Sequence[Labelled]) -> list[tuple[Labelled, list[tuple[bytes, bytes]]]]:
    """Encoded crops of the panels of one photo; panels whose outline cannot be used are left out."""
    from vision.intake import load_photo
    from vision.panel_net import crops
    from vision.panels import panels_from_outlines, rectify

    photo = load_photo(path, "photo")
    out = []
    for row in rows:
        try:
            whole, outline = photo, row.outline
            if row.line_scan:
                whole, panel = open_panel(row, photo)
                outline = panel.outline
            view = rectify(whole, panels_from_outlines(whole, [(row.id, outline)])[0])
        except GrainassayError:
            continue
        out.append((row, [encoded(p) for p in crops(whole, view, KEPT)]))
    return out


def _job(args: tuple[Path, list[Labelled]]) -> list[tuple[Labelled, list[tuple[bytes, bytes]]]]:
    cv2.setNumThreads(1)
    return crops_of(*args)


def _all(rows: Iterable[Labelled], workers: int, seconds: float) -> Iterator[tuple[Labelled, list[tuple[bytes, bytes]]]]:
    by_photo: dict[Path, list[Labelled]] = defaultdict(list)
    for row in rows:
        by_photo[row.path].append(row)
    begun = time.monotonic()
    with get_context("spawn").Pool(workers) as pool:
        for done, found in enumerate(pool.imap(_job, sorted(by_photo.items()), chunksize=4), 1):
            yield from found
            if done % 100 == 0:
                print(f"{done} of {len(by_photo)} photos, {time.monotonic() - begun:.0f} s", flush=True)
            if time.monotonic() - begun > seconds:
                print(f"time is up after {done} of {len(by_photo)} photos", flush=True)
                return


def pack(rows: Sequence[Labelled], folds: dict[str, int], workers: int = 1, seconds: float = float("inf")) -> Pack:
    """Crops of the rows; `folds`: author -> fold, authors that are not there get UNKNOWN_FOLD."""
    found = list(_all(rows, workers, seconds))
    kept: list[Labelled] = [r for r, _ in found]
    _, at, counts = np.unique(np.array([r.specimen for r in kept]), return_inverse=True, return_counts=True)
    labels: list[dict[str, int]] = [labels_of(r) for r in kept]
    return Pack(
        np.array([r.id for r in kept]), np.array([r.author for r in kept]), [[c for c, _ in p] for _, p in found],
        [[m for _, m in p] for _, p in found], {t: np.array([x[t] for x in labels], np.int64) for t in TARGETS},
        (np.array([r.weight for r in kept]) / counts[at]).astype(np.float32),
        np.array([folds.get(r.author, UNKNOWN_FOLD) for r in kept], np.int64),
    )


def author_fold_numbers(rows: Sequence[Labelled]) -> dict[str, int]:
    """Author -> fold of the held-out figures, the same whatever is measured of the panels."""
    from training.config_file import load_config
    from training.stacking import author_folds
    from training.tables import REAL, Table, short_hash

    config, real = load_config(), Table.load(REAL)
    number: dict[str, int] = {}
    for k, test in enumerate(author_folds(real.author, real.face, config.outer_folds, config.seed + 1)):
        number |= {str(a): k for a in np.unique(real.author[test])}
    return {r.author: number[short_hash(r.author)] for r in rows if short_hash(r.author) in number}


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path)
    parser.add_argument("--renders", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--workers", type=int, default=max(1, (os.cpu_count() or 2) - 1))
    parser.add_argument("--seconds", type=float, default=float("inf"))
    chosen: Any = parser.parse_args()
    if chosen.photos is not None:
        rows = labelled_panels(chosen.photos)
        found = pack(rows, author_fold_numbers(rows), chosen.workers, chosen.seconds)
    else:
        from training.rendered import rendered_panels

        found = pack(rendered_panels(chosen.renders), {}, chosen.workers, chosen.seconds)
    found.save(chosen.out)
    print(f"{len(found.ids)} panels of {len(set(found.groups.tolist()))} groups, {chosen.out.stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()

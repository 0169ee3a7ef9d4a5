"""What the edge net's teaching needs of the photo collection, in a small folder that git ignores: figure of faces by part and
real edges laid out."""

from __future__ import annotations

import gzip
import pickle
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from training.composites.figures import Figure
from training.edge_rows import measured_real
from training.edges.sets import figures_of
from vision.resize import fit_within, resize

#: Longest side and JPEG quality of a packed figure.
SIDE, QUALITY = 900, 92


def write_pack(folder: Path, photos: Path) -> None:
    """Figures of all parts and real edges, each with two canvases."""
    folder.mkdir(parents=True, exist_ok=True)
    for part in ("teach", "stage", "report"):
        kept = []
        for f in figures_of(part, photos):
            w, h = fit_within(f.pixels.shape[1], f.pixels.shape[0], max_side=SIDE)
            small = np.ascontiguousarray(resize(f.pixels, w, h)[..., ::-1])
            _, data = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
            kept.append((data.tobytes(), f.group, f.name, f.kind))
        (folder / f"figures_{part}.pickle").write_bytes(pickle.dumps(kept))
        print(part, len(kept), "figures of", len({k[1] for k in kept}))
    edges = list(measured_real(photos))
    (folder / "real.gz").write_bytes(gzip.compress(pickle.dumps(edges), 6))
    print(len(edges), "real edges")


def load_pack(folder: Path, part: str) -> Any:
    """Figures of a part, or (row, examples) of the real edges for 'real'."""
    if part == "real":
        return pickle.loads(gzip.decompress((folder / "real.gz").read_bytes()))
    out = []
    for data, group, name, kind in pickle.loads((folder / f"figures_{part}.pickle").read_bytes()):
        pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
        assert pixels is not None
        out.append(Figure(np.ascontiguousarray(pixels[..., ::-1], np.uint8), group, name, kind))
    return out

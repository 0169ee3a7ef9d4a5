"""Faces without hardware to draw on: our own drawn surfaces, and real faces of the photo collection where it is at hand.

`python -m training.hardware.grounds --photos DIR --out DIR` writes the real ones that the net learns on as JPEG.
"""

from __future__ import annotations

import argparse
import re
import zlib
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.resize import fit_within, resize

CACHE = Path("build/hardware/grounds")
#: Longer side of a ground, px; words in the notes of a real panel that may bear hardware.
LONG = 760
_BEARS = re.compile(r"drawer|door|cabinet|hinge|screw|nail|hole|knob|pull|handle|dovetail|finger|lock|bolt", re.IGNORECASE)
#: Rows whose faces bear something like hardware after all, found by eye.
_LEFT_OUT = ("A068", "A073", "B037", "B068", "C136", "E089")
_KINDS = ("wood", "wood", "veneer", "veneer", "print", "melamine", "paint", "paint", "ply", "fibreboard", "hardboard", "particle")


def drawn_ground(seed: int) -> NDArray[np.uint8]:
    """(h, w, 3) a drawn surface of 300 to 1100 mm."""
    from training.figure.finish import to_bytes
    from training.joints.stuff import Sheet, surface

    rng = np.random.default_rng([seed, 77])
    wide = float(rng.uniform(300, 1100))
    sheet = Sheet(wide, wide * float(rng.uniform(0.5, 1.0)), wide / LONG)
    return to_bytes(surface(_KINDS[seed % len(_KINDS)], sheet, rng))


def drawn(part: str, count: int, cache: Path | None = CACHE) -> list[NDArray[np.uint8]]:
    """The first `count` drawn grounds of a part ('fit', 'held_out', 'report'), kept on disk."""
    from training.hardware.make import FIRST

    out = []
    for seed in range(FIRST[part], FIRST[part] + count):
        stored = None if cache is None else cache / f"drawn_{seed}.npy"
        if stored is not None and stored.exists():
            out.append(np.load(stored))
            continue
        made = drawn_ground(seed)
        if stored is not None:
            stored.parent.mkdir(parents=True, exist_ok=True)
            np.save(stored, made)
        out.append(made)
    return out


def author_part(author: str) -> str:
    """'fit' (the net learns on them), 'held_out' (chances are set on them) or 'report' (judged on)."""
    from training.composites.figures import part_of

    if part_of(author) == "report":
        return "report"
    return "held_out" if zlib.crc32(author.encode()) % 3 == 0 else "fit"


def real(folder: Path, part: str) -> list[tuple[str, NDArray[np.uint8]]]:
    """(author, face) of real panels of a part whose notes name no hardware."""
    from training.joint_panels import panels

    out = []
    for p in panels(folder, author_part, part):
        if not _BEARS.search(p.text) and p.view == "face" and p.id not in _LEFT_OUT:
            h, w = p.working.pixels.shape[:2]
            out.append((p.author, resize(p.working.pixels, *fit_within(w, h, max_side=LONG))))
    return out


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    chosen = parser.parse_args(arguments)
    chosen.out.mkdir(parents=True, exist_ok=True)
    found = real(chosen.photos, "fit")
    for k, (_, face) in enumerate(found):
        cv2.imwrite(str(chosen.out / f"fit_{k:03d}.jpg"), face[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])
    print(f"{len(found)} faces by {len({a for a, _ in found})} authors")


if __name__ == "__main__":
    main()

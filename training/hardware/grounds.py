"""Faces without hardware to draw on: our own drawn surfaces, and real faces of the photo collection where it is at hand."""

from __future__ import annotations

import re
from pathlib import Path

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


def real(folder: Path, part: str) -> list[tuple[str, NDArray[np.uint8]]]:
    """(author, face) of real panels of a part ('tune' to learn from, 'report' to judge by) whose notes name no hardware."""
    from training.composites.figures import part_of
    from training.joint_panels import panels

    out = []
    for p in panels(folder, part_of, part):
        if not _BEARS.search(p.text) and p.view == "face" and p.id not in _LEFT_OUT:
            h, w = p.working.pixels.shape[:2]
            out.append((p.author, resize(p.working.pixels, *fit_within(w, h, max_side=LONG))))
    return out

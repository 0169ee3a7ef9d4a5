"""How often the part of the piece a panel belongs to is named, and named rightly, on rendered photos.

    python -m training.role_scores --renders DIR [--most 200]

Geometry alone is judged: the true outlines and views are given, so that what the finder misses is not counted here.
Roles the truth has but the registry lacks are left out.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from vision import registry
from vision.errors import GrainassayError
from vision.panels import panels_from_outlines
from vision.parts.roles import guess_roles
from vision.types import Panel, Photo

Pair = tuple[str, str]


def pairs(truth: dict[str, Any], photo: Photo) -> list[Pair]:
    """(true role, guessed role) of every face of a rendered photo."""
    rows: list[dict[str, Any]] = []
    panels: list[Panel] = []
    for row in truth["panels"]:
        try:
            panels += panels_from_outlines(photo, [(f"x{row['id']}", [tuple(p) for p in row["outline"]])])
        except GrainassayError:
            continue
        rows.append(row)
    guessed = guess_roles(panels, [r["view"] for r in rows], (photo.width, photo.height))
    return [(r["role"], g) for r, g in zip(rows, guessed, strict=True) if r["view"] == "face" and r["role"] in registry.ROLES]


def figures(found: Sequence[Pair]) -> dict[str, tuple[int, float, float]]:
    """Role -> (true panels, share named so, share right among those named so)."""
    true, said = Counter(t for t, _ in found), Counter(g for _, g in found)
    hit = Counter(t for t, g in found if t == g)
    return {r: (true[r], hit[r] / max(1, true[r]), hit[r] / said[r] if said[r] else float("nan"))
            for r in registry.ROLES if r != "unknown" and (true[r] or said[r])}


def main() -> None:
    """Command line."""
    import numpy as np

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--renders", type=Path, required=True)
    parser.add_argument("--most", type=int, default=200)
    args = parser.parse_args()
    paths = sorted(args.renders.glob("p*.json"))
    found: list[Pair] = []
    for path in paths[:: max(1, len(paths) // args.most)][: args.most]:
        truth = json.loads(path.read_text())
        blank = np.zeros((truth["height"], truth["width"], 3), np.uint8)
        found += pairs(truth, Photo(id="photo", file=path.stem, sha256="", pixels=blank))
    print(f"{len(found)} faces; left open {sum(g == 'unknown' for _, g in found) / max(1, len(found)):.3f}")
    for role, (count, named, right) in figures(found).items():
        print(f"{role:14s} {count:5d} panels, named {named:.3f}, right when named {right:.3f}")


if __name__ == "__main__":
    main()

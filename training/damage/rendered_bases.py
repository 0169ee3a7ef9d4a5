"""Rendered panels to draw damage on and to leave sound: knobs, reveals, shadows, neighbours and floor as they come into a panel.

    python -m training.damage.rendered_bases --renders DIR --out FOLDER/rendered [--most 460] [--found 0.4]

writes panels of rendered furniture beside what training/damage/parts.py writes; only teaching uses them. Pieces that
training/detail_rates.py looks at (every 14th picture) are left out whole.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from training.composites.figures import grain_angle, inner_box
from training.damage.real_bases import DRAWN_ON, RealPanel, carry
from vision.errors import GrainassayError
from vision.intake import load_photo
from vision.panels import find_panels, panels_from_outlines, rectify
from vision.resize import fit_within, resize
from vision.types import Panel, Photo, WorkingView

#: Every so many pictures one counts false alarms; longest and least side of a kept panel, px; least share of the photo.
HELD_OUT, MAX_SIDE, MIN_SIDE, LEAST_SHARE = 14, 520, 60, 0.012


def pictures(folder: Path) -> list[Path]:
    """Truth files of pieces (with all that share their figure) that no count of false alarms looks at."""
    every = sorted(folder.glob("*.json"))
    piece = {path: _piece(path) for path in every}
    held = {piece[path] for path in every[::HELD_OUT]}
    return [path for path in every if piece[path] not in held]


def _piece(path: Path) -> str:
    told = json.loads(path.read_text())
    return str(told.get("twin_group") or told["piece"])


def rendered_panels(folder: Path, most: int, found: float, rng: np.random.Generator) -> Iterator[RealPanel]:
    """At most `most` panels, the share `found` of them as the program finds them and the rest by their true outlines; of one
    picture at most four."""
    left = most
    for path in rng.permutation(np.array(pictures(folder), dtype=object)):
        if left <= 0:
            return
        photo = load_photo(path.with_suffix(".jpg"), "photo")
        told = json.loads(path.read_text())
        if rng.random() < found:
            panels = [(p, "unknown", "unknown") for p in find_panels(photo)]
        else:
            panels = list(_outlined(photo, told["panels"]))
        for k in rng.permutation(len(panels))[: min(4, left)]:
            kept = _kept(photo, *panels[int(k)], str(told["piece"]), rng)
            if kept is not None:
                left -= 1
                yield kept


def _outlined(photo: Photo, rows: list[dict[str, object]]) -> Iterator[tuple[Panel, str, str]]:
    for row in rows:
        if row["view"] != "face" or row["face"] == "not_wood":
            continue
        try:
            outline = [tuple(q) for q in row["outline"]]  # type: ignore[attr-defined]
            yield panels_from_outlines(photo, [(str(row["id"]), outline)])[0], str(row["face"]), str(row["core"])
        except GrainassayError:  # an outline that crosses itself is of no use here
            continue


def _kept(photo: Photo, panel: Panel, face: str, core: str, piece: str, rng: np.random.Generator) -> RealPanel | None:
    try:
        view: WorkingView = rectify(photo, panel, working_px=MAX_SIDE)
    except ValueError:
        return None
    if view.mask.sum() * view.px_scale**2 < LEAST_SHARE * photo.width * photo.height:
        return None
    pixels = view.pixels
    if rng.random() < 0.6:  # else with what lies beyond its outline: floor and neighbours are no damage either
        x0, y0, x1, y1 = inner_box(view.mask)
        pixels = pixels[y0:y1, x0:x1]
    if min(pixels.shape[:2]) < MIN_SIDE:
        return None
    width, height = fit_within(pixels.shape[1], pixels.shape[0], max_side=MAX_SIDE)
    pixels = resize(np.ascontiguousarray(pixels), width, height)
    if face in ("solid_wood", "veneer", "printed") and 45 <= grain_angle(pixels)[0] < 135:
        pixels = np.ascontiguousarray(np.rot90(pixels, -1))
    return RealPanel(pixels, face, core, face not in DRAWN_ON, f"rendered {piece}")


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--renders", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--most", type=int, default=460)
    parser.add_argument("--found", type=float, default=0.4, help="share of pictures whose panels are as found")
    args = parser.parse_args()
    panels = list(rendered_panels(args.renders, args.most, args.found, np.random.default_rng(14)))
    carry(args.out, [], panels)
    pieces = {p.group for p in panels}
    print(f"{len(panels)} rendered panels of {len(pieces)} pieces, {sum(p.sound_only for p in panels)} only ever sound")


if __name__ == "__main__":
    main()

"""Contact sheets of drawn panels, with and without their true regions, to be judged by eye.

python -m training.damage.sheet --photos DIR --out sheet.png [--first SEED] [--kind NAME] [--count N]
"""

from __future__ import annotations

import argparse
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training.damage.make import CODE_UNKNOWN, NAMES, Panel, make_panel
from training.damage.parts import bank_of


def drawn(panel: Panel) -> NDArray[np.uint8]:
    """The panel with its true outlines and their kinds."""
    out = panel.pixels.copy()
    for code in np.unique(panel.labels):
        if code == 0:
            continue
        outlines, _ = cv2.findContours((panel.labels == code).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        ink = (90, 90, 90) if code == CODE_UNKNOWN else (255, 40, 160)
        cv2.drawContours(out, outlines, -1, ink, 1)
        if code != CODE_UNKNOWN:
            x, y = outlines[0][0, 0]
            cv2.putText(
                out, NAMES[code - 1], (int(x), int(max(10, y - 2))), cv2.FONT_HERSHEY_SIMPLEX, 0.38, (255, 255, 0), 1, cv2.LINE_AA
            )
    return out


def tiled(pictures: list[NDArray[np.uint8]], columns: int, cell: tuple[int, int]) -> NDArray[np.uint8]:
    """Pictures side by side in cells of (height, width), cut or padded with grey."""
    rows = -(-len(pictures) // columns)
    sheet = np.full((rows * cell[0], columns * cell[1], 3), 60, np.uint8)
    for k, picture in enumerate(pictures):
        y, x = (k // columns) * cell[0], (k % columns) * cell[1]
        part = picture[: cell[0] - 4, : cell[1] - 4]
        sheet[y : y + part.shape[0], x : x + part.shape[1]] = part
    return sheet


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=9)
    parser.add_argument("--step", type=int, default=7)
    parser.add_argument("--kind", choices=NAMES)
    parser.add_argument("--plain", action="store_true", help="without outlines")
    parser.add_argument("--sound", action="store_true", help="sound panels only")
    args = parser.parse_args()
    bank = bank_of("teach", args.photos, None)
    pictures: list[NDArray[np.uint8]] = []
    seed = args.first
    while len(pictures) < args.count and seed < args.first + 400 * args.step:
        panel = make_panel(seed, bank, sound=args.sound)
        if args.kind is None or (panel.labels == NAMES.index(args.kind) + 1).any():
            pictures.append(panel.pixels if args.plain else drawn(panel))
        seed += args.step
    cv2.imwrite(str(args.out), cv2.cvtColor(tiled(pictures, 3, (470, 645)), cv2.COLOR_RGB2BGR))


if __name__ == "__main__":
    main()

"""What the renderer draws, counted on pieces ordered but not rendered.

    python -m training.scenes.catalogue [--pieces 300]
    python -m training.scenes.catalogue --renders DIR --sheet docs/scenes.jpg     # a small sheet of pictures rendered into DIR

Prints Markdown: shares of faces, cores, edges, layouts, woods, coats, phones and ways to the reader, from the committed settings.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

import cv2
import numpy as np

from training.figure.species import SPECIES
from training.figure.warp import FIGURED
from training.scenes.cameras import HABITS
from training.scenes.config import load_settings
from training.scenes.construction import Workshop
from training.scenes.damaged import Use
from training.scenes.furniture import BUILDERS
from training.scenes.phone import draw_phone
from training.scenes.shoot import order_pieces
from vision.resize import resize

#: Facts of a slab that are counted, with what a reader calls them.
COUNTED = {"face": "Faces", "core": "Cores", "edging": "Edges", "layout": "Layouts of leaves and boards", "species": "Woods",
           "figured": "Wander of the fibres", "coat": "Coats", "stain": "Stains"}
#: First piece counted: far from those rendered for teaching and for the samples.
FIRST = 400_000


def counts(pieces: int) -> tuple[dict[str, Counter[str]], Counter[str]]:
    """(fact -> value -> parts, what -> pieces) of so many pieces."""
    settings = load_settings()
    parts: dict[str, Counter[str]] = {k: Counter() for k in COUNTED}
    whole: Counter[str] = Counter()
    for order in order_pieces(settings, FIRST, pieces):
        shop = Workshop(order.style, order.seed, twin=order.twin)
        piece = BUILDERS[order.kind](shop, np.random.default_rng([order.seed, 101]))
        whole.update({f"kind {order.kind}": 1, f"style {order.style}": 1, "all": 1})
        whole["one of three alike"] += order.twin is not None
        whole["hard used"] += Use.of(order.seed, order.twin is not None).worn
        whole["parts"] += len(piece.parts)
        for part in piece.parts:
            facts = part.slab.facts()
            for key, counter in parts.items():
                if facts.get(key) is not None:
                    counter[str(facts[key])] += 1
    return parts, whole


def shares(counter: Mapping[str, int]) -> str:
    """Values with their share in per cent, most frequent first."""
    total = sum(counter.values())
    rows = sorted(counter.items(), key=lambda r: (-r[1], r[0]))
    return ", ".join(f"{k.replace('_', ' ')} {100 * v / total:.{0 if v >= 0.02 * total else 1}f} %" for k, v in rows)


def text(pieces: int) -> str:
    """The whole page."""
    parts, whole = counts(pieces)
    settings = load_settings()
    shots = [draw_phone(np.random.default_rng([7, k]), settings.jpeg) for k in range(2000)]
    lines = [
        f"Counted on {whole['all']} pieces with {whole['parts']} parts, ordered but not rendered.", "",
        "| what | shares |", "|---|---|",
        f"| Pieces | {shares({k[5:]: v for k, v in whole.items() if k.startswith('kind ')})} |",
        f"| Styles | {shares({k[6:]: v for k, v in whole.items() if k.startswith('style ')})} |",
        "| One of three alike (solid, veneer and print of one figure in one light) "
        f"| {100 * whole['one of three alike'] / pieces:.0f} % |",
        f"| Hard used: damage on about half of its faces | {100 * whole['hard used'] / pieces:.0f} % |",
        *(f"| {name} | {shares(parts[key])} |" for key, name in COUNTED.items()),
        f"| Phones ({len(HABITS)} habits) | {shares(Counter(s.camera for s in shots))} |",
        f"| Ways to the reader | {shares(Counter(s.delivery for s in shots))} |",
        f"| Views | {shares({k: round(1000 * v) for k, v in settings.views.items()})} |", "",
        f"Woods: {len(SPECIES)} settings ({shares(Counter(s.profile for s in SPECIES.values()))}). Wanders: "
        + " ".join(f"*{k.replace('_', ' ')}*: {v[0].lower()}{v[1:]}" for k, v in FIGURED.items()),
    ]
    return "\n".join(lines)


def sheet(renders: Path, count: int = 12, side: int = 300) -> np.ndarray:
    """(h, w, 3) BGR sheet of the first pictures of `count` pieces in a folder, four in a row, cut square about their middles."""
    tiles = []
    for path in sorted(renders.glob("*_0.jpg"))[:count]:
        picture = cv2.imread(str(path))
        assert picture is not None
        h, w = picture.shape[:2]
        n = min(h, w)
        square = picture[(h - n) // 2:(h - n) // 2 + n, (w - n) // 2:(w - n) // 2 + n]
        tiles.append(resize(np.ascontiguousarray(square), side, side))
    if not tiles:
        raise FileNotFoundError(f"{renders} holds no pictures")
    tiles += [np.full_like(tiles[0], 255)] * (-len(tiles) % 4)
    return np.vstack([np.hstack(tiles[k:k + 4]) for k in range(0, len(tiles), 4)])


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pieces", type=int, default=300)
    parser.add_argument("--renders", type=Path, help="folder of rendered pictures, for a sheet")
    parser.add_argument("--sheet", type=Path, help="JPEG to write the sheet to")
    args = parser.parse_args()
    if args.sheet is not None:
        cv2.imwrite(str(args.sheet), sheet(args.renders), [cv2.IMWRITE_JPEG_QUALITY, 82])
        return
    print(text(args.pieces))


if __name__ == "__main__":
    main()

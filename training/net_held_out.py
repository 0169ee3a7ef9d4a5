"""What the panel net says of a taught panel when it saw nothing of its author: kept, and put in place of what it remembers.

    python -m training.net_held_out --answers net_answers.npz --photos DIR

The shipped net was taught on the very panels that the classifier is taught on; there it would seem far better than on the photo
of a stranger. The nets of the folds of authors (training/panel_net.py) answer in its stead: their numbers are kept in
training/tables/net_held_out.json by outline and used in teaching and in held-out scores. The folds are those of the held-out
figures, so a figure of a fold rests on a net without it; the classifier of that fold is taught on what other nets say of other
authors, of whom each net has seen some.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

import numpy as np

from training.edge_held_out import outline_key
from training.real_photos import labelled_panels, open_panel
from vision.intake import load_photo
from vision.panel_net import FEATURES, numbers
from vision.panels import panels_from_outlines
from vision.types import Outline

STORE = Path(__file__).resolve().parent / "tables" / "net_held_out.json"


@lru_cache(maxsize=1)
def stored(path: Path = STORE) -> Mapping[str, Mapping[str, float]]:
    """Outline key -> feature name -> number; empty where nothing is stored."""
    if not path.exists():
        return {}
    rows: dict[str, list[float]] = json.loads(path.read_text(encoding="utf-8"))
    return {key: {f.name: v for f, v in zip(FEATURES, row, strict=True)} for key, row in rows.items()}


def numbers_for(outline: Outline) -> Mapping[str, float]:
    """Feature values to put in place of the measured ones for a panel's outline; empty for all but the taught panels."""
    return stored().get(outline_key(outline), {})


def held_out_numbers(answers: Path, photos: Path) -> dict[str, list[float]]:
    """Outline key -> numbers in the order of FEATURES, of every panel that a net of a fold has answered.

    Raises
    ------
    ValueError
        if an answer is missing or not finite.
    """
    with np.load(answers) as d:
        said = {str(i): {t: d[f"held_{t}"][k] for t in ("face", "core", "view", "core_visible")} for k, i in enumerate(d["ids"])}
    out: dict[str, list[float]] = {}
    for row in labelled_panels(photos):
        if row.id not in said:
            continue
        found = said[row.id]
        seen = float(found["core_visible"][0] - found["core_visible"][1])
        values = list(numbers(found["face"], found["core"], found["view"], seen).values())
        if not np.isfinite(values).all():
            raise ValueError(f"{answers.name}: no net answered for panel {row.id}; teach the nets of all folds")
        photo = load_photo(row.path, "photo")
        outline = open_panel(row, photo)[1].outline if row.line_scan else row.outline
        key = outline_key(panels_from_outlines(photo, [(row.id, outline)])[0].outline)
        out[key] = [round(float(v), 4) for v in values]
    return out


def main() -> None:
    """Keep what the nets of the folds say."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--answers", type=Path, required=True)
    parser.add_argument("--photos", type=Path, required=True)
    chosen = parser.parse_args()
    found = held_out_numbers(chosen.answers, chosen.photos)
    STORE.write_text(json.dumps(found, indent=0, sort_keys=True) + "\n", encoding="utf-8")
    print(f"{len(found)} panels with numbers of nets that saw nothing of their author")


if __name__ == "__main__":
    main()

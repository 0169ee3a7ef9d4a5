"""What an edge model that saw nothing of their photographer says of outlined real edges, for teaching the classifier honestly.

    python -m training.edge_held_out --photos DIR --rows FOLDER      # FOLDER: what the edge net's teaching left

The shipped edge net and forests were taught on real edges too. Their answers on those very edges are far too good, and a
classifier taught on them would trust them too much, and be scored too well. For these edges the numbers of a net and forest
of another fold are kept in training/tables/edges_held_out.json and put in place of the measured ones, in teaching and in
held-out scores.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training.edge_fit import PER_KIND, Real, fit_forest, fit_look, held_out_real, join_on, temperature, tempered, with_real
from training.edge_rows import FOLDS, Row, fold_of_group, made_rows, real_rows, unpack
from training.real_photos import labelled_panels
from vision.edges.edge import report
from vision.edges.frame import lay_out
from vision.edges.kinds import STRIP_KINDS
from vision.edges.naming import EdgeModel, Seen, load_edge_model
from vision.edges.numbers import measure_numbers
from vision.edges.shown import SHOWN_NUMBERS
from vision.edges.side import FEATURES
from vision.intake import load_photo
from vision.panels import panels_from_outlines
from vision.types import Outline

STORE = Path(__file__).resolve().parent / "tables" / "edges_held_out.json"


def outline_key(outline: Outline) -> str:
    """Name of an outline that is the same wherever it is read in: its corners to whole pixels, in any order."""
    corners = sorted((round(x), round(y)) for x, y in outline)
    return hashlib.sha256(repr(corners).encode()).hexdigest()[:16]


@lru_cache(maxsize=1)
def stored(path: Path = STORE) -> Mapping[str, Mapping[str, float]]:
    """Outline key -> feature name -> number; empty where nothing is stored."""
    if not path.exists():
        return {}
    rows: dict[str, list[float | None]] = json.loads(path.read_text(encoding="utf-8"))
    return {key: {f.name: math.nan if v is None else v for f, v in zip(FEATURES, row, strict=True)} for key, row in rows.items()}


def numbers_for(outline: Outline) -> Mapping[str, float]:
    """Feature values to put in place of the measured ones for a panel's outline; empty for all but the taught edges."""
    return stored().get(outline_key(outline), {})


def models(teach: Sequence[Row], stage: Sequence[Row], real: Real) -> list[EdgeModel]:
    """For every fold of photographers a model whose kinds were taught without it; the other questions rest on made edges."""
    shipped = load_edge_model()
    share = temperature(held_out_real(teach, stage, real), _kinds([r for r, _ in real]))
    out = []
    for k in range(FOLDS):
        taught = with_real(teach, [r for r, _ in real if fold_of_group(r.group) != k])
        forest, look = fit_forest(taught, "kind"), fit_look(taught, "kind")
        join = tempered(join_on(stage, "kind", forest, look), share)
        out.append(replace(shipped, forests={**shipped.forests, "kind": forest}, looks={**shipped.looks, "kind": look},
                           joins={**shipped.joins, "kind": join}))
    return out


def _kinds(rows: Sequence[Row]) -> NDArray[np.intp]:
    return np.array([list(STRIP_KINDS).index(r.strip) for r in rows])


def held_out_numbers(photos: Path, real: Real, by_fold: Sequence[EdgeModel]) -> dict[str, list[float | None]]:
    """Outline key -> numbers in the order of FEATURES, None where unmeasured."""
    labelled = {row.id: row for row in labelled_panels(photos)}
    out: dict[str, list[float | None]] = {}
    for row, _ in real:
        panel = labelled.get(row.label["id"])
        if panel is None or row.net is None:
            continue
        photo = load_photo(panel.path, "photo")
        outline = panels_from_outlines(photo, [(panel.id, panel.outline)])[0].outline
        frame = lay_out(photo.pixels, outline)
        if frame is None:
            continue
        found = report(frame, measure_numbers(frame), by_fold[fold_of_group(row.group)], None, Seen(row.net, row.embedding))
        numbers = [found.numbers[name] for name in SHOWN_NUMBERS]
        out[outline_key(outline)] = [round(float(v), 5) if math.isfinite(v) else None for v in numbers]
    return out


def main() -> None:
    """Fit the models of all folds and keep what they say."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--rows", type=Path, help="folder with rows that the net's teaching left")
    chosen = parser.parse_args()
    if chosen.rows is not None:
        unpack(chosen.rows)
    real = real_rows()
    if not real:
        raise SystemExit("no taught real edges are at hand: give --rows the folder that the net's teaching left")
    teach, stage = (list(made_rows(part, PER_KIND[part], chosen.photos)) for part in ("teach", "stage"))
    found = held_out_numbers(chosen.photos, real, models(teach, stage, real))
    STORE.write_text(json.dumps(found, indent=0, sort_keys=True) + "\n", encoding="utf-8")
    print(f"{len(found)} of {len(real)} taught real edges: numbers of models that saw nothing of their photographer")


if __name__ == "__main__":
    main()

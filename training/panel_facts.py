"""What the tables do not hold about their panels: how the photo was taken, and what the usual checklist can see on it.

    python -m training.panel_facts --photos DIR [--renders DIR]

writes training/tables/facts_real.npz and facts_rendered.npz beside the tables, row for row: sizes, flags and the collector's
own numbers of panels; no picture and no name of a person is in them. Nothing is measured on a photo: sizes come from files'
heads, the rest from panels.csv and from the truth of renders. Seconds, so make them anew whenever the tables are.
"""

from __future__ import annotations

import argparse
import csv
import json
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training import baselines_checklist as checklist
from training.real_photos import Labelled, labelled_panels
from training.tables import FOLDER, REAL, RENDERED, Table, short_hash
from vision.inference.joint import FACES
from vision.inference.model import TARGETS

FACTS_REAL, FACTS_RENDERED = FOLDER / "facts_real.npz", FOLDER / "facts_rendered.npz"
#: Photo types, by what the file and the outline say; see `Facts.kind`.
KINDS = ("close-up", "whole piece", "listing thumbnail")
CLOSE_SHARE = 0.10
SMALL_PHOTO_PX, SMALL_PANEL_PX = 800, 128
_PLY_LAYOUTS = ("", "none", "unknown")


@dataclass(frozen=True, eq=False)
class Facts:
    """Of n panels: `photo` short hash of the file; `id` the collection's own; `share` of the photo inside the outline; `side`:
    square root of the outline's area, px; `long` side of the photo, px; `faces` outlined in the photo; `plywood`: the face
    is plywood's own; `rules` (n, rules) answers of the checklist; `told`: what a render's truth says, in a few words."""

    photo: NDArray[np.str_]
    id: NDArray[np.str_]
    share: NDArray[np.float32]
    side: NDArray[np.float32]
    long: NDArray[np.int32]
    faces: NDArray[np.int32]
    plywood: NDArray[np.bool_]
    rules: NDArray[np.int8]
    told: NDArray[np.str_]

    @property
    def kind(self) -> NDArray[np.intp]:
        """(n,) index into KINDS: thumbnail where the photo or the panel is small, close-up where the panel fills a good part."""
        small = (self.long <= SMALL_PHOTO_PX) | (self.side < SMALL_PANEL_PX)
        return np.where(small, 2, np.where(self.share >= CLOSE_SHARE, 0, 1)).astype(np.intp)

    def save(self, path: Path) -> None:
        """Compressed, nothing that could run code when read."""
        arrays: dict[str, Any] = {f.name: np.asarray(getattr(self, f.name)) for f in fields(self)}
        np.savez_compressed(path, **arrays)


def load_facts(table: Table, path: Path) -> Facts | None:
    """Facts of exactly these rows; None where none are stored or they belong to other rows (then make them anew)."""
    if not path.exists():
        return None
    with np.load(path, allow_pickle=False) as d:
        found = Facts(**{f.name: d[f.name] for f in fields(Facts)})
    same = len(found.photo) == len(table) and bool((found.photo == table.photo).all())
    return found if same and found.rules.shape[1] == len(checklist.RULES) else None


def _area(outline: Any) -> float:
    x, y = np.asarray(outline, dtype=np.float64).T
    return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)


def _key(row: Labelled) -> tuple[int, int, int, str]:
    """What a table still knows of a row, to find it again."""
    face, core, view = (TARGETS[t].index(v) if v in TARGETS[t] else -1
                        for t, v in (("face", row.face), ("core", row.core), ("view", row.view)))
    return face, core, view, short_hash(row.specimen)


def aligned(table: Table, rows: list[Labelled]) -> list[Labelled]:
    """The labelled panels that the table's rows were measured on, in its order.

    Raises
    ------
    ValueError
        if a row of the table is not among them.
    """
    waiting: dict[str, list[Labelled]] = defaultdict(list)
    for row in rows:
        waiting[short_hash(row.path.name)].append(row)
    out = []
    for i in range(len(table)):
        key = int(table.face[i]), int(table.core[i]), int(table.view[i]), str(table.specimen[i])
        left = waiting[str(table.photo[i])]
        at = next((k for k, row in enumerate(left) if _key(row) == key), None)
        if at is None:
            raise ValueError(f"row {i} of the table is no panel of this folder: were other panels measured?")
        out.append(left[at])
        del left[: at + 1]
    return out


def _joined(rows: Iterator[tuple[Labelled, dict[str, Any]]]) -> Facts:
    pairs = list(rows)
    told: dict[str, Any] = {k: np.array([facts[k] for _, facts in pairs]) for k in pairs[0][1]}
    return Facts(photo=np.array([short_hash(r.path.name) for r, _ in pairs]), id=np.array([r.id for r, _ in pairs]),
                 side=np.array([_area(r.outline) ** 0.5 for r, _ in pairs], dtype=np.float32),
                 share=told.pop("share").astype(np.float32), long=told.pop("long").astype(np.int32),
                 faces=told.pop("faces").astype(np.int32), rules=told.pop("rules").astype(np.int8), **told)


def real_facts(table: Table, folder: Path) -> Facts:
    """Of a table of real panels, from the photo collection it was measured on."""
    from PIL import Image

    with (folder / "panels.csv").open(newline="", encoding="utf-8") as stream:
        by_id = {r["id"]: r for r in csv.DictReader(stream)}
    counts: dict[str, int] = defaultdict(int)
    for r in by_id.values():
        counts[r["file"]] += r["view"] == "face"

    def each() -> Iterator[tuple[Labelled, dict[str, Any]]]:
        for row in aligned(table, labelled_panels(folder)):
            raw = by_id[row.id]
            with Image.open(row.path) as photo:
                width, height = photo.size
            text = f"{raw['evidence']} {raw['notes']}".lower()
            yield row, {
                "share": min(1.0, _area(row.outline) / (width * height)), "long": max(width, height),
                "faces": counts[raw["file"]],
                "plywood": raw["face"] == "veneer" and raw["core"] == "plywood" and raw["layout"] in _PLY_LAYOUTS
                and "veneer" not in text, "rules": checklist.of_photo(raw), "told": ""}

    return _joined(each())


def _told(panel: dict[str, Any]) -> str:
    """A render's panel in words: what its face is a face or a picture of."""
    words = [str(panel.get(k) or "") for k in ("role", "species", "layout", "edging")]
    return "|".join(w.replace("_", " ") for w in words)


def rendered_facts(table: Table, folder: Path) -> Facts:
    """Of a table of rendered panels, from the renders and their truth."""
    from training.rendered import rendered_panels

    truths: dict[Path, dict[str, Any]] = {}

    def each() -> Iterator[tuple[Labelled, dict[str, Any]]]:
        for row in aligned(table, rendered_panels(folder)):
            at = row.path.with_suffix(".json")
            truth = truths.setdefault(at, json.loads(at.read_text(encoding="utf-8")) if at not in truths else {})
            number = int(row.id.rsplit(".", 1)[1])
            panel = next((p for p in truth["panels"] if int(p["id"]) == number), None)
            faces = sum(p["view"] == "face" for p in truth["panels"])
            common = {"share": min(1.0, _area(row.outline) / (truth["width"] * truth["height"])),
                      "long": max(truth["width"], truth["height"]), "faces": faces}
            if panel is None:  # a patch of the room
                patch = next(b for b in truth["background"] if int(b["id"]) == number)
                yield row, {**common, "plywood": False, "rules": np.full(len(checklist.RULES), checklist.HIDDEN, np.int8),
                            "told": f"|{str(patch['material']).replace('_', ' ')}||"}
            else:
                yield row, {**common, "plywood": panel["face"] == "veneer" and panel.get("layout") == "rotary",
                            "rules": checklist.of_render(panel, truth["panels"]), "told": _told(panel)}

    return _joined(each())


def describe(table: Table, facts: Facts) -> str:
    """A line on what was found."""
    faces = (table.view == 0) & (table.face >= 0)
    kinds = ", ".join(f"{name} {int((faces & (facts.kind == k)).sum())}" for k, name in enumerate(KINDS))
    rules = ", ".join(f"{name} {int((faces & (facts.rules[:, k] != checklist.HIDDEN)).sum())}"
                      for k, name in enumerate(checklist.NAMES))
    veneer = faces & (table.face == FACES.index("veneer"))
    return (f"{int(faces.sum())} faces: {kinds}; plywood's own {int((veneer & facts.plywood).sum())} of {int(veneer.sum())} "
            f"veneers; checklist answers {rules}")


def make(photos: Path | None, renders: Path | None) -> Iterator[str]:
    """Write the facts of the stored tables; tells what it found."""
    for table_at, facts_at, folder, made in ((REAL, FACTS_REAL, photos, real_facts),
                                             (RENDERED, FACTS_RENDERED, renders, rendered_facts)):
        if folder is None or not table_at.exists():
            continue
        table = Table.load(table_at)
        facts = made(table, folder)
        facts.save(facts_at)
        yield f"{facts_at.name}: {describe(table, facts)}"


def main() -> None:
    """Command line."""
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--photos", type=Path, help="folder with img/ and panels.csv")
    ap.add_argument("--renders", type=Path, help="folder of rendered photos with their truth")
    args = ap.parse_args()
    if args.photos is None and args.renders is None:
        ap.error("give --photos DIR, --renders DIR or both")
    for line in make(args.photos, args.renders):
        print(line)


if __name__ == "__main__":
    main()

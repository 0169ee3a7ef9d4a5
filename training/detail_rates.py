"""How often joints, fittings and damage are told where none can be: rendered furniture is sound and carries no joints in view.

    python -m training.detail_rates --renders DIR [--photos DIR] [--every 12]

On rendered photos every damaged place and every joint told is a false one; knobs and pulls are really there, so fittings are
only counted. On real photos nobody labelled them: counts by what is labelled worn or not, no claim. Intervals (95 %) by
Wilson for panels with any.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

from training.composites.statistics import wilson
from training.real_photos import labelled_panels
from vision.details.read import read_details
from vision.errors import GrainassayError
from vision.intake import load_photo
from vision.measure import PanelMeasure
from vision.panels import find_panels, panels_from_outlines, rectify
from vision.types import Panel, Photo

#: Panels smaller than this share of the photo are left out: nothing is looked for on them worth counting.
LEAST_SHARE = 0.01


def measured(photo: Photo, panel: Panel) -> PanelMeasure:
    """As much of a measurement as the details need."""
    from vision.grain import grain_field

    view = rectify(photo, panel)
    return PanelMeasure(view, grain_field(view.pixels, mask=view.mask), {}, {})


def rendered(folder: Path, every: int, *, found: bool) -> Iterator[tuple[Photo, Panel]]:
    """Faces of every so many rendered photos, by true outline or as found."""
    import json

    for path in sorted(folder.glob("*.json"))[::every]:
        photo = load_photo(path.with_suffix(".jpg"), "photo")
        if found:
            panels: Iterable[Panel] = find_panels(photo)
        else:
            rows = [p for p in json.loads(path.read_text())["panels"] if p["view"] == "face" and p["face"] != "not_wood"]
            panels = []
            for row in rows:
                try:
                    panels += panels_from_outlines(photo, [(str(row["id"]), [tuple(q) for q in row["outline"]])])
                except GrainassayError:  # an outline that crosses itself is of no use here
                    continue
        for panel in panels:
            yield photo, panel


def real(folder: Path, every: int) -> Iterator[tuple[Photo, Panel]]:
    """Every so many outlined faces of real furniture."""
    rows = [r for r in labelled_panels(folder) if r.view == "face" and r.face != "not_wood" and not r.line_scan]
    for row in rows[::every]:
        photo = load_photo(row.path, "photo")
        yield photo, panels_from_outlines(photo, [(row.id, row.outline)])[0]


def rates(title: str, panels: Iterable[tuple[Photo, Panel]]) -> Iterator[str]:
    """Lines: panels with anything told, by group, and what was told."""
    told: dict[str, Counter[str]] = {"damage": Counter(), "joint": Counter(), "fitting": Counter(), "edge": Counter()}
    with_any: Counter[str] = Counter()
    n = 0
    for photo, panel in panels:
        what = measured(photo, panel)
        if what.view.mask.sum() * what.view.px_scale**2 < LEAST_SHARE * photo.width * photo.height:
            continue
        n += 1
        found = read_details(what, "face")
        for group in told:
            kinds = [d.kind for d in found if d.group == group]
            told[group].update(kinds)
            with_any[group] += bool(kinds)
    yield f"{title}: {n} panels"
    for group, counts in told.items():
        low, high = wilson(with_any[group], n)
        which = ", ".join(f"{k} {c}" for k, c in counts.most_common())
        yield f"  {group:8} told on {with_any[group]:3} = {with_any[group] / max(n, 1):.3f} [{low:.3f}, {high:.3f}]  {which}"


def main() -> None:
    """Print the rates."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--renders", type=Path, required=True)
    parser.add_argument("--photos", type=Path)
    parser.add_argument("--every", type=int, default=12)
    chosen = parser.parse_args()
    sets = [("rendered faces, true outlines", rendered(chosen.renders, chosen.every, found=False)),
            ("rendered, panels as found", rendered(chosen.renders, chosen.every, found=True))]
    if chosen.photos is not None:
        sets.append(("real faces, outlined", real(chosen.photos, max(1, chosen.every // 4))))
    for title, panels in sets:
        for line in rates(title, panels):
            print(line, flush=True)


if __name__ == "__main__":
    main()

"""What is found to recur on real specimens: every specimen's outlined faces, all its photos together.

    python -m training.repeat_specimens --photos DIR [--face printed]

A line for each specimen on which something recurs, and the counts by labelled face. Few specimens are printed, fewer show
two parts from one print: the counts say what was found, not how often it would be.
"""

from __future__ import annotations

import argparse
from collections import Counter, defaultdict
from collections.abc import Sequence
from pathlib import Path

from training.real_photos import Labelled, labelled_panels
from vision.errors import GrainassayError
from vision.findings.repeats import explanations
from vision.intake import load_photo
from vision.panels import panels_from_outlines, rectify
from vision.repeats.find import find_repeats
from vision.repeats.repeat import Repeat
from vision.repeats.sheet import Sheet, sheet_of

#: Sheets compared of one specimen at most; some groups hold dozens of photos of one board.
MOST = 24


def sheets_of(rows: Sequence[Labelled]) -> list[Sheet]:
    """Sheets of a specimen's faces, photo by photo."""
    by_photo: dict[Path, list[Labelled]] = defaultdict(list)
    for row in rows:
        if row.view in (None, "face") and not row.line_scan:
            by_photo[row.path].append(row)
    out: list[Sheet] = []
    for path, found in sorted(by_photo.items()):
        try:
            photo = load_photo(path, path.stem)
        except GrainassayError:
            continue
        for row in found:
            try:
                view = rectify(photo, panels_from_outlines(photo, [(row.id, row.outline)])[0])
            except GrainassayError:
                continue
            out.append(sheet_of(view, (photo.width, photo.height)))
    return out[:MOST]


def told(repeats: Sequence[Repeat]) -> list[Repeat]:
    """Repeats that count: not one surface seen twice, likelier than coincidence."""
    return [r for r in repeats if not r.same_surface and r.log_odds > 0]


def line(sheets: Sequence[Sheet], repeat: Repeat) -> str:
    """One repeat in a line."""
    name, share = explanations(repeat)[0]
    a, b = sheets[repeat.a], sheets[repeat.b]
    where = "on one panel" if repeat.within else "on one photo" if a.photo == b.photo else "on two photos"
    return (f"{a.panel} and {b.panel}, {where}, {repeat.motion}: {name} ({share:.2f} of the explanations), "
            f"log odds {repeat.log_odds:.1f}, {repeat.votes} features")


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--face", help="only specimens labelled so")
    args = parser.parse_args()
    groups: dict[tuple[str, str], list[Labelled]] = defaultdict(list)
    for row in labelled_panels(args.photos):
        if row.face is not None and args.face in (None, row.face):
            groups[row.face, row.specimen].append(row)
    specimens, found, seen_twice = Counter[str](), Counter[str](), Counter[str]()
    for (face, _), rows in sorted(groups.items()):
        sheets = sheets_of(rows)
        if not sheets:
            continue
        specimens[face] += 1
        repeats = find_repeats(sheets)
        seen_twice[face] += any(r.same_surface for r in repeats)
        for repeat in told(repeats)[:1]:
            found[face] += 1
            print(f"{face}: {line(sheets, repeat)}")
    for face, count in specimens.items():
        print(f"{face}: {count} specimens, figure recurs on {found[face]}, one surface seen twice on {seen_twice[face]}")


if __name__ == "__main__":
    main()

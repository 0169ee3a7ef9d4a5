"""Three parts that share no photographer, no made-up tree and no seed: to teach, to fit by, to report on.

python -m training.damage.parts --photos DIR --out FOLDER

writes the real pictures of each part into FOLDER/teach, FOLDER/fit and FOLDER/report; such a folder may then stand for the
photo collection wherever drawn panels are made.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
from pathlib import Path

from training.composites.figures import Figure, load, part_of
from training.damage.bases import Bank
from training.damage.real_bases import INDEX, RealPanel, carried, carry, real_panels

#: Part -> (salt of made-up wood, first seed of its panels).
PARTS = {"teach": (1, 0), "fit": (2, 500_000_000), "report": (3, 700_000_000)}


def fits(group: str) -> bool:
    """Whether a group of the tuning figures is kept from teaching to choose thresholds and probabilities by (about a third)."""
    return hashlib.sha256(f"damage {group}".encode()).digest()[0] < 85


def part_of_group(group: str) -> str:
    """The part of a photographer."""
    return "report" if part_of(group) == "report" else "fit" if fits(group) else "teach"


def pictures_of(part: str, photos: Path, textures: Path | None) -> tuple[list[Figure], list[RealPanel]]:
    """Real figures and real sound panels of a part, from the photo collection or from a folder that `carry` wrote."""
    if (photos / part / INDEX).exists():
        return carried(photos / part)
    there = textures if textures is not None and (textures / "package_textures.csv").exists() else None
    figures = load(photos, there, "report" if part == "report" else "tune")
    with (photos / "panels.csv").open(newline="", encoding="utf-8") as stream:
        groups = {row["source"] for row in csv.DictReader(stream)}
    wanted = {g for g in groups if part_of_group(g) == part}
    return [f for f in figures if part_of_group(f.group) == part], real_panels(photos, wanted)


def bank_of(part: str, photos: Path, textures: Path | None) -> Bank:
    """The bank of a part, with its real pictures; to teach by, also rendered panels where the folder holds them
    (training/damage/rendered_bases.py)."""
    figures, panels = pictures_of(part, photos, textures)
    more = photos / "rendered"
    rendered = carried(more)[1] if part == "teach" and (more / INDEX).exists() else []
    return Bank(figures, PARTS[part][0], panels, rendered)


def seed_of(part: str, number: int) -> int:
    """Seed of the panel with a number; numbers in one part never meet those of another."""
    return PARTS[part][1] + number


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--textures", type=Path, default=None)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    for part in PARTS:
        figures, panels = pictures_of(part, args.photos, args.textures)
        carry(args.out / part, figures, panels)
        groups = {f.group for f in figures} | {p.group for p in panels}
        print(f"{part}: {len(figures)} figures, {len(panels)} panels, {len(groups)} photographers")


if __name__ == "__main__":
    main()

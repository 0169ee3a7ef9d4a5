"""False alarms of the search for repeats on pictures that hold none.

    python -m training.repeat_traps --photos DIR [--textures DIR] [--part report] [--json FILE]

Every trial is a pair of sheets (or one sheet) in which no figure is printed, pressed or cut twice; a false alarm is a repeat
that is found and not recognised as one surface. Within a trap no specimen is used twice, so its trials share no wood;
authors are split into 'tune' and 'report' as for the composites. Intervals are exact (Clopper and Pearson 1934), 95 %.
The last rows are no traps: fronts cut at different places of one print, found in the same run.
"""

from __future__ import annotations

import argparse
import csv
import json
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training import trap_scenes as scenes
from training.binomial import exact_interval
from training.composites.figures import inner_box, part_of
from vision.errors import UsageError
from vision.grain import grain_field
from vision.grain.knots import find_knots
from vision.intake import load_photo
from vision.panels import panels_from_outlines, rectify
from vision.repeats.sheet import Sheet, sheet_of
from vision.types import Panel, Photo

FACES = ("solid_wood", "veneer", "printed", "bare_board")
LEAVES = ("book", "slip", "herringbone", "parquet")
#: Specimens whose row names no layout, but whose faces are laid of mirrored leaves as anyone can see (looked at after the
#: search had found the mirror image in one of them: it was right).
LAID_OF_LEAVES = {"B_jswatson0_s073"}
#: Package textures left out: recoloured and stretched copies of another (0.93 correlation of the finest detail), so that the
#: search is right to find them.
SAME_PICTURE = {"texture bs_toy"}  # of bs_wood11
#: Structure tensor coherence of a whole panel above which its grain is called straight; score of a knot that counts.
STRAIGHT, KNOT = 0.75, 0.5
#: Least short side of a panel, pixels of the photo, and of a surface that scenes are made of.
LEAST_SIDE, LEAST_SURFACE = 90, 120


@dataclass(frozen=True, eq=False)
class Specimen:
    """One physical panel. `sheet`: as on its photo; `surface`: its figure without border; `kind`: 'straight', 'knotty' or
    'plain'. `leaves`: printed, or laid of leaves, so that figure can come back within it."""

    author: str
    name: str
    face: str
    sheet: Sheet
    surface: NDArray[np.uint8]
    kind: str
    leaves: bool


@dataclass(frozen=True, eq=False)
class Trial:
    """One picture or pair. `specimens`: (author, name) of all wood in it."""

    trap: str
    sheets: tuple[Sheet, ...]
    specimens: tuple[tuple[str, str], ...]
    note: str = ""


@dataclass(frozen=True)
class Row:
    """Outcome of one trap. `low`, `high`: exact 95 % interval of the rate."""

    trap: str
    trials: int
    alarms: int
    specimens: int
    authors: int
    authors_with_alarm: int
    low: float
    high: float


def alarms(sheets: Sequence[Sheet]) -> int:
    """Repeats found that are not one surface seen twice: on a single sheet within it, else between the sheets.

    A pair does not count what is found within one of its sheets, since a specimen may be printed or laid of leaves.
    """
    return sum(len(sheets) == 1 or not r.within for r in scenes.alarms(sheets))


# -- specimens --------------------------------------------------------------------------------------------------------
def _opened(folder: Path, rows: list[dict[str, str]]) -> Iterator[tuple[dict[str, str], Photo, Panel]]:
    photo: Photo | None = None
    for r in sorted(rows, key=lambda r: (r["file"], r["id"])):
        if photo is None or photo.file != r["file"]:
            loaded = load_photo(folder / "img" / r["file"], r["file"])
            photo = Photo(r["file"], r["file"], loaded.sha256, loaded.pixels)
        x_y = (p.split(":") for p in r["polygon"].split())
        try:
            panel = panels_from_outlines(photo, [(r["id"], [(float(x), float(y)) for x, y in x_y])])[0]
        except UsageError:
            continue
        box = np.ptp(np.array(panel.outline), axis=0)
        if box.min() >= LEAST_SIDE:
            yield r, photo, panel


def face_rows(folder: Path, part: str) -> list[dict[str, str]]:
    """Outlined wood-like faces by the authors of one part."""
    with (folder / "panels.csv").open(newline="", encoding="utf-8") as stream:
        return [r for r in csv.DictReader(stream) if r["view"] == "face" and r["face"] in FACES
                and part_of(r["source"]) == part and "atlas" not in r["notes"] + r["file"]]


def load_specimens(folder: Path, part: str) -> list[Specimen]:
    """One panel (the largest) of each specimen."""
    largest: dict[str, tuple[float, dict[str, str]]] = {}
    for r in face_rows(folder, part):
        p = np.array([[float(v) for v in q.split(":")] for q in r["polygon"].split()])
        size = float(np.prod(np.ptp(p, axis=0)))
        if size > largest.get(r["group"], (0.0, r))[0]:
            largest[r["group"]] = (size, r)
    out = []
    for r, photo, panel in _opened(folder, [r for _, r in largest.values()]):
        view = rectify(photo, panel)
        x0, y0, x1, y1 = inner_box(view.mask)
        surface = np.ascontiguousarray(view.pixels[y0:y1, x0:x1])
        field = grain_field(view.pixels, mask=view.mask)
        knots = [k for k in find_knots(view, field) if k.score >= KNOT]
        angle = np.radians(2 * field.angle[field.valid])
        weight = field.coherence[field.valid]
        order = float(np.abs((weight * np.exp(1j * angle)).sum()) / max(weight.sum(), 1e-6)) if len(angle) else 0.0
        knotty = bool(knots) or "knot" in (r["evidence"] + r["notes"]).lower()
        kind = "knotty" if knotty else "straight" if order > STRAIGHT else "plain"
        said = (r["evidence"] + r["notes"]).lower()
        leaves = r["face"] == "printed" or r["layout"] in LEAVES or "repeated leaves" in said or "tileable" in said
        leaves = leaves or r["group"] in LAID_OF_LEAVES
        seen = sheet_of(view, (photo.width, photo.height))
        out.append(Specimen(r["source"], r["group"], r["face"], seen, surface, kind, leaves))
    return sorted(out, key=lambda s: (s.author, s.name))


def disjoint_pairs(specimens: Sequence[Specimen], rng: np.random.Generator) -> list[tuple[Specimen, Specimen]]:
    """Pairs of specimens by different authors, none used twice."""
    left = [specimens[k] for k in rng.permutation(len(specimens))]
    out = []
    while len(left) > 1:
        # authors with most left go first, so that few specimens stay without a partner
        count: dict[str, int] = defaultdict(int)
        for s in left:
            count[s.author] += 1
        first = max(left, key=lambda s: count[s.author])
        other = next((s for s in left if s.author != first.author), None)
        if other is None:
            break
        left.remove(first)
        left.remove(other)
        out.append((first, other))
    return out


# -- trials -----------------------------------------------------------------------------------------------------------
def trials(folder: Path, textures: Path | None, part: str, seed: int = 0) -> Iterator[Trial]:
    """All trials of one part, trap by trap."""
    rng = np.random.default_rng(seed)
    specimens = load_specimens(folder, part)
    surfaces = [s for s in specimens if min(s.surface.shape[:2]) >= LEAST_SURFACE]
    turn = _turns(rng)
    for kind in ("straight", "knotty", "plain"):
        for a, b in disjoint_pairs([s for s in specimens if s.kind == kind], rng):
            yield Trial(f"different boards, {kind}", (a.sheet, b.sheet), _who(a, b))
    for s in specimens:
        if s.face == "solid_wood" and not s.leaves:
            yield Trial(f"one board, {s.kind}", (s.sheet,), _who(s))
    for a, b in disjoint_pairs(surfaces, rng):
        damage, one = next(turn), bool(rng.random() < 0.5)
        yield Trial("identical hardware", tuple(scenes.two_fronts(a.surface, b.surface, rng, damage, one_photo=one)), _who(a, b),
                    damage)
    for a, b in disjoint_pairs(surfaces, rng):
        damage = next(turn)
        yield Trial("reflection in a top", tuple(scenes.reflected(a.surface, b.surface, rng, damage)), _who(a, b), damage)
    # draws of their own: the trials that follow stay what they were before this trap came in
    beside = np.random.default_rng([seed, 5])
    doors = _turns(beside)
    for a, b in disjoint_pairs(surfaces, beside):
        damage = next(doors)
        pair = tuple(scenes.mirrored_beside(a.surface, b.surface, beside, damage))
        yield Trial("reflection in a door beside", pair, _who(a, b), damage)
    plain = [s for s in surfaces if not s.leaves]
    for s in plain:
        damage = next(turn)
        yield Trial("one front photographed twice", tuple(scenes.front_twice(s.surface, rng, damage)), _who(s), damage)
    for s in plain:
        damage = next(turn)
        yield Trial("a panel and a part of it", tuple(scenes.nested(s.surface, rng, damage)), _who(s), damage)
    yield from _same_piece(folder, part)
    yield from _textures(textures, part, rng)


def counterparts(folder: Path, part: str, seed: int = 0) -> Iterator[Trial]:
    """Pairs that do hold a repeat: solid and veneer figure printed on two fronts with the same fittings."""
    rng = np.random.default_rng(seed + 1)
    turn = _turns(rng)
    for s in load_specimens(folder, part):
        if min(s.surface.shape[:2]) >= 1.5 * LEAST_SURFACE:
            one, damage = bool(rng.random() < 0.5), next(turn)
            yield Trial(f"print on two fronts, {'one photo' if one else 'two photos'}",
                        tuple(scenes.printed_fronts(s.surface, rng, damage, one_photo=one)), _who(s), damage)


def _turns(rng: np.random.Generator) -> Iterator[str]:
    while True:
        yield from (str(d) for d in rng.permutation(scenes.DAMAGES))


def _who(*specimens: Specimen) -> tuple[tuple[str, str], ...]:
    return tuple((s.author, s.name) for s in specimens)


def _same_piece(folder: Path, part: str) -> Iterator[Trial]:
    """Real pairs: one specimen of real wood on two photos, each photo used once."""
    held: dict[str, list[tuple[dict[str, str], Sheet]]] = defaultdict(list)
    for r, photo, panel in _opened(folder, [r for r in face_rows(folder, part) if r["face"] != "printed"]):
        view = sheet_of(rectify(photo, panel), (photo.width, photo.height))
        if all(view.photo != other.photo for _, other in held[r["group"]]):
            held[r["group"]].append((r, view))
    for group, views in held.items():
        for (r, a), (_, b) in zip(views[::2], views[1::2], strict=False):
            yield Trial("one specimen on two photos", (a, b), ((r["source"], group),))


def _textures(folder: Path | None, part: str, rng: np.random.Generator) -> Iterator[Trial]:
    """Pictures of scikit-image (report only) and of the packages in `folder`, paired across groups."""
    found: list[tuple[str, NDArray[np.uint8]]] = []
    if part == "report":
        from skimage import data

        for name in ("brick", "grass", "gravel", "coffee", "rocket", "chelsea", "immunohistochemistry", "coins", "page", "moon"):
            picture = np.asarray(getattr(data, name)())
            found.append((f"scikit-image {name}", np.dstack([picture] * 3) if picture.ndim == 2 else picture[..., :3]))
    if folder is not None:
        from training.composites.figures import _package_textures

        seen: dict[str, NDArray[np.uint8]] = {}
        for f in _package_textures(folder, part):
            seen.setdefault(f.group, f.pixels)
        found += sorted((k, v) for k, v in seen.items() if k not in SAME_PICTURE)
    order = rng.permutation(len(found))
    for i, j in zip(order[::2], order[1::2], strict=False):
        (one, a), (two, b) = found[i], found[j]
        yield Trial("package and library textures", (scenes.sheet(a, "photo 1", one), scenes.sheet(b, "photo 2", two)),
                    ((one, one), (two, two)))


# -- outcome ----------------------------------------------------------------------------------------------------------
def outcome(trap: str, done: Sequence[tuple[Trial, int]]) -> Row:
    """One row of trials with the alarms of each."""
    hit = [t for t, n in done if n]
    low, high = exact_interval(len(hit), len(done)) if done else (0.0, 1.0)
    wood = {w for t, _ in done for w in t.specimens}
    return Row(trap, len(done), len(hit), len(wood), len({a for a, _ in wood}), len({a for t in hit for a, _ in t.specimens}),
               low, high)


def table(rows: Sequence[Row]) -> str:
    """Rows as a Markdown table."""
    lines = ["| trap | trials | alarms | rate | exact 95 % interval | specimens | authors | authors with an alarm |",
             "|---" * 8 + "|"]
    for r in rows:
        share = r.alarms / r.trials if r.trials else 0.0
        lines.append(f"| {r.trap} | {r.trials} | {r.alarms} | {share:.4f} | {r.low:.4f} to {r.high:.4f} | {r.specimens} "
                     f"| {r.authors} | {r.authors_with_alarm} |")
    return "\n".join(lines)


def measure(source: Iterator[Trial], judge: Callable[[Sequence[Sheet]], int] = alarms,
            tell: Callable[[str], None] | None = None) -> list[Row]:
    """Run all trials; a row per trap in the order met, and one for all together."""
    by_trap: dict[str, list[tuple[Trial, int]]] = {}
    for t in source:
        n = judge(t.sheets)
        by_trap.setdefault(t.trap, []).append((t, n))
        if n and tell is not None:
            tell(f"{t.trap}: {t.specimens} {t.note}")
    rows = [outcome(trap, done) for trap, done in by_trap.items()]
    return [*rows, outcome("all", [d for done in by_trap.values() for d in done])]


def main() -> None:
    """Measure and print."""
    ap = argparse.ArgumentParser(prog="python -m training.repeat_traps", description=__doc__,
                                 formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--photos", type=Path, required=True, help="folder with img/ and panels.csv")
    ap.add_argument("--textures", type=Path, help="folder of unpacked packages with package_textures.csv")
    ap.add_argument("--part", choices=("tune", "report"), default="report")
    ap.add_argument("--json", type=Path, help="file for the figures")
    ap.add_argument("--verbose", action="store_true", help="name every alarm")
    args = ap.parse_args()
    rows = measure(trials(args.photos, args.textures, args.part), tell=print if args.verbose else None)
    found = measure(counterparts(args.photos, args.part))[:-1]
    print(f"Part: {args.part}. An alarm is a repeat found where there is none.\n\n{table(rows)}\n")
    print(f"The same search where there is a repeat (an 'alarm' is right here):\n\n{table(found)}")
    if args.json:
        out = {"part": args.part, "traps": [asdict(r) for r in rows], "repeats": [asdict(r) for r in found]}
        args.json.write_text(json.dumps(out, indent=1) + "\n")


if __name__ == "__main__":
    main()

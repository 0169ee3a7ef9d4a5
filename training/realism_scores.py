"""How well renders of one generator version can be told from real photos, by the backbone's look at panels and by plain numbers.

    python -m training.realism_scores --photos DIR --renders DIR [--every N] [--every-render N] [--record]

Panels of the same face class are compared, each specimen counting once; folds keep authors (real) and pieces (rendered) whole.
0.5 = cannot tell, 1 = always tells. --record keeps the figures in training/tables/realism_versions.json, by generator version.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training.calibration import specimen_weight
from training.experts import balanced, fit_expert, log_softmax
from training.figures import auc
from training.real_photos import Labelled, labelled_panels, open_panel
from training.realism import within_classes
from training.realism_photos import STATISTICS, photo_numbers
from training.rendered import rendered_panels
from training.stacking import author_folds
from vision.inference.joint import FACES

VERSIONS = Path(__file__).parent / "tables" / "realism_versions.json"
#: Version that renders without one in their truth are taken to be of.
UNNUMBERED = 5
#: Panels of one photo that are looked at, and principal directions that the rule on the look reads.
PANELS, DIRECTIONS = 3, 48
FOLDS, ROUNDS = 4, 200
Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Looked:
    """Panels and photos of one kind. `looks` (n, 1280) of panels; `face`, `author`, `specimen` of each; `photos` (m, STATISTICS)
    and `photo_author` of each photo."""

    looks: NDArray[np.float32]
    face: NDArray[np.int8]
    author: NDArray[np.str_]
    specimen: NDArray[np.str_]
    photos: Floats
    photo_author: NDArray[np.str_]


def chosen(rows: Sequence[Labelled], every: int) -> list[Labelled]:
    """Every so-many-th photo, at most PANELS panels of each, furniture only."""
    photos = sorted({r.path for r in rows if not r.line_scan})[::every]
    kept: dict[Path, list[Labelled]] = {p: [] for p in photos}
    for r in rows:
        if r.path in kept and r.face in FACES and r.face != "not_wood" and r.view == "face" and len(kept[r.path]) < PANELS:
            kept[r.path].append(r)
    return [r for rows in kept.values() for r in rows]


def look(rows: Sequence[Labelled]) -> Looked:
    """Panel crops through the backbone, whole photos through `photo_numbers`; rows of one photo stand together."""
    from vision.backbone import embed_batch
    from vision.errors import UsageError
    from vision.intake import load_photo
    from vision.looks import panel_crop
    from vision.panels import rectify

    looks, used, photos, photo_author = [], [], [], []
    last, photo = None, None
    for row in rows:
        if row.path != last:
            last, photo = row.path, load_photo(row.path, "photo")
            photos.append(photo_numbers(photo.pixels))
            photo_author.append(row.author)
        assert photo is not None
        try:
            looks.append(embed_batch(panel_crop(rectify(*open_panel(row, photo)))[None])[0])
        except UsageError:
            continue
        used.append(row)
    face = np.array([FACES.index(r.face or "") for r in used], np.int8)
    author, specimen = np.array([r.author for r in used]), np.array([r.specimen for r in used])
    return Looked(np.array(looks), face, author, specimen, np.array(photos), np.array(photo_author))


def told(x: Floats, made: NDArray[np.bool_], face: NDArray[np.int8], author: NDArray[np.str_], weight: Floats) -> Floats:
    """Log odds of render against photo for each row, from rules that have not seen its author or piece."""
    score = np.full(len(x), np.nan)
    label = made.astype(np.int8)
    for test in author_folds(author, label, FOLDS, 0):
        kept = np.where(test, 0.0, weight)
        mean, spread = x[~test].mean(axis=0), x[~test].std(axis=0) + 1e-3
        z = (x - mean) / spread
        turn = np.linalg.svd(z[~test], full_matrices=False)[2][:DIRECTIONS].T
        z = (z @ turn) / (z[~test] @ turn).std(axis=0)
        rule = fit_expert(z.astype(np.float32), label, balanced(label, kept, 2), 2, penalty=0.05, prepare=False)
        lp = log_softmax(rule.log_probs(z[test].astype(np.float32)))
        score[test] = lp[:, 1] - lp[:, 0]
    return score


def interval(
    score: Floats, made: NDArray[np.bool_], face: NDArray[np.int8], weight: Floats, author: NDArray[np.str_]
) -> tuple[float, float]:
    """95 % interval over authors and pieces drawn anew."""
    rng = np.random.default_rng(0)
    names, at = np.unique(author, return_inverse=True)
    real = np.array([not made[at == k].any() for k in range(len(names))])
    found = []
    for _ in range(ROUNDS):
        times = np.zeros(len(names))
        for group in (np.flatnonzero(real), np.flatnonzero(~real)):
            np.add.at(times, rng.choice(group, len(group)), 1)
        found.append(within_classes(score, made, face, weight * times[at]))
    return float(np.nanquantile(found, 0.025)), float(np.nanquantile(found, 0.975))


def scores(real: Looked, rendered: Looked) -> dict[str, object]:
    """All figures of a comparison, ready for JSON."""
    made = np.arange(len(real.looks) + len(rendered.looks)) >= len(real.looks)
    face = np.concatenate([real.face, rendered.face])
    author = np.concatenate([np.char.add("r", real.author), np.char.add("m", rendered.author)])
    weight = np.concatenate([balanced(s.face, specimen_weight(np.ones(len(s.face)), s.specimen, s.face >= 0), len(FACES))
                             for s in (real, rendered)])
    x = np.concatenate([real.looks, rendered.looks]).astype(np.float64)
    score = told(x, made, face, author, weight)
    photos = np.concatenate([real.photos, rendered.photos])
    of_made = np.arange(len(photos)) >= len(real.photos)
    group = np.concatenate([np.char.add("r", real.photo_author), np.char.add("m", rendered.photo_author)])
    share = specimen_weight(np.ones(len(photos)), group, np.ones(len(photos), bool))
    rows = {}
    for k, name in enumerate(STATISTICS):
        v = photos[:, k]
        ok = np.isfinite(v)
        a = auc(v[ok], of_made[ok], share[ok])
        rows[name] = {"auc": round(max(a, 1 - a), 3),
                      **{kind: [round(float(q), 3) for q in np.nanquantile(v[at], (0.25, 0.5, 0.75))]
                         for kind, at in (("photos", ~of_made), ("renders", of_made))}}
    filled = np.where(np.isfinite(photos), photos, np.nanmedian(photos, axis=0))
    whole = told(filled, of_made, np.zeros(len(photos), np.int8), group, share)
    return {
        "panels": [int((~made).sum()), int(made.sum())], "photos": [len(real.photos), len(rendered.photos)],
        "authors": len(np.unique(real.author)), "pieces": len(np.unique(rendered.author)),
        "look": round(within_classes(score, made, face, weight), 3),
        "look_interval": [round(v, 3) for v in interval(score, made, face, weight, author)],
        "numbers": round(auc(whole, of_made, share), 3), "statistics": rows,
    }


def version_of(folder: Path) -> int:
    """Generator version of a folder of renders."""
    first = next(iter(sorted(folder.glob("*.json"))))
    return int(json.loads(first.read_text(encoding="utf-8")).get("generator", UNNUMBERED))


def _telling_first(found: dict) -> list[tuple[str, dict]]:
    return sorted(found["statistics"].items(), key=lambda item: -item[1]["auc"])


def text_of(version: int, found: dict) -> str:
    """Markdown of one comparison."""
    low, high = found["look_interval"]
    lines = [
        f"Generator version {version}: {found['panels'][1]} face panels of {found['pieces']} pieces against {found['panels'][0]} "
        f"of {found['authors']} authors. By the backbone's look at the panel: {found['look']:.3f} ({low:.2f} to {high:.2f}); "
        f"by the photo's plain numbers together: {found['numbers']:.3f}.",
        "", "| number of a photo | area | photos (quartiles) | renders (quartiles) |", "|---|---|---|---|",
    ]
    for name, row in _telling_first(found):
        spans = (" / ".join(f"{v:.3g}" for v in row[kind]) for kind in ("photos", "renders"))
        lines.append(f"| {name}: {STATISTICS[name]} | {row['auc']:.2f} | " + " | ".join(spans) + " |")
    return "\n".join(lines)


def record(version: int, found: dict, path: Path = VERSIONS) -> None:
    """Keep the figures of a version, in place of older ones of the same."""
    kept = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    kept[str(version)] = found
    path.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")


def versions_text(path: Path = VERSIONS) -> str:
    """Markdown table of the recorded versions; empty without any."""
    if not path.exists():
        return ""
    kept = json.loads(path.read_text(encoding="utf-8"))
    lines = ["| generator version | by the backbone's look | by plain numbers | most telling numbers | panels, pieces |",
             "|---|---|---|---|---|"]
    for version in sorted(kept, key=int):
        found = kept[version]
        worst = _telling_first(found)[:4]
        lines.append(f"| {version} | {found['look']:.3f} ({found['look_interval'][0]:.2f} to {found['look_interval'][1]:.2f}) | "
                     f"{found['numbers']:.3f} | " + ", ".join(f"{n} {v['auc']:.2f}" for n, v in worst)
                     + f" | {found['panels'][1]}, {found['pieces']} |")
    return "\n".join(lines)


def main(argv: list[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(prog="training.realism_scores", description=__doc__)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--renders", type=Path, required=True)
    parser.add_argument("--every", type=int, default=1, help="look at every so-many-th photo of both")
    parser.add_argument("--every-render", type=int, default=None, help="of the renders, where it differs")
    parser.add_argument("--record", action="store_true", help="keep the figures by version")
    parser.add_argument("--cache", type=Path, default=None, help="keep what was seen of the real photos in this .npz")
    args = parser.parse_args(argv)
    real = _kept(args.cache, args.photos, args.every)
    found = scores(real, look(chosen(rendered_panels(args.renders), args.every_render or args.every)))
    version = version_of(args.renders)
    print(text_of(version, found))
    if args.record:
        record(version, found)
    return 0


def _kept(cache: Path | None, photos: Path, every: int) -> Looked:
    names = ("looks", "face", "author", "specimen", "photos", "photo_author")
    if cache is not None and cache.exists():
        with np.load(cache) as kept:
            return Looked(*(kept[n] for n in names))
    real = look(chosen(labelled_panels(photos), every))
    if cache is not None:
        np.savez_compressed(cache, looks=real.looks, face=real.face, author=real.author, specimen=real.specimen,
                            photos=real.photos, photo_author=real.photo_author)
    return real


if __name__ == "__main__":
    raise SystemExit(main())

"""Caches of measured panels for new code without measuring everything anew: one new group of numbers is measured, all others are
taken over from the cache of the old code.

Only right when the old numbers would come out the same under the new code, that is when nothing but the new group was added.
`--check N` measures N photos of each kind in full beside it and tells whether any number differs.

    python -m training.cue_merge --photos ../shared/photos --renders build/renders --cache OLD --old-code HASH --out NEW

Prints one line a kind. The files written to NEW (the old cache itself without `--out`) are those that `training.teach` would
write (`measuring.code_hash`), so that teaching goes on from there as from an interrupted run. Where the old files hold the new
group already, and only code changed that no number comes from, they are taken over whole.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from collections import defaultdict
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training import measuring, tables
from training.config_file import load_config
from training.real_photos import Labelled, labelled_panels
from vision import cues_seen, grain, measure
from vision.errors import GrainassayError
from vision.intake import load_photo
from vision.panels import rectify


@dataclass(frozen=True)
class Job:
    """One photo with its panels. `old`: names of the numbers in the old cache, in order; `old_code`: its code hash."""

    path: Path
    rows: tuple[Labelled, ...]
    cache: Path
    out: Path
    old_code: str
    old: tuple[str, ...]


def new_names(old: Sequence[str]) -> list[str]:
    """Numbers of this program that an old cache lacks.

    Raises
    ------
    ValueError
        if there are none, if others than the new group's are lacking, or if the old cache holds numbers no longer made.
    """
    now = [f.name for f in measure.schema()]
    lacking = [n for n in now if n not in set(old)]
    ours = {f.name for f in cues_seen.FEATURES}
    if not lacking or not set(lacking) <= ours:
        raise ValueError(f"lacking are {lacking[:4]} ...: only numbers of cues_seen can be measured alone")
    gone = [n for n in old if n not in set(now) and n not in ours]
    if gone:
        raise ValueError(f"no longer made: {gone[:4]}")
    return lacking


def merged(old: Sequence[str], values: NDArray[np.float32], new: Sequence[dict[str, float]]) -> NDArray[np.float32]:
    """(n, features) in today's order: old columns of (n, len(old)) `values` beside the n panels' `new` numbers."""
    at = {name: i for i, name in enumerate(old)}
    ours = {f.name for f in cues_seen.FEATURES}
    columns = [np.array([row[f.name] for row in new], np.float32) if f.name in ours else values[:, at[f.name]]
               for f in measure.schema()]
    return np.stack(columns, axis=1).astype(np.float32).reshape(len(values), len(columns))


def merge_photo(job: Job) -> str:
    """'made', 'there' (already), or 'absent' (the old cache lacks the photo)."""
    digest = measuring._digest(job.path, job.rows)
    target = job.out / f"{digest}.{measuring.code_hash()}.npz"
    looks = f"{digest}.{measuring.backbone_hash()}.npz"
    if (job.cache / looks).exists() and not (job.out / looks).exists():
        shutil.copy(job.cache / looks, job.out / looks)
    source = job.cache / f"{digest}.{job.old_code}.npz"
    if target.exists():
        return "there"
    if not source.exists():
        return "absent"
    with np.load(source) as stored:
        ids, values = [str(i) for i in stored["ids"]], stored["values"]
    if values.shape[1] == len(measure.schema()):
        shutil.copy(source, target)
        return "made"
    photo = load_photo(job.path, "photo")
    found: dict[str, dict[str, float]] = {}
    for row in job.rows:
        if row.id not in ids:
            continue
        try:
            whole, panel = measuring._panel(row, photo)
            view = rectify(whole, panel)
        except GrainassayError:
            continue
        found[row.id] = cues_seen.measure(view, grain.grain_field(view.pixels, mask=view.mask))
    table = merged(job.old, values, [found[i] for i in ids])
    measuring._store(target, ids=np.array(ids, dtype="U64"), values=table)
    return "made"


def jobs_of(rows: Sequence[Labelled], cache: Path, out: Path, old_code: str, old: Sequence[str]) -> list[Job]:
    """One job a photo, in the order in which teaching measures."""
    by_photo: dict[Path, list[Labelled]] = defaultdict(list)
    for row in rows:
        by_photo[row.path].append(row)
    return [Job(path, tuple(found), cache, out, old_code, tuple(old)) for path, found in sorted(by_photo.items())]


def differing(jobs: Sequence[Job], count: int) -> tuple[int, int, list[str]]:
    """(photos, numbers compared, names that differ) between merged files and full measuring of evenly chosen photos."""
    chosen = [jobs[int(i)] for i in np.unique(np.linspace(0, len(jobs) - 1, count).astype(int))]
    names: set[str] = set()
    compared = photos = 0
    with tempfile.TemporaryDirectory() as folder:
        for job in chosen:
            digest = measuring._digest(job.path, job.rows)
            ours = job.out / f"{digest}.{measuring.code_hash()}.npz"
            looks = f"{digest}.{measuring.backbone_hash()}.npz"
            if not ours.exists():
                continue
            if (job.out / looks).exists():
                shutil.copy(job.out / looks, Path(folder) / looks)
            full, _, _ = measuring.measure_photo(job.path, job.rows, Path(folder))
            with np.load(ours) as a, np.load(full) as b:
                if list(a["ids"]) != list(b["ids"]):
                    raise ValueError(f"{job.path.name}: different panels")
                same = (a["values"] == b["values"]) | (np.isnan(a["values"]) & np.isnan(b["values"]))
                compared += same.size
                names |= {measure.schema()[int(k)].name for k in np.unique(np.nonzero(~same)[1])}
            photos += 1
    return photos, compared, sorted(names)


def main(argv: Sequence[str] | None = None) -> int:
    """Command line; 0 when all photos are merged and every compared number is the same."""
    parser = argparse.ArgumentParser(description="Add one newly measured group to the caches of measured panels.")
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--renders", type=Path)
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--out", type=Path, help="folder of the new files; the old cache without")
    parser.add_argument("--old-code", required=True, help="the middle part of the old files' names")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--check", type=int, default=0, help="photos of each kind measured in full beside it")
    args = parser.parse_args(argv)
    config, worst, out = load_config(), 0, args.out or args.cache
    out.mkdir(parents=True, exist_ok=True)
    for kind, table in (("real", tables.REAL), ("rendered", tables.RENDERED)):
        if kind == "real":
            rows: Sequence[Labelled] = labelled_panels(args.photos)
        elif args.renders is not None:
            from training.rendered import rendered_panels

            rows = tables.spread(rendered_panels(args.renders), config.rendered_rows, config.seed)
        else:
            continue
        old = [str(n) for n in tables.Table.load(table).names]
        # a table that is already of the new schema still tells the old names: those that are not the new group's
        ours = {f.name for f in cues_seen.FEATURES}
        old = [n for n in old if n not in ours]
        new_names(old)
        jobs = jobs_of(rows, args.cache, out, args.old_code, old)
        counts: dict[str, int] = defaultdict(int)
        with ProcessPoolExecutor(max_workers=args.workers) as pool:
            for done, said in enumerate(pool.map(merge_photo, jobs, chunksize=4), 1):
                counts[said] += 1
                if done % 100 == 0:
                    print(f"{kind}: {done} of {len(jobs)} photos", file=sys.stderr, flush=True)
        print(f"{kind}: {counts['made']} photos merged, {counts['there']} already there, "
              f"{counts['absent']} absent from the old cache")
        worst = max(worst, int(counts["absent"] > 0))
        if args.check:
            photos, compared, names = differing(jobs, args.check)
            print(f"{kind}: {compared} numbers of {photos} photos measured in full, differing: {', '.join(names) or 'none'}")
            worst = max(worst, int(bool(names)))
    return worst


if __name__ == "__main__":
    raise SystemExit(main())

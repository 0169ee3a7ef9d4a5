"""Measure the labelled panels of a folder of rendered photos for a test: features, looks, truth, and crops where asked for.

    python -m training.rendered_test --renders DIR --out FILE.npz --workers 15 --seconds 300 [--most N] [--looks projected]
        [--crops PACK.npz]

Every piece's first photo comes before any second one, so that a run that is cut short still covers most pieces. Photos measured
before are taken from the folder `--parts` (default: beside the renders), so a later call goes on where an earlier one stopped.
The numbers are those of teaching: `training.measuring` makes both.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.real_photos import Labelled
from training.rendered_test_rows import RenderedRows, built, joined, save
from training.rendered_test_truth import Facts

#: Seconds kept for writing: so many, and so many more for each panel.
RESERVE, RESERVE_PANEL = 5.0, 0.0012


@dataclass(frozen=True, eq=False)
class Found:
    """One photo's measured panels, one order throughout. `crops`: encoded crops, None where not asked for; `trouble`: ids that
    could not be measured, or what went wrong with the photo."""

    rows: list[Labelled]
    facts: list[Facts]
    values: NDArray[np.float32]
    looks: NDArray[np.float32]
    crops: list[Any] | None
    trouble: str


def order(names: Sequence[str]) -> list[str]:
    """Photo names PIECE_NUMBER: all first photos by piece, then all second ones, and so on."""
    def key(name: str) -> tuple[int, str]:
        piece, _, number = name.rpartition("_")
        return (int(number) if number.isdigit() else 0), piece

    return sorted(names, key=key)


def measured_photo(truth: Path, parts: Path, with_crops: bool) -> Found:
    """Measure the labelled panels of one photo, or take them as measured before."""
    from training.measuring import measure_photo
    from training.rendered import _picture as panels_of_picture
    from training.rendered_test_truth import photo_facts

    rows = list(panels_of_picture(truth))
    if not rows:
        return Found([], [], np.zeros((0, 0), np.float32), np.zeros((0, 0), np.float32), None, "")
    facts = photo_facts(truth)
    values_at, looks_at, bad = measure_photo(truth.with_suffix(".jpg"), rows, parts)
    with np.load(values_at) as v, np.load(looks_at) as k:
        ids, values, looks = [str(i) for i in v["ids"]], v["values"], k["looks"]
    by_id = {r.id: r for r in rows}
    kept = [by_id[i] for i in ids]
    crops = None
    if with_crops:
        from training.panel_crops import crops_of

        crops = [c for _, c in crops_of(truth.with_suffix(".jpg"), kept)]
    return Found(kept, [facts[int(i.rpartition(".")[2])] for i in ids], values, looks, crops, ", ".join(bad))


def _begin() -> None:
    """A worker keeps to one thread: all cores are taken by workers."""
    import cv2
    import onnxruntime

    cv2.setNumThreads(1)
    whole = onnxruntime.InferenceSession

    def single(model: Any, options: Any = None, **more: Any) -> Any:
        options = onnxruntime.SessionOptions() if options is None else options
        options.intra_op_num_threads = options.inter_op_num_threads = 1
        return whole(model, options, **more)

    onnxruntime.InferenceSession = single


def _job(args: tuple[Path, Path, bool]) -> Found:
    try:
        return measured_photo(*args)
    except Exception as err:  # one broken picture must not end a long run; it is named and counted
        nothing = np.zeros((0, 0), np.float32)
        return Found([], [], nothing, nothing, None, f"{args[0].stem}: {type(err).__name__}: {err}")


def measure_folder(
    renders: Path, parts: Path, *, workers: int, seconds: float, most: int | None = None, with_crops: bool = False
) -> Iterator[Found]:
    """Measured photos of a folder as they come, until all are done or time is nearly up."""
    begun = time.monotonic()
    parts.mkdir(parents=True, exist_ok=True)
    names = order([p.stem for p in renders.glob("*.json") if p.with_suffix(".jpg").exists()])[:most]
    if not names:
        raise FileNotFoundError(f"{renders} holds no rendered panels")
    jobs = [(renders / f"{n}.json", parts, with_crops) for n in names]
    panels = 0
    with get_context("spawn").Pool(workers, initializer=_begin) as pool:
        for done, found in enumerate(pool.imap_unordered(_job, jobs), 1):
            panels += len(found.rows)
            yield found
            spent = time.monotonic() - begun
            up = spent + RESERVE + RESERVE_PANEL * panels > seconds
            if done % 100 == 0 or done == len(jobs) or up:
                print(f"{done} of {len(jobs)} photos, {panels} panels, {spent:.0f} s", file=sys.stderr, flush=True)
            if up and done < len(jobs):
                print("time is up", file=sys.stderr, flush=True)
                return


def rows_of(found: Sequence[Found], projected: bool) -> RenderedRows:
    """All measured panels as rows, by panel name."""
    from training import tables

    names, schema = tables.current_schema()
    projection = tables.Projection.load(tables.PROJECTION) if projected else None
    parts = []
    for f in found:
        looks = f.looks if projection is None else projection(f.looks)
        parts.append(built(f.rows, f.facts, f.values, looks, names=names, schema=schema, projected=projected))
    whole = joined(parts)
    return whole.rows(np.argsort(whole.ids))


def pack_crops(found: Sequence[Found], path: Path) -> int:
    """Write the crops of measured photos as one pack of `training.panel_crops`; how many panels it holds."""
    from training.panel_crops import UNKNOWN_FOLD, Pack, labels_of

    pairs = [(r, c) for f in found for r, c in zip(f.rows, f.crops or [], strict=True)]
    labels = [labels_of(r) for r, _ in pairs]
    share: dict[str, int] = defaultdict(int)
    for r, _ in pairs:
        share[r.specimen] += 1
    Pack(
        np.array([r.id for r, _ in pairs]), np.array([r.author for r, _ in pairs]), [[c for c, _ in p] for _, p in pairs],
        [[m for _, m in p] for _, p in pairs], {t: np.array([x[t] for x in labels], np.int64) for t in labels[0]},
        np.array([r.weight / share[r.specimen] for r, _ in pairs], np.float32), np.full(len(pairs), UNKNOWN_FOLD, np.int64),
    ).save(path)
    return len(pairs)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--renders", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--parts", type=Path, help="folder for what is measured (default: RENDERS_measured)")
    parser.add_argument("--workers", type=int, default=max(1, (os.cpu_count() or 2) - 1))
    parser.add_argument("--seconds", type=float, default=float("inf"), help="be done, with the file written, after so long")
    parser.add_argument("--most", type=int, help="photos at most")
    parser.add_argument("--looks", choices=("raw", "projected"), default="raw")
    parser.add_argument("--crops", type=Path, help="also write the net's crops of these panels here")
    args = parser.parse_args()
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"  # before the workers start; they inherit it
    begun = time.monotonic()
    parts = args.parts or args.renders.with_name(f"{args.renders.name}_measured")
    found, trouble = [], []
    for f in measure_folder(args.renders, parts, workers=args.workers, seconds=args.seconds, most=args.most,
                            with_crops=args.crops is not None):
        trouble += [f.trouble] if f.trouble else []
        if f.rows:
            found.append(f)
    if not found:
        raise SystemExit("nothing could be measured: " + "; ".join(trouble[:5]))
    rows = rows_of(found, args.looks == "projected")
    written = save(rows, args.out)
    for line in trouble[:20]:
        print(f"left out: {line}", file=sys.stderr)
    groups, photos = len(np.unique(rows.group)), len(np.unique(rows.photo))
    where = ", ".join(f"{p.name} ({p.stat().st_size / 1e6:.1f} MB)" for p in written)
    print(f"{len(rows)} panels of {groups} groups of pieces on {photos} photos, {len(trouble)} with trouble, in {where}, "
          f"{time.monotonic() - begun:.0f} s")
    if args.crops is not None:
        print(f"{pack_crops(found, args.crops)} panels in {args.crops.name}")


if __name__ == "__main__":
    main()

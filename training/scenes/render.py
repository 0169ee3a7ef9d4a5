"""Command: `python -m training.scenes.render --count N --out build/renders --variant llvm_ad_rgb`.

Renders pieces until N photos lie in the folder. Resumable (what is there is kept), the same number gives the same picture.
Pieces 3k, 3k + 1 and 3k + 2 may be one twin group (same figure and light, other substance): parts of a set that are taught and
judged on apart are cut at multiples of `GROUP` (`--first 0 --pieces 3000`, then `--first 3000`), and no group is split. Workers
that fail or die cost their piece alone.
"""

from __future__ import annotations

import argparse
import io
import multiprocessing as mp
import os
import sys
import tarfile
import time
import traceback
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from training.figure import kernels
from training.scenes.config import load_settings
from training.scenes.real_figure import load_figures
from training.scenes.shoot import Order, build, order_pieces, photograph
from training.scenes.truth import save_ids, save_truth

#: Pieces of a twin group stand at numbers GROUP * k to GROUP * k + GROUP - 1.
GROUP = 3
#: Seconds without a finished piece after which a run is given up.
PATIENCE = 180.0
_STATE: dict = {}


def _begin(variant: str, out: str, options: dict) -> None:
    import cv2

    cv2.setNumThreads(1)
    _STATE.update(out=Path(out), settings=load_settings(), options=options, variant=variant)


def _make(order: Order) -> tuple[str, int, str]:
    """Render every photo of a piece that is not there yet; (piece, photos written, error text)."""
    out, written = _STATE["out"], 0
    try:
        todo = [k for k in range(order.photos) if not (out / f"{order.piece}_{k}.json").exists()]
        if not todo:
            return order.piece, 0, ""
        if "mi" not in _STATE:  # here and not at the worker's start, where a failure would be repeated without end
            from training.scenes import stage

            _STATE["mi"] = stage.start(_STATE["variant"])
        if _STATE["options"]["figures"] and "figures" not in _STATE:
            _STATE["figures"] = load_figures(Path(_STATE["options"]["figures"]))
        piece, room = build(order, _STATE.get("figures"))
        for k in todo:
            shot = photograph(
                _STATE["mi"],
                order,
                piece,
                room,
                k,
                _STATE["settings"],
                spp=_STATE["options"]["spp"],
                long_side=_STATE["options"]["width"],
            )
            if shot is None:
                continue
            name = shot.truth["name"]
            (out / f"{name}.jpg").write_bytes(shot.jpeg)
            save_ids(out / f"{name}_id.png", shot.ids)
            save_truth(out / f"{name}.json", shot.truth)  # last: its presence says the picture is whole
            written += 1
    except Exception:
        return order.piece, written, traceback.format_exc()
    return order.piece, written, ""


def finished(results: Any, stop: Callable[[], bool], patience: float = PATIENCE) -> Iterator[tuple[str, int, str]]:
    """Results of a pool as they come, until all are there, `stop` says so, or nothing has come for `patience` seconds (a worker
    that dies takes its piece with it, and the pool would wait for it for ever)."""
    last = time.monotonic()
    while not stop():
        try:
            result = results.next(timeout=1.0)
        except StopIteration:
            return
        except mp.TimeoutError:
            if time.monotonic() - last > patience:
                print(f"no piece finished for {patience:.0f} s: stopped", file=sys.stderr, flush=True)
                return
            continue
        last = time.monotonic()
        yield result


def pack(folder: Path, into: Path, limit: int = 15 * 1024 * 1024) -> list[Path]:
    """Bundle finished pictures into tar files below `limit` bytes each."""
    files: list[Path] = []
    tar, used = None, 0
    for truth in sorted(folder.glob("*.json")):
        group = [p for p in (truth, truth.with_suffix(".jpg"), truth.with_name(truth.stem + "_id.png")) if p.exists()]
        size = sum(p.stat().st_size + 1536 for p in group)
        if tar is None or used + size > limit:
            if tar is not None:
                tar.close()
            files.append(into / f"renders_{len(files):02d}.tar")
            tar, used = tarfile.open(files[-1], "w"), 0  # noqa: SIM115 - closed when full
        for p in group:
            info = tarfile.TarInfo(p.name)
            data = p.read_bytes()
            info.size = len(data)
            tar.addfile(info, io.BytesIO(data))
        used += size
    if tar is not None:
        tar.close()
    return files


def main(argv: list[str] | None = None) -> int:
    """Command line; exit status 0 when at least one photo lies in the folder."""
    parser = argparse.ArgumentParser(prog="training.scenes.render", description="Render labelled training photographs.")
    parser.add_argument("--count", type=int, default=600, help="photos wanted in the folder")
    parser.add_argument("--first", type=int, default=0, help=f"number of the first piece; sets are cut at multiples of {GROUP}")
    parser.add_argument("--pieces", type=int, default=None, help="pieces at most (default: as many as the photos need)")
    parser.add_argument("--photos-each", type=int, nargs=2, metavar=("LEAST", "MOST"), default=None, help="photos of a piece")
    parser.add_argument("--out", type=Path, default=Path("build/renders"))
    parser.add_argument("--variant", default="llvm_ad_rgb")
    parser.add_argument("--width", type=int, default=None, help="long side in pixels (default: drawn per photo)")
    parser.add_argument("--spp", type=int, default=None)
    parser.add_argument("--workers", type=int, default=max(1, (os.cpu_count() or 2) - 1))
    parser.add_argument("--seconds", type=float, default=float("inf"), help="stop taking up new pieces after this long")
    parser.add_argument("--pack", type=Path, default=None, help="also bundle the pictures into tar files here")
    parser.add_argument("--figures", type=Path, default=None, help="folder of real figure (training.scenes.figure_folder)")
    args = parser.parse_args(argv)
    args.out.mkdir(parents=True, exist_ok=True)
    settings = load_settings()
    if args.photos_each is not None:
        settings = replace(settings, photos_per_piece=(args.photos_each[0], args.photos_each[1]))
    mean = (settings.photos_per_piece[0] + settings.photos_per_piece[1]) / 2
    orders = order_pieces(settings, args.first, args.pieces or int(args.count / mean * 1.6) + GROUP)
    options = {"spp": args.spp, "width": args.width, "figures": args.figures and str(args.figures)}
    kernels.library()  # compiled once, before the workers ask for it
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    begun, written, failed = time.monotonic(), 0, 0
    have = len(list(args.out.glob("*.json")))
    context = mp.get_context("spawn")
    pool = context.Pool(args.workers, initializer=_begin, initargs=(args.variant, str(args.out), options))
    try:
        results = pool.imap_unordered(_make, orders)
        for piece, count, error in finished(results, lambda: time.monotonic() - begun > args.seconds):
            written += count
            if error:
                failed += 1
                print(f"{piece}: {error}", file=sys.stderr, flush=True)
            spent = time.monotonic() - begun
            if written and written % 25 < count:
                print(f"{have + written} photos, {spent:.0f} s, {failed} pieces failed", flush=True)
            if have + written >= args.count:
                break
    finally:
        pool.terminate()
        pool.join()
    # a worker stopped in the middle of a picture leaves files without their truth: drop them
    for stray in args.out.glob("*.jpg"):
        if not stray.with_suffix(".json").exists():
            stray.unlink()
            stray.with_name(stray.stem + "_id.png").unlink(missing_ok=True)
    total = len(list(args.out.glob("*.json")))
    print(f"{total} photos in {args.out}, {written} new, {failed} pieces failed, {time.monotonic() - begun:.0f} s", flush=True)
    if args.pack is not None:
        args.pack.mkdir(parents=True, exist_ok=True)
        for path in pack(args.out, args.pack):
            print(path.name, path.stat().st_size, flush=True)
    return 0 if total else 1


if __name__ == "__main__":
    sys.exit(main())

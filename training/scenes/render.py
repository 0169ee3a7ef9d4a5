"""Command: `python -m training.scenes.render --count N --out build/renders --variant llvm_ad_rgb`.

Renders pieces until N photos lie in the folder. Resumable (what is there is kept), the same number gives the same picture.
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
from dataclasses import replace
from pathlib import Path

from training.scenes.config import load_settings
from training.scenes.shoot import Order, build, order_pieces, photograph
from training.scenes.truth import save_ids, save_truth

_STATE: dict = {}


def _begin(variant: str, out: str, options: dict) -> None:
    import cv2

    cv2.setNumThreads(1)
    from training.scenes import stage

    _STATE.update(
        mi=stage.start(variant), out=Path(out), settings=replace(load_settings(), **options["settings"]), options=options
    )


def _make(order: Order) -> tuple[str, int, str]:
    """Render every photo of a piece that is not there yet; (piece, photos written, error text)."""
    out, written = _STATE["out"], 0
    try:
        todo = [k for k in range(order.photos) if not (out / f"{order.piece}_{k}.json").exists()]
        if not todo:
            return order.piece, 0, ""
        piece, room = build(order)
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
    parser.add_argument("--first", type=int, default=0, help="number of the first piece")
    parser.add_argument("--out", type=Path, default=Path("build/renders"))
    parser.add_argument("--variant", default="llvm_ad_rgb")
    parser.add_argument("--width", type=int, default=None, help="long side in pixels (default: drawn per photo)")
    parser.add_argument("--spp", type=int, default=None)
    parser.add_argument("--workers", type=int, default=max(1, (os.cpu_count() or 2) - 1))
    parser.add_argument("--seconds", type=float, default=float("inf"), help="stop taking up new pieces after this long")
    parser.add_argument("--pack", type=Path, default=None, help="also bundle the pictures into tar files here")
    args = parser.parse_args(argv)
    args.out.mkdir(parents=True, exist_ok=True)
    settings = load_settings()
    mean = (settings.photos_per_piece[0] + settings.photos_per_piece[1]) / 2
    orders = order_pieces(settings, args.first, int(args.count / mean * 1.6) + 3)
    options = {"spp": args.spp, "width": args.width, "settings": {}}
    begun, written, failed = time.monotonic(), 0, 0
    have = len(list(args.out.glob("*.json")))
    context = mp.get_context("spawn")
    pool = context.Pool(args.workers, initializer=_begin, initargs=(args.variant, str(args.out), options))
    try:
        for piece, count, error in pool.imap_unordered(_make, orders):
            written += count
            if error:
                failed += 1
                print(f"{piece}: {error}", file=sys.stderr, flush=True)
            spent = time.monotonic() - begun
            if written and written % 25 < count:
                print(f"{have + written} photos, {spent:.0f} s, {failed} pieces failed", flush=True)
            if have + written >= args.count or spent > args.seconds:
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

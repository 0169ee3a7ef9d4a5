"""Prepares pictures of real wood figure for the rendered scenes, in a folder that git ignores.

    python -m training.scenes.figure_folder --photos ../shared/photos --textures build/textures --into build/scenes_figures

Taken are photos kept for their figure by authors none of whose panels is labelled (so that nothing judged on labelled panels has
seen them), and wood faces that packages carry, licence in their list. Each becomes NAME.jpg, grain along x, with a line in
figures.json: file, group (who took it), hash of the file, `mm`: millimetres a pixel that make its streaks as wide as wood's.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import json
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites.figures import load
from vision.intake import load_photo
from vision.resize import fit_within, resize

#: Longest side kept, JPEG quality, and the most bytes that the folder may hold.
LONGEST, QUALITY, BYTES = 1100, 88, 12_000_000
#: Millimetres from dark streak to dark streak across the grain that pictures are scaled to (rings and growth bands of
#: furniture woods are some 2 to 8 mm wide; common practice, no source), and the extent across that is then allowed.
STREAK_MM, ACROSS_MM = 6.0, (260.0, 420.0)
#: Width that the boards of a picture of boards are taken to have, mm (common practice, no source).
BOARD_MM = 100.0
#: Least width of such a board and least length of any other picture, px.
LEAST_BOARD, LEAST_PICTURE = 36, 400
#: Pictures whose boards run upright; pictures without clean figure (by look: gaps, shadows, slats, strips end to end).
UPRIGHT = ("src100.jpg", "src103.jpg")
UNFIT = ("src053.jpg", "src054.jpg", "src098.jpg", "src102.jpg")


def streak_px(pixels: NDArray[np.uint8]) -> float:
    """Mean distance in pixels between dark streaks across the grain (rows), read from profiles along short runs of it."""
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    runs = np.array_split(grey, max(1, grey.shape[1] // 60), axis=1)
    found = []
    for run in runs:
        profile = run.mean(axis=1)
        fine = cv2.GaussianBlur(profile[:, None], (0, 0), 1.5)[:, 0] - cv2.GaussianBlur(profile[:, None], (0, 0), 14)[:, 0]
        rising = np.count_nonzero((fine[:-1] < 0) & (fine[1:] >= 0))
        found.append(len(profile) / max(int(rising), 1))
    return float(np.median(found))


def mm_per_px(pixels: NDArray[np.uint8]) -> float:
    """Scale at which the streaks of a picture are as far apart as those of wood, its extent across kept plausible."""
    high = pixels.shape[0]
    return float(np.clip(STREAK_MM / streak_px(pixels), ACROSS_MM[0] / high, ACROSS_MM[1] / high))


def boards_of(pixels: NDArray[np.uint8]) -> list[NDArray[np.uint8]]:
    """The single boards of a picture of boards laid along x, cut between the dark lines at which they meet."""
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    profile = np.median(grey, axis=1)
    broad = cv2.GaussianBlur(profile[:, None], (0, 0), 12)[:, 0]
    dip = broad - cv2.GaussianBlur(profile[:, None], (0, 0), 0.8)[:, 0]
    limit = max(3.0, 0.35 * float(np.quantile(dip, 0.995)))
    lines = [r for r in range(1, len(dip) - 1) if dip[r] > limit and dip[r] == dip[max(0, r - 18):r + 19].max()]
    edges = [0, *lines, len(dip)]
    out = []
    for low, high in pairwise(edges):
        margin = max(4, round(0.06 * (high - low)))
        if high - low - 2 * margin >= LEAST_BOARD:
            out.append(np.ascontiguousarray(pixels[low + margin:high - margin]))
    return out


def write(figures: list[tuple[str, str, list[NDArray[np.uint8]], float]], into: Path) -> list[dict[str, object]]:
    """Writes (picture, group, strips, mm a pixel) and their list; stops before the folder grows past BYTES."""
    into.mkdir(parents=True, exist_ok=True)
    rows: list[dict[str, object]] = []
    used = 0
    for picture, group, strips, scale in figures:
        for pixels in strips:
            ok, data = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
            if not ok or used + len(data) > BYTES:
                continue
            used += len(data)
            name = f"strip_{len(rows):03d}.jpg"
            (into / name).write_bytes(data.tobytes())
            rows.append({"file": name, "picture": picture, "group": group, "mm": round(scale, 4),
                         "hash": hashlib.sha256(data.tobytes()).hexdigest()[:12], "size": [pixels.shape[1], pixels.shape[0]]})
    (into / "figures.json").write_text(json.dumps(rows, indent=1), encoding="utf-8")
    return rows


def gather(photos: Path, textures: Path | None) -> list[tuple[str, str, list[NDArray[np.uint8]], float]]:
    """Every picture that may serve: (name, group, strips, mm a pixel)."""
    with (photos / "panels.csv").open(newline="") as file:
        labelled = {r["source"] for r in csv.DictReader(file)}
    out = []
    with (photos / "photos.csv").open(newline="") as file:
        rows = [r for r in csv.DictReader(file) if r["use"] == "figure" and r["source"] not in labelled]
    for r in rows:
        if r["file"] in UNFIT or "synthetic" in r["notes"].lower():
            continue
        pixels = load_photo(photos / "img" / r["file"], "p1").pixels
        if r["file"] in UPRIGHT:
            pixels = np.ascontiguousarray(np.rot90(pixels))
        strips = boards_of(pixels)
        if strips:
            out.append((r["file"], r["source"], strips, BOARD_MM / float(np.median([s.shape[0] for s in strips]))))
    both = [f for part in ("tune", "report") for f in load(photos, textures, part)]
    for f in both:
        if f.group.startswith("texture ") and f.kind != "boards" and max(f.pixels.shape[:2]) >= LEAST_PICTURE:
            out.append((f.name, f.group, [resize(f.pixels, *fit_within(f.pixels.shape[1], f.pixels.shape[0], max_side=LONGEST))],
                        mm_per_px(f.pixels)))
    return out


def main(argv: list[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(prog="training.scenes.figure_folder", description=__doc__)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--textures", type=Path, default=None)
    parser.add_argument("--into", type=Path, default=Path("build/scenes_figures"))
    args = parser.parse_args(argv)
    rows = write(gather(args.photos, args.textures), args.into)
    size = sum(p.stat().st_size for p in args.into.iterdir())
    print(f"{len(rows)} strips of {len({r['picture'] for r in rows})} pictures, {size / 1e6:.1f} MB")
    return 0 if rows else 1


if __name__ == "__main__":
    raise SystemExit(main())

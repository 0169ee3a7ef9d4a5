"""Command: `python -m training.scenes.samples --out sample_images`: the demonstration photos and their truth.

Three made-up pieces from a made-up place, the Quarry Lane swap hall. Their seeds and names are not in the training set.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from training.scenes import phone, stage
from training.scenes.config import Settings, load_settings
from training.scenes.construction import Plan, Workshop
from training.scenes.furniture import BUILDERS
from training.scenes.room import build_room
from training.scenes.shoot import Order, Shot, photograph

LONG_SIDE = 1600
MAX_BYTES = 340_000
_HARD_BACK = Plan("bare_board", "fibreboard", "raw", board="hardboard")
_PLY = Plan("veneer", "plywood", "raw", peeled=True)
_SOLID = Plan("solid_wood", "lumber", "self", "boards")


@dataclass(frozen=True)
class Sample:
    """A demonstration piece: construction per role group and the photos taken (number, view)."""

    name: str
    kind: str
    seed: int
    species: str
    plans: dict[str, Plan]
    shots: tuple[tuple[int, str], ...]


SAMPLES = (
    Sample(
        "quarry_lane_chest",
        "chest",
        7300003,
        "red_oak_like",
        {
            "top": Plan("veneer", "particle_board", "raw", "book"),
            "case": Plan("printed", "particle_board", "print_band"),
            "front": _SOLID,
            "frame": _SOLID,
            "back": _PLY,
            "inner": Plan("solid_wood", "lumber", "self", "plank"),
        },
        ((0, "whole"), (1, "part"), (2, "close")),
    ),
    Sample(
        "quarry_lane_cabinet",
        "cabinet",
        7300012,
        "walnut_like",
        {
            "top": Plan("veneer", "fibreboard", "veneer_band", "slip"),
            "case": Plan("veneer", "particle_board", "veneer_band"),
            "front": Plan("printed", "particle_board", "print_band"),
            "frame": _SOLID,
            "back": _HARD_BACK,
            "inner": _PLY,
        },
        ((0, "whole"), (1, "part")),
    ),
    Sample(
        "quarry_lane_table",
        "table",
        7300021,
        "pine_like",
        {
            "top": _SOLID,
            "case": Plan("opaque", "fibreboard", "painted"),
            "front": _SOLID,
            "frame": Plan("opaque", "lumber", "painted"),
            "back": Plan("opaque", "fibreboard", "painted"),
            "inner": _PLY,
        },
        ((0, "whole"), (1, "close"), (2, "part")),
    ),
)


def shoot_sample(mi: Any, sample: Sample, number: int, view: str, settings: Settings, *, spp: int, long_side: int) -> Shot:
    """One demonstration photo; raises RuntimeError when no clear view of the piece was found."""
    shop = Workshop("mixed", sample.seed, plans=sample.plans, species=sample.species)
    piece = BUILDERS[sample.kind](shop, np.random.default_rng([sample.seed, 101]))
    room = replace(build_room(piece, sample.seed), flash=0.0)
    order = Order(sample.name, sample.seed, "mixed", sample.kind, None, len(sample.shots))
    shot = photograph(mi, order, piece, room, number, settings, spp=spp, long_side=long_side, good=True, view=view)
    if shot is None:
        raise RuntimeError(f"{sample.name} photo {number}: no clear view")
    return shot


def fit_bytes(jpeg: bytes, limit: int = MAX_BYTES) -> bytes:
    """The picture as it is, or at the highest JPEG quality that keeps it under `limit` bytes."""
    if len(jpeg) <= limit:
        return jpeg
    picture = phone.decode_jpeg(jpeg)
    for quality in range(88, 40, -4):
        smaller = phone.encode_jpeg(picture, quality)
        if len(smaller) <= limit:
            return smaller
    return smaller


def truth_row(shot: Shot, file: str) -> dict[str, Any]:
    """What truth.json says of one photo."""
    keys = ("id", "part", "role", "view", "face", "core", "edging", "core_shown", "outline")
    return {
        "file": file,
        "piece": shot.truth["piece"],
        "width": shot.truth["width"],
        "height": shot.truth["height"],
        "panels": [{k: p[k] for k in keys} for p in shot.truth["panels"]],
    }


def main(argv: list[str] | None = None) -> int:
    """Render every sample photo and write truth.json beside them."""
    parser = argparse.ArgumentParser(prog="training.scenes.samples", description="Render the demonstration photos.")
    parser.add_argument("--out", type=Path, default=Path("sample_images"))
    parser.add_argument("--variant", default="llvm_ad_rgb")
    parser.add_argument("--width", type=int, default=LONG_SIDE)
    parser.add_argument("--spp", type=int, default=384)
    parser.add_argument("--only", default=None, help="name of one piece")
    args = parser.parse_args(argv)
    args.out.mkdir(parents=True, exist_ok=True)
    mi = stage.start(args.variant)
    settings = load_settings()
    scale = args.width / LONG_SIDE
    settings = replace(settings, min_panel_px=max(40, int(2500 * scale * scale)), min_panel_width_px=max(3, int(14 * scale)))
    rows = []
    for sample in SAMPLES:
        if args.only and sample.name != args.only:
            continue
        for number, view in sample.shots:
            shot = shoot_sample(mi, sample, number, view, settings, spp=args.spp, long_side=args.width)
            file = f"{sample.name}_{number + 1}.jpg"
            (args.out / file).write_bytes(fit_bytes(shot.jpeg))
            rows.append(truth_row(shot, file))
            print(file, len(shot.truth["panels"]), "panels", flush=True)
    truth = {"about": "Rendered photographs of made-up furniture; see README.md.", "photos": rows}
    (args.out / "truth.json").write_text(json.dumps(truth, indent=1), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())

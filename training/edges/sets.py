"""The pictures that edge measures are taught on, joined on and scored on: balanced over what the narrow side shows.

Seeds of the parts differ, and so do the photographers whose figure lies on veneered and printed faces: 'teach' (the net, the
rules by hand), 'stage' (how both are joined and brought to scale), 'report' (scores only).
"""

from __future__ import annotations

import csv
import hashlib
import pickle
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from training.composites.figures import Figure, load
from training.edges.kinds import NAMES, SETTINGS, STRIP_OF
from training.edges.make import EdgePicture, make_edge

#: Raised when the same seeds give other pictures.
VERSION = 6
CACHE, TEXTURES = Path("build") / "edges", Path("build") / "textures"
FIRST_SEED = {"stage": 2_000_000, "report": 5_000_000, "teach": 20_000_000}
#: Pictures of every strip kind in every setting.
PER_KIND = {"stage": 47, "report": 60, "teach": 162}


@dataclass(frozen=True)
class Trial:
    name: str
    setting: str
    seed: int

    @property
    def key(self) -> str:
        return f"{self.name}-{self.setting}-{self.seed}"


def plan(part: str, per_kind: int, start: int = 0) -> list[Trial]:
    """`per_kind` trials of every strip kind in every setting, builds of a kind in turn, from the `start`-th on."""
    by_kind: dict[str, list[str]] = {}
    for name in NAMES:
        by_kind.setdefault(STRIP_OF[name], []).append(name)
    first = FIRST_SEED[part]
    return [Trial(names[k % len(names)], setting, first + k)
            for k in range(start, per_kind) for names in by_kind.values() for setting in SETTINGS]


def part_of_figure(group: str) -> str:
    """Of the figures to tune on, a fourth of the photographers for the joining stage."""
    return "stage" if hashlib.sha256(f"edges 1 {group}".encode()).digest()[0] < 64 else "teach"


def figures_of(part: str, photos: Path | None, textures: Path | None = TEXTURES) -> list[Figure]:
    """Figure for the faces of a part; no photographer of a real outlined edge has a face in what is taught or joined."""
    if photos is None:
        return []
    if part == "report":
        return load(photos, textures, "report")
    with (photos / "panels.csv").open(newline="") as file:
        real = {r["source"] for r in csv.DictReader(file) if r["view"] in ("edge", "end")}
    return [f for f in load(photos, textures, "tune") if f.group not in real and part_of_figure(f.group) == part]


def picture_of(trial: Trial, part: str, figures: Sequence[Figure], cache: Path | None = CACHE) -> EdgePicture:
    """The picture of a trial, made once and then read from the cache."""
    file = None if cache is None else cache / f"made-{VERSION}-{part}" / f"{trial.key}.pickle"
    if file is not None and file.exists():
        kept: EdgePicture = pickle.loads(file.read_bytes())
        return kept
    picture = make_edge(trial.name, trial.setting, trial.seed, figures)
    if file is not None:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(pickle.dumps(picture))
    return picture

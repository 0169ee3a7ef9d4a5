"""The pictures that edge measures are fitted on and scored on: balanced over what the narrow side shows, kept in a cache.

Seeds of the two parts differ, and so do the photographers whose figure lies on veneered and printed faces.
"""

from __future__ import annotations

import pickle
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from training.composites.figures import Figure, load
from training.edges.kinds import NAMES, SETTINGS, STRIP_OF
from training.edges.make import EdgePicture, make_edge

#: Raised when the same seeds give other pictures.
VERSION = 5
CACHE = Path("build") / "edges"
FIRST_SEED = {"tune": 10_000, "report": 5_000_000}


@dataclass(frozen=True)
class Trial:
    name: str
    setting: str
    seed: int


def plan(part: str, per_kind: int, start: int = 0) -> list[Trial]:
    """`per_kind` trials of every strip kind in every setting, builds of a kind in turn, from the `start`-th on."""
    by_kind: dict[str, list[str]] = {}
    for name in NAMES:
        by_kind.setdefault(STRIP_OF[name], []).append(name)
    first = FIRST_SEED[part]
    return [Trial(names[k % len(names)], setting, first + k)
            for k in range(start, per_kind) for names in by_kind.values() for setting in SETTINGS]


def pictures(part: str, per_kind: int, photos: Path | None, textures: Path | None = Path("build/textures"), *,
             cache: Path | None = CACHE) -> Iterator[EdgePicture]:
    """The pictures of a plan, made once and then read from the cache."""
    figures: Sequence[Figure] | None = None
    for trial in plan(part, per_kind):
        file = None if cache is None else cache / f"made-{VERSION}-{part}" / f"{trial.name}-{trial.setting}-{trial.seed}.pickle"
        if file is not None and file.exists():
            picture: EdgePicture = pickle.loads(file.read_bytes())
            yield picture
            continue
        if figures is None:
            figures = [] if photos is None else load(photos, textures, part)
        picture = make_edge(trial.name, trial.setting, trial.seed, figures)
        if file is not None:
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(pickle.dumps(picture))
        yield picture

"""Sets of pictures kept on disk: which seeds belong to which part of the work, and drawing only what is not there yet.

Command: `python -m training.joints.pictures --each 12 6 10`.
"""

from __future__ import annotations

import argparse
import pickle
from collections.abc import Iterator, Sequence
from pathlib import Path

from training.joints.kinds import NAMES
from training.joints.make import JointPicture, make_joint

#: First seed of each part; no part reaches the next one's.
FIRST = {"fit": 10_000, "held_out": 20_000, "report": 30_000}
CACHE = Path("build/joints/pictures")


def seeds(part: str, each: int) -> range:
    """Seeds of a part of the work: 'fit' and 'held_out' to learn from, 'report' to be judged by."""
    if each > 9_000:
        raise ValueError("parts would share seeds")
    return range(FIRST[part], FIRST[part] + each)


def picture(name: str, seed: int, cache: Path | None = CACHE) -> JointPicture:
    """The picture of a name and seed, from the cache where it is there."""
    if cache is None:
        return make_joint(name, seed)
    stored = cache / f"{name}_{seed}.pickle"
    if stored.exists():
        with stored.open("rb") as stream:
            found = pickle.load(stream)
        if isinstance(found, JointPicture):
            return found
    made = make_joint(name, seed)
    cache.mkdir(parents=True, exist_ok=True)
    part = stored.with_suffix(".part")
    part.write_bytes(pickle.dumps(made))
    part.replace(stored)
    return made


def pictures(part: str, each: int, names: Sequence[str] = NAMES, cache: Path | None = CACHE) -> Iterator[JointPicture]:
    """Pictures of a part, one of each name in turn."""
    for seed in seeds(part, each):
        for name in names:
            yield picture(name, seed, cache)


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", nargs=3, type=int, default=[12, 6, 10], metavar=("FIT", "HELD_OUT", "REPORT"))
    parser.add_argument("--cache", type=Path, default=CACHE)
    chosen = parser.parse_args(arguments)
    for part, each in zip(FIRST, chosen.each, strict=True):
        count = sum(1 for _ in pictures(part, each, cache=chosen.cache))
        print(f"{part}: {count} pictures")


if __name__ == "__main__":
    main()

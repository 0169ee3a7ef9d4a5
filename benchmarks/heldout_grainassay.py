"""`grainassay look` with, for each photo, the classifier that never saw its author: for honest scores on the taught collection.

    python -m benchmarks.heldout_grainassay --make            # once: eight models in build/folds, from the committed tables
    python $PWD/benchmarks/heldout_grainassay.py look PHOTO --json ...

Called with `look`, it passes everything on to the program and adds `--model build/folds/K`. A photo of no known author
gets the packaged model. Panels that the edge net or the panel net was taught on get the numbers of nets that saw nothing of their
author.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
FOLDS = ROOT / "build" / "folds"
PHOTOS = FOLDS / "photos.json"
SUFFIXES = {".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic"}


def make() -> None:
    """Teach one model a fold and note which photo belongs to which."""
    sys.path.insert(0, str(ROOT))
    from training.teach import teach_folds

    found = teach_folds(FOLDS)
    PHOTOS.write_text(json.dumps(found), encoding="utf-8")


def model_for(photo: str) -> list[str]:
    """Options that choose the model of a photo."""
    import hashlib

    known = json.loads(PHOTOS.read_text(encoding="utf-8"))
    fold = known.get(hashlib.sha256(Path(photo).name.encode()).hexdigest()[:10])
    return [] if fold is None else ["--model", str(FOLDS / str(fold))]


def main(args: list[str]) -> int:
    """Make the models, or pass a look on."""
    if args == ["--make"]:
        make()
        return 0
    photos = [a for a in args[1:] if Path(a).suffix.lower() in SUFFIXES]
    if not args or args[0] != "look" or len(photos) != 1 or not PHOTOS.exists():
        print(__doc__, file=sys.stderr)
        return 2
    command = [sys.executable, "-m", "benchmarks.heldout_look", *args, "--verdicts-only", *model_for(photos[0])]
    return subprocess.run(command, env=_environment()).returncode


def _environment() -> dict[str, str]:
    import os

    return {**os.environ, "PYTHONPATH": str(ROOT)}


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))

"""The files of the checkout, as the house rules see them: tracked ones and new ones that git does not ignore."""

from __future__ import annotations

import subprocess
from functools import lru_cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
#: Files that are no text; anything else must be UTF-8.
BINARY = {".onnx", ".npz", ".jpg", ".jpeg", ".png", ".webp", ".tif", ".heic", ".woff2"}


@lru_cache(maxsize=1)
def files() -> tuple[Path, ...]:
    """Paths relative to the checkout's top, sorted."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"], cwd=ROOT, check=True, capture_output=True
    ).stdout.decode()
    return tuple(sorted(Path(p) for p in listed.split("\0") if p and (ROOT / p).is_file()))


def texts(*suffixes: str) -> list[tuple[Path, str]]:
    """(path, text) of every text file, or of those with one of the suffixes."""
    out = []
    for path in files():
        if suffixes and path.suffix not in suffixes:
            continue
        if path.suffix not in BINARY:
            out.append((path, (ROOT / path).read_text(encoding="utf-8")))
    return out

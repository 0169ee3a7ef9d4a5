"""What an install of the program weighs: the packages of requirements/base.lock with all that they contain, and our own.

    python -m benchmarks.install_weight          the base install inside the present environment, quick
    python -m benchmarks.install_weight --fresh  installs base.lock into a new environment and weighs all of it (slow)
    python -m benchmarks.install_weight --by-package

Weighed in the present environment, only packages of base.lock count: development tools in the same environment do not.
Megabytes are 10^6 bytes of file content.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
import venv
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from benchmarks.rows import Row, table

ROOT = Path(__file__).resolve().parents[1]
LOCK = ROOT / "requirements/base.lock"
BASE_LIMIT_MB, MODELS_LIMIT_MB = 500.0, 25.0


def folder_mb(folder: Path) -> float:
    """Megabytes of the files below a folder."""
    return sum(p.stat().st_size for p in folder.rglob("*") if p.is_file() and not p.is_symlink()) / 1e6


def package_mb(name: str) -> float:
    """Megabytes of an installed distribution, compiled Python files among them where they exist."""
    files = distribution(name).files or []
    paths = {Path(str(f.locate())) for f in files}
    return sum(p.stat().st_size for p in paths if p.is_file()) / 1e6


def by_package() -> dict[str, float]:
    """Megabytes of each package of the lock, heaviest first."""
    names = re.findall(r"^([a-z0-9][a-z0-9._-]*)==", LOCK.read_text(), re.M)
    found = {}
    for name in names:
        try:
            found[name] = package_mb(name)
        except PackageNotFoundError as err:
            raise SystemExit(f"{name} is not installed here: run make look or make test first") from err
    return dict(sorted(found.items(), key=lambda kv: -kv[1]))


def own_mb() -> float:
    """Megabytes of the program itself without its models."""
    return sum(folder_mb(ROOT / room) for room in ("vision", "service", "training")) - models_mb()


def models_mb() -> float:
    """Megabytes of the models in the package."""
    return folder_mb(ROOT / "vision/models")


def fresh_mb() -> float:
    """Megabytes of a new environment's site-packages after installing base.lock, pip and all."""
    with tempfile.TemporaryDirectory() as folder:
        venv.create(folder, with_pip=True, symlinks=True)
        python = Path(folder, "bin/python")
        command = [str(python), "-m", "pip", "install", "--quiet", "--require-hashes", "-r", str(LOCK)]
        subprocess.run(command, check=True, stdout=sys.stderr)
        return folder_mb(next(Path(folder, "lib").glob("python*/site-packages")))


def rows(*, fresh: bool = False) -> list[Row]:
    """The weights with their targets."""
    libraries = fresh_mb() if fresh else sum(by_package().values())
    return [
        Row("base install: libraries" + (" in a fresh environment, pip among them" if fresh else ""), libraries, "MB"),
        Row("base install with the program and its models", libraries + own_mb() + models_mb(), "MB", BASE_LIMIT_MB),
        Row("models in the package", models_mb(), "MB", MODELS_LIMIT_MB),
    ]


if __name__ == "__main__":
    if "--by-package" in sys.argv:
        print(table(Row(name, mb, "MB") for name, mb in by_package().items() if mb >= 1))
    else:
        print(table(rows(fresh="--fresh" in sys.argv)))

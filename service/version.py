"""Name and version of the program."""

from __future__ import annotations

from importlib import metadata


def version() -> str:
    """Installed version, '0' when run from a bare source tree."""
    try:
        return metadata.version("grainassay")
    except metadata.PackageNotFoundError:
        return "0"


NAME = "grainassay"
PROGRAM = f"{NAME} {version()}"

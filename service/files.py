"""Reading and writing the user's own files: one clear refusal that names file, cause and remedy."""

from __future__ import annotations

from pathlib import Path

from vision.errors import GrainassayError, UsageError


class CannotWrite(GrainassayError):
    """A file cannot be written."""


def text_of(path: Path, remedy: str = "Check the name and that you may read it.") -> str:
    """The text of a file.

    Raises
    ------
    UsageError
        where it cannot be read or is no text.
    """
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as err:
        raise UsageError(str(path), f"cannot be read ({getattr(err, 'strerror', None) or 'it is no text'}).", remedy) from err

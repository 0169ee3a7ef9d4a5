"""Writing results: everything is written beside its target first and renamed at the end, so that a full disk or a pulled
plug never leaves half a report, and never costs an older one."""

from __future__ import annotations

import contextlib
import errno
import os
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path

from vision.errors import GrainassayError, UsageError

#: Where results go when no folder is named: one folder for each piece below this one, in the current folder.
DEFAULT_FOLDER = "grainassay-out"

_CAUSES = {
    errno.ENOSPC: ("the disk is full.", "Make room or name another folder with --out."),
    errno.EDQUOT: ("your share of the disk is used up.", "Make room or name another folder with --out."),
    errno.EACCES: ("you may not write there.", "Name a folder of your own with --out."),
    errno.EPERM: ("you may not write there.", "Name a folder of your own with --out."),
    errno.EROFS: ("it lies on a disk that cannot be written to.", "Name another folder with --out."),
    errno.ENOTDIR: ("part of the path is a file, not a folder.", "Name a folder with --out."),
    errno.EEXIST: ("a file of that name stands in the way.", "Name another folder with --out."),
    errno.ENAMETOOLONG: ("the name is too long.", "Name a shorter folder with --out."),
}


class OutputError(GrainassayError):
    """Results could not be written."""

    exit_code = 1


def _refuse(folder: Path, err: OSError) -> OutputError:
    cause, remedy = _CAUSES.get(err.errno or 0, (f"writing failed ({err.strerror or err}).", "Name another folder with --out."))
    return OutputError(str(folder), cause, remedy)


def default_folder(first_photo: str) -> Path:
    """Folder for one piece, named after its first photo, below the current folder."""
    stem = "".join(c if c.isalnum() or c in "-_." else "-" for c in Path(first_photo).stem).strip(".-") or "piece"
    return Path(DEFAULT_FOLDER) / stem[:80]


def prepare(folder: Path) -> None:
    """Make the folder and try it out, before the long work. Raises OutputError."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as err:
        raise _refuse(folder, err) from err


@contextlib.contextmanager
def _removing_left_overs(temporaries: list[Path]) -> Iterator[None]:
    try:
        yield
    finally:
        for path in temporaries:
            with contextlib.suppress(OSError):
                path.unlink()


def write_files(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Write all files or none of them into `folder`; older ones of the same name stay until the new ones are whole.

    Returns the paths in the order given. Raises OutputError.
    """
    waiting: list[tuple[Path, Path]] = []
    temporaries: list[Path] = []
    with _removing_left_overs(temporaries):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            for name, data in files.items():
                handle, temp = tempfile.mkstemp(prefix=".part-", dir=folder)
                temporaries.append(Path(temp))
                with os.fdopen(handle, "wb") as out:
                    out.write(data)
                    out.flush()
                    os.fsync(out.fileno())
                os.chmod(temp, 0o666 & ~_umask())
                waiting.append((Path(temp), folder / name))
            for temp_path, target in waiting:
                os.replace(temp_path, target)
        except OSError as err:
            raise _refuse(folder, err) from err
    return [target for _, target in waiting]


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def write_sheet(path: Path, paper: str) -> Path:
    """Write the marker sheet as a PDF. Raises UsageError for a paper there is none of, OutputError when it cannot be written."""
    from vision.scale.sheet_pdf import PAPERS, sheet_pdf

    if paper.lower() not in PAPERS:
        raise UsageError("--paper", f"no paper is called '{paper}'.", f"Use {' or '.join(PAPERS)}.")
    target = path if path.suffix else path.with_suffix(".pdf")
    prepare(target.parent)
    return write_files(target.parent, {target.name: sheet_pdf(paper.lower())})[0]

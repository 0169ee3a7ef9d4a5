"""The folder of files: each named by the SHA-256 of its content, written so that a kill at any moment leaves all or nothing.

    store-id     which database this folder belongs to
    in-use       locked by every program that works here
    incoming/    files being written; leftovers are swept at start
    photos/      re-encoded copies, without any metadata
    originals/   bytes as they came, only where the user asked for it
    derived/     evidence pictures, small copies, reports
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
import shutil
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from service.store.errors import StoreDamaged, StoreError, disk_full, named, of_file

KINDS = ("photos", "originals", "derived")
_SHA = re.compile(r"[0-9a-f]{64}")
PUT_BACK = "Put the folder back (is a drive unplugged or the folder renamed?) and start the program again."


@dataclass(frozen=True)
class Staged:
    """A file written in full to `incoming`, not yet in its place."""

    kind: str
    sha256: str
    at: Path


class Folder:
    """The files below `root`. No name in it ever comes from a user."""

    def __init__(self, root: Path, free_bytes: int) -> None:
        self.root = root
        self._free_bytes = free_bytes

    def make(self) -> None:
        """Makes the folder and its parts where they are missing, readable by their owner alone."""
        with named(str(self.root)):
            self.root.mkdir(mode=0o700, parents=True, exist_ok=True)
            for part in ("incoming", *KINDS):
                (self.root / part).mkdir(mode=0o700, exist_ok=True)

    def complete(self) -> bool:
        """True when the folder and all its parts are there."""
        return all((self.root / part).is_dir() for part in ("incoming", *KINDS))

    def check_room(self, size: int) -> None:
        """Raises StoreFull when `size` more bytes would leave less room on the disk than must stay free."""
        self._check_there()
        with named(str(self.root)):
            free = shutil.disk_usage(self.root).free
        if free < size + self._free_bytes:
            raise disk_full(str(self.root))

    def stage(self, kind: str, data: bytes) -> Staged:
        """Writes the bytes to the disk, through to the disk itself, under a random name in `incoming`."""
        self.check_room(len(data))
        at = self.root / "incoming" / f"{secrets.token_hex(16)}.part"
        try:
            with at.open("xb") as file:
                os.fchmod(file.fileno(), 0o600)
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
        except OSError as failure:
            with suppress(OSError):
                at.unlink(missing_ok=True)
            raise self._meaning(failure) from failure
        return Staged(kind, hashlib.sha256(data).hexdigest(), at)

    def settle(self, staged: Staged) -> None:
        """Moves a staged file to its place; call it inside the write that names it, before its commit. A file of the same
        content that lies there already is replaced, which heals one that was damaged."""
        place = self._place(staged.kind, staged.sha256)
        try:
            place.parent.mkdir(mode=0o700, exist_ok=True)
            os.replace(staged.at, place)
            for folder in (place.parent, place.parent.parent):
                _sync(folder)
        except OSError as failure:
            raise self._meaning(failure) from failure

    def drop(self, *staged: Staged) -> None:
        """Removes staged files that were not settled."""
        for one in staged:
            with suppress(OSError):
                one.at.unlink(missing_ok=True)

    def read(self, kind: str, sha256: str) -> bytes:
        """The bytes, checked against their name. Raises StoreDamaged when the file is missing or not what was stored."""
        again = "Add the same photo again: it takes its old place. Or put back a backup of the folder."
        if kind != "photos":
            again = "Put back a backup of the folder, or make the file anew."
        try:
            data = self._place(kind, sha256).read_bytes()
        except FileNotFoundError:
            self._check_there()
            raise StoreDamaged("A stored file", "It is missing from the folder.", again) from None
        except OSError as failure:
            raise self._meaning(failure) from failure
        if hashlib.sha256(data).hexdigest() != sha256:
            raise StoreDamaged("A stored file", "It is damaged: its content is no longer what was stored.", again)
        return data

    def remove(self, kind: str, sha256: str) -> None:
        """Removes the file for good; no error when it is gone already."""
        place = self._place(kind, sha256)
        try:
            place.unlink(missing_ok=True)
            if place.parent.is_dir():
                _sync(place.parent)
        except OSError as failure:
            raise self._meaning(failure) from failure

    def all(self, kind: str) -> Iterator[str]:
        """Names of all files of a kind."""
        with named(str(self.root)):
            for path in (self.root / kind).glob("??/*"):
                if _SHA.fullmatch(path.name):
                    yield path.name

    def sweep_incoming(self) -> int:
        """Removes what a killed program had begun to write; only while no other program works here. Count of files."""
        with named(str(self.root)):
            left = list((self.root / "incoming").glob("*.part"))
            for path in left:
                path.unlink(missing_ok=True)
        return len(left)

    def note(self, name: str, text: str) -> None:
        """Writes a small text file at the top of the folder, all or nothing."""
        staged = self.stage("notes", text.encode())
        with named(str(self.root)):
            os.replace(staged.at, self.root / name)
            _sync(self.root)

    def noted(self, name: str) -> str | None:
        """What `note` wrote, or None."""
        try:
            return (self.root / name).read_text("utf-8").strip()
        except FileNotFoundError:
            return None
        except (OSError, UnicodeDecodeError):
            raise StoreDamaged(str(self.root / name), "The file cannot be read.", "Put back a backup of the folder.") from None

    def _place(self, kind: str, sha256: str) -> Path:
        if kind not in KINDS or not _SHA.fullmatch(sha256):
            raise ValueError(f"no place for {kind}/{sha256}")
        return self.root / kind / sha256[:2] / sha256

    def _check_there(self) -> None:
        if not self.complete():
            raise StoreDamaged(str(self.root), "The folder of photos is missing or incomplete.", PUT_BACK)

    def _meaning(self, failure: OSError) -> StoreError:
        if isinstance(failure, FileNotFoundError | NotADirectoryError):
            return StoreDamaged(str(self.root), "The folder of photos is missing or incomplete.", PUT_BACK)
        return of_file(failure, str(self.root))


def _sync(folder: Path) -> None:
    """Makes the names in a folder survive a power cut."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)

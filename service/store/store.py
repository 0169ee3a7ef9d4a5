"""The store as a whole: opening it, putting in order what a kill left behind, closing it."""

from __future__ import annotations

import fcntl
import os
from pathlib import Path
from types import TracebackType

from sqlalchemy import func, select

from service.store.answers import Answers, Corrections
from service.store.database import Database, target
from service.store.derived import Derived
from service.store.errors import StoreDamaged, StoreError, named
from service.store.folder import KINDS, PUT_BACK, Folder
from service.store.ground import Clock, Ground, utc_now
from service.store.jobs import Jobs
from service.store.ledger import Ledger, Settings
from service.store.limits import StoreLimits
from service.store.papers import Papers
from service.store.photos import Photos
from service.store.pieces import Pieces
from service.store.tables import DerivedRow, PhotoRow, SettingRow
from service.store.texts import from_text, new_id, to_text
from service.store.upgrade import upgrade

_ID = "store-id"
#: Key of the same id in the database; no setting of the service can have this name.
_ID_ROW = "_store-id"
_USED = "in-use"


class Store:
    """Everything the service keeps. Its parts may be used from many threads at once.

    Parts: `pieces`, `photos`, `derived`, `corrections`, `answers`, `jobs`, `papers`, `ledger`, `settings`. `first`: this program
    is the only one at work here; `swept`: files without a row that were removed at the start.
    """

    def __init__(
        self, folder: str | os.PathLike[str], *, database_url: str | None = None, limits: StoreLimits | None = None,
        clock: Clock = utc_now, wait_s: float = 15.0,
    ) -> None:
        """Opens or makes a store.

        `folder`: holds the photos, and the SQLite database unless `database_url` names a PostgreSQL one; `wait_s`: seconds that a
        write waits for other programs. Raises StoreError naming cause and remedy.
        """
        limits = limits or StoreLimits()
        self.folder = Folder(Path(folder).absolute(), limits.free_bytes)
        url = target(self.folder.root, database_url)
        marked = self.folder.noted(_ID) is not None
        if marked and database_url is None and not Path(str(url.database)).exists():
            cause = "The folder holds photos, but their database is gone."
            raise StoreDamaged(str(url.database), cause, "Put back the database from a backup, or choose another folder.")
        if not marked:
            self.folder.make()
        self._lock: int | None = None
        self.database = Database(url, wait_s=wait_s)
        try:
            self._open(limits, clock)
        except BaseException:
            self.close()
            raise

    def _open(self, limits: StoreLimits, clock: Clock) -> None:
        ground = Ground(self.database, self.folder, limits, clock)
        self.limits = limits
        self.pieces, self.photos, self.derived = Pieces(ground), Photos(ground), Derived(ground)
        self.answers, self.corrections, self.papers = Answers(ground), Corrections(ground), Papers(ground)
        self.jobs, self.ledger, self.settings = Jobs(ground, self.papers), Ledger(ground), Settings(ground)
        self.first = self._lock_folder()
        upgrade(self.database)
        self._belong_together(ground)
        self.swept = self._sweep() if self.first else 0
        if ground.remove_doomed():
            self.database.scrub()
        # Where the database is a file of this folder, being first here means that every running job lost its worker.
        self.jobs.put_back(everything=self.first and self.database.is_sqlite)
        self._share_folder()

    def close(self) -> None:
        """Lets go of everything; may be called twice."""
        if hasattr(self, "photos"):
            self.photos.close()
        self.database.close()
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None

    def __enter__(self) -> Store:
        """The store itself."""
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None) -> None:
        """Closes the store."""
        self.close()

    def _lock_folder(self) -> bool:
        """Takes the folder alone, or together with others that are at work; True when alone."""
        with named(str(self.folder.root)):
            self._lock = os.open(self.folder.root / _USED, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
            try:
                fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
                return True
            except BlockingIOError:
                fcntl.flock(self._lock, fcntl.LOCK_SH)
                return False

    def _share_folder(self) -> None:
        assert self._lock is not None
        with named(str(self.folder.root)):
            fcntl.flock(self._lock, fcntl.LOCK_SH)

    def _belong_together(self, ground: Ground) -> None:
        """Database and folder carry the same id: photos of another database must never be taken for leftovers."""
        noted = self.folder.noted(_ID)
        with self.database.write() as session:
            row = session.get(SettingRow, _ID_ROW)
            known = None if row is None else str(from_text(row.body, "id of the store"))
            photos = session.scalar(select(func.count()).select_from(PhotoRow)) or 0
            if known is None and (noted is not None or any(True for kind in KINDS for _ in self.folder.all(kind))):
                raise StoreError(
                    str(self.folder.root), "The folder holds photos of another database.",
                    "Name the database they belong to, or choose another folder.",
                )  # fmt: skip
            if known is None:
                known = new_id()
                session.add(SettingRow(key=_ID_ROW, body=to_text(known, 100, "id of the store"), changed=ground.clock()))
        if noted is not None and noted != known:
            cause = "The folder and the database do not belong together."
            raise StoreError(str(self.folder.root), cause, "Name the folder and the database that were used together.")
        if photos and (noted is None or not self.folder.complete()):
            cause = f"The folder of photos is missing or incomplete; the database knows {photos} photos."
            raise StoreDamaged(str(self.folder.root), cause, PUT_BACK)
        if noted is None or not self.folder.complete():
            self.folder.make()
        if noted is None:
            self.folder.note(_ID, known)

    def _sweep(self) -> int:
        """Removes files that a killed program left without a row. Count of files."""
        swept = self.folder.sweep_incoming()
        columns = {"photos": PhotoRow.kept, "originals": PhotoRow.original, "derived": DerivedRow.kept}
        with self.database.write() as session:  # files get their place inside a write, so none is under way now
            for kind, column in columns.items():
                known = set(session.scalars(select(column)))
                for sha in [sha for sha in self.folder.all(kind) if sha not in known]:
                    self.folder.remove(kind, sha)
                    swept += 1
        return swept

"""What all parts of the store stand on: the database, the folder, the limits and the clock; how a client's repeats are met."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, TypeVar

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from service.store.database import Database
from service.store.errors import not_there
from service.store.folder import Folder
from service.store.limits import StoreLimits
from service.store.tables import DerivedRow, DoomedRow, PhotoRow, PieceRow
from service.store.texts import is_id, name

Row = TypeVar("Row")
Clock = Callable[[], datetime]


def utc_now() -> datetime:
    """The time now, in UTC."""
    return datetime.now(UTC)


@dataclass(frozen=True)
class Ground:
    """Shared by the parts of one open store."""

    database: Database
    folder: Folder
    limits: StoreLimits
    clock: Clock

    def piece(self, session: Session, piece: str) -> PieceRow:
        """The piece's row; NotThere when there is none."""
        row = session.get(PieceRow, piece) if is_id(piece) else None
        if row is None:
            raise not_there("piece")
        return row

    def photo(self, session: Session, photo: str, piece: str | None = None) -> PhotoRow:
        """The photo's row; NotThere when there is none, or when it is of another piece."""
        row = session.get(PhotoRow, photo) if is_id(photo) else None
        if row is None or piece not in (None, row.piece):
            raise not_there("photo")
        return row

    def touch(self, session: Session, piece: str) -> datetime:
        """Marks the piece as changed now; NotThere when there is none. The time now."""
        now = self.clock()
        self.piece(session, piece).changed = now
        return now

    def said_before(self, session: Session, table: type[Row], piece: str | None, client_key: str | None) -> Row | None:
        """The row that the same request made when it came before (a phone that lost its signal sends again), or None."""
        if client_key is None:
            return None
        columns: Any = table
        name(client_key, "client key")
        return session.scalars(select(table).where(columns.piece == piece, columns.client_key == client_key)).first()

    def doom(self, session: Session, files: set[tuple[str, str]]) -> None:
        """Notes files (folder, SHA-256) for removal, in the same write that deletes their rows."""
        session.add_all(DoomedRow(folder=kind, sha256=sha) for kind, sha in sorted(files))

    def remove_doomed(self) -> int:
        """Removes the noted files that nothing refers to any more. Safe to repeat after a kill. Count of files removed."""
        removed = 0
        with self.database.write() as session:
            for row in session.scalars(select(DoomedRow)).all():
                if not in_use(session, row.folder, row.sha256):
                    self.folder.remove(row.folder, row.sha256)
                    removed += 1
                session.execute(delete(DoomedRow).where(DoomedRow.id == row.id))
        return removed


def in_use(session: Session, kind: str, sha256: str) -> bool:
    """True while a row still refers to the file."""
    column = {"photos": PhotoRow.kept, "originals": PhotoRow.original, "derived": DerivedRow.kept}[kind]
    return bool(session.scalar(select(func.count()).where(column == sha256)))


def files_of(session: Session, piece: str, photo: str | None = None) -> set[tuple[str, str]]:
    """(folder, SHA-256) of the files of a piece, or of one photo of it."""
    photos = select(PhotoRow.kept, PhotoRow.original).where(PhotoRow.piece == piece)
    derived = select(DerivedRow.kept).where(DerivedRow.piece == piece)
    if photo is not None:
        photos = photos.where(PhotoRow.id == photo)
        derived = derived.where(DerivedRow.photo == photo)
    files = {("derived", sha) for sha in session.scalars(derived)}
    for kept, original in session.execute(photos):
        files.add(("photos", kept))
        if original is not None:
            files.add(("originals", original))
    return files

"""Pieces: new, change, find, delete for good."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Select, delete, func, select

from service.store.errors import StoreError
from service.store.ground import Ground, files_of
from service.store.tables import PaperRow, PhotoRow, PieceRow
from service.store.texts import clean, folded, name, new_id
from service.store.types import Piece


class Pieces:
    """The pieces of a store."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground

    def create(self, title: str = "", notes: str = "", *, client_key: str | None = None) -> Piece:
        """A new piece. With the `client_key` of an earlier call, what that call made. Raises Refused for overlong texts."""
        title, notes = self._texts(title, notes)
        if client_key is not None:
            name(client_key, "client key")
        with self._ground.database.write() as session:
            before = select(PieceRow.id).where(PieceRow.client_key == client_key)
            made = session.scalar(before) if client_key is not None else None
            if made is None:
                now, made = self._ground.clock(), new_id()
                session.add(PieceRow(
                    id=made, title=title, notes=notes, search=folded(title, notes), created=now, changed=now, last_photo=0,
                    client_key=client_key,
                ))  # fmt: skip
                session.flush()
            return _piece(session.execute(_listed().where(PieceRow.id == made)).one())

    def get(self, piece: str) -> Piece:
        """Raises NotThere."""
        with self._ground.database.read() as session:
            self._ground.piece(session, piece)
            return _piece(session.execute(_listed().where(PieceRow.id == piece)).one())

    def change(self, piece: str, *, title: str | None = None, notes: str | None = None) -> Piece:
        """Gives a piece another title or other notes. Raises NotThere, Refused."""
        with self._ground.database.write() as session:
            row = self._ground.piece(session, piece)
            row.title, row.notes = self._texts(row.title if title is None else title, row.notes if notes is None else notes)
            row.search = folded(row.title, row.notes)
            self._ground.touch(session, piece)
            session.flush()
            return _piece(session.execute(_listed().where(PieceRow.id == piece)).one())

    def find(self, words: str = "", *, limit: int = 50, offset: int = 0) -> tuple[Piece, ...]:
        """Pieces whose title and notes hold every word, last changed first; case and accents do not matter."""
        query = _listed().order_by(PieceRow.changed.desc(), PieceRow.id).limit(max(0, limit)).offset(max(0, offset))
        for word in folded(clean(words, self._ground.limits.title_chars, "search")).split():
            query = query.where(PieceRow.search.contains(word, autoescape=True))
        with self._ground.database.read() as session:
            return tuple(_piece(row) for row in session.execute(query))

    def count(self) -> int:
        """How many pieces are kept."""
        with self._ground.database.read() as session:
            return int(session.scalar(select(func.count()).select_from(PieceRow)) or 0)

    def delete(self, piece: str) -> None:
        """Deletes a piece for good: rows, photos, originals, derived files. From the first moment on it is shown nowhere.

        Raises NotThere; StoreError when the rows are gone but a file could not be removed, which is tried again at the next
        start and at the next deletion.
        """
        ground = self._ground
        with ground.database.write() as session:
            ground.piece(session, piece)
            ground.doom(session, files_of(session, piece))
            session.execute(delete(PieceRow).where(PieceRow.id == piece))
        finish_deleting(ground)

    def _texts(self, title: str, notes: str) -> tuple[str, str]:
        limits = self._ground.limits
        title = " ".join(clean(title, limits.title_chars, "title").split())
        return title, clean(notes, limits.notes_chars, "notes")


def finish_deleting(ground: Ground) -> None:
    """Second half of a deletion: the files, and the traces in the database's own files."""
    try:
        ground.remove_doomed()
    except StoreError as failure:
        cause = f"It is deleted, but its files could not be removed yet. {failure.cause}"
        raise StoreError(failure.subject, cause, f"{failure.remedy} They are removed at the next start.") from failure
    ground.database.scrub()


def _listed() -> Select[Any]:
    photos = select(func.count()).where(PhotoRow.piece == PieceRow.id).scalar_subquery()
    in_order = select(PhotoRow.id).where(PhotoRow.piece == PieceRow.id).order_by(PhotoRow.number)
    cover = in_order.limit(1).scalar_subquery()
    of_piece = (PaperRow.piece == PieceRow.id, PaperRow.kind == "assessment")
    assessed = select(func.max(PaperRow.created)).where(*of_piece).scalar_subquery()
    return select(PieceRow, photos, cover, assessed)


def _piece(row: Any) -> Piece:
    piece, photos, cover, assessed = row
    return Piece(piece.id, piece.title, piece.notes, piece.created, piece.changed, int(photos), cover, assessed)

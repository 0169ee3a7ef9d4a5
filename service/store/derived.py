"""Files made from photos: evidence pictures, small copies, reports. They can always be made anew, and go with their piece."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Select, delete, select

from service.store.errors import Refused, StoreDamaged
from service.store.ground import Ground
from service.store.pieces import finish_deleting
from service.store.tables import DerivedRow
from service.store.texts import key, name, new_id
from service.store.types import DerivedFile

MEDIA_TYPES = ("image/jpeg", "image/png", "image/webp", "image/svg+xml", "text/html", "application/pdf", "application/json")


class Derived:
    """The derived files of a store."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground

    def put(self, piece: str, kind: str, key_: str, data: bytes, media_type: str, *, photo: str | None = None) -> DerivedFile:
        """Keeps a file under its kind and key, in place of an earlier one. `photo`: id of the one photo it is about.

        Raises NotThere, Refused, StoreFull.
        """
        ground = self._ground
        key(kind, "kind of file")
        name(key_, "key of file")
        if media_type not in MEDIA_TYPES or not data or len(data) > ground.limits.document_bytes:
            raise Refused("The file", "It is empty, too large or of a kind that is not kept.", "Make it smaller.")
        staged = ground.folder.stage("derived", data)
        try:
            with ground.database.write() as session:
                ground.piece(session, piece)
                if photo is not None:
                    ground.photo(session, photo, piece)
                ground.folder.settle(staged)
                row = session.scalars(_one(piece, kind, key_)).first()
                replaced = row is not None and row.kept != staged.sha256
                if row is not None and replaced:
                    ground.doom(session, {("derived", row.kept)})
                if row is None:
                    row = DerivedRow(id=new_id(), piece=piece, kind=kind, key=key_)
                    session.add(row)
                row.photo, row.kept, row.media_type, row.created = photo, staged.sha256, media_type, ground.clock()
        finally:
            ground.folder.drop(staged)
        if replaced:
            ground.remove_doomed()
        return DerivedFile(kind, key_, media_type, data)

    def get(self, piece: str, kind: str, key_: str) -> DerivedFile | None:
        """The file, or None when it was never made, or is missing or damaged: make it anew. Raises NotThere for the piece."""
        key(kind, "kind of file")
        name(key_, "key of file")
        with self._ground.database.read() as session:
            self._ground.piece(session, piece)
            row = session.scalars(_one(piece, kind, key_)).first()
            if row is None:
                return None
            kept, media_type = row.kept, row.media_type
        try:
            return DerivedFile(kind, key_, media_type, self._ground.folder.read("derived", kept))
        except StoreDamaged as failure:
            if failure.subject != "A stored file":
                raise
            return None

    def forget(self, piece: str, kind: str) -> None:
        """Removes all files of a kind of a piece, for example when a correction made them stale. Raises NotThere."""
        with self._ground.database.write() as session:
            self._ground.piece(session, piece)
            mine = (DerivedRow.piece == piece, DerivedRow.kind == kind)
            self._ground.doom(session, {("derived", sha) for sha in session.scalars(select(DerivedRow.kept).where(*mine))})
            session.execute(delete(DerivedRow).where(*mine))
        finish_deleting(self._ground)


def _one(piece: str, kind: str, key_: str) -> Select[Any]:
    return select(DerivedRow).where(DerivedRow.piece == piece, DerivedRow.kind == kind, DerivedRow.key == key_)

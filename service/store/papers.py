"""Documents worked out for a piece, kept as the text they were written in: assessments, plans and the like."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.store.errors import not_there
from service.store.ground import Ground
from service.store.tables import PaperRow
from service.store.texts import clean, document, from_text, is_id, key, new_id
from service.store.types import StoredPaper


class Papers:
    """The documents of a store. Old ones stay as they were, with the schema and the model that made them."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground

    def add(self, piece: str, kind: str, text: str) -> StoredPaper:
        """Keeps a document (`kind`: "assessment", "plan" ...; `text`: a JSON object). Raises NotThere, Refused."""
        with self._ground.database.write() as session:
            self._ground.touch(session, piece)
            return self.write(session, piece, kind, text)

    def write(self, session: Session, piece: str, kind: str, text: str) -> StoredPaper:
        """As `add`, inside a write that does more."""
        key(kind, "kind of document")
        content = document(text, self._ground.limits.document_bytes, "document")
        row = PaperRow(
            id=new_id(), piece=piece, kind=kind, schema=_label(content.get("schema")), model=_model(content), text=text,
            created=self._ground.clock(),
        )  # fmt: skip
        session.add(row)
        session.flush()
        return _paper(row, text)

    def get(self, paper: str) -> StoredPaper:
        """The document with its text. Raises NotThere."""
        with self._ground.database.read() as session:
            row = session.scalars(select(PaperRow).where(PaperRow.id == paper)).first() if is_id(paper) else None
            if row is None:
                raise not_there("document")
            return _paper(row, row.text)

    def latest(self, piece: str, kind: str) -> StoredPaper | None:
        """The newest document of a kind with its text, or None. Raises NotThere for the piece."""
        key(kind, "kind of document")
        with self._ground.database.read() as session:
            self._ground.piece(session, piece)
            mine = select(PaperRow).where(PaperRow.piece == piece, PaperRow.kind == kind)
            row = session.scalars(mine.order_by(PaperRow.number.desc()).limit(1)).first()
            return None if row is None else _paper(row, row.text)

    def of_piece(self, piece: str, kind: str) -> tuple[StoredPaper, ...]:
        """All documents of a kind, newest first, without their texts. Raises NotThere."""
        key(kind, "kind of document")
        with self._ground.database.read() as session:
            self._ground.piece(session, piece)
            mine = select(PaperRow).where(PaperRow.piece == piece, PaperRow.kind == kind)
            return tuple(_paper(row, "") for row in session.scalars(mine.order_by(PaperRow.number.desc())))

    @staticmethod
    def content(paper: StoredPaper) -> dict[str, Any]:
        """The document read. Raises StoreDamaged when the stored text is no JSON any more."""
        read: dict[str, Any] = from_text(paper.text, paper.kind)
        return read


def _label(value: object) -> str:
    return clean(value, 120, "document") if isinstance(value, str) else ""


def _model(content: dict[str, Any]) -> str:
    model = content.get("model")
    return _label(model.get("id") if isinstance(model, dict) else model)


def _paper(row: PaperRow, text: str) -> StoredPaper:
    return StoredPaper(row.id, row.piece, row.kind, row.schema, row.model, row.created, text)

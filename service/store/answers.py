"""What the user says: answers to hand checks and questions, and corrections of what the program found."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import delete, select

from service.store.errors import not_there
from service.store.ground import Ground
from service.store.tables import AnswerRow, CorrectionRow
from service.store.texts import from_text, is_id, key, name, new_id, to_text
from service.store.types import Answer, Correction


class Answers:
    """The answers of a store. None is ever overwritten: a later one counts, the earlier ones stay as history."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground

    def give(
        self, piece: str, sort: str, question: str, body: Any, *, subject: str = "", said: datetime | None = None,
        client_key: str | None = None,
    ) -> Answer:
        """Keeps an answer (`body`: plain JSON; None takes the answer back).

        `sort`: the questionnaire ("hand", "gate" ...); `subject`: part or panel, '' for the piece; `said`: when the user said it,
        for answers given without a signal (never later than now); `client_key`: the same request sent again changes nothing.
        Raises NotThere, Refused.
        """
        key(sort, "questionnaire")
        name(question, "question")
        name(subject, "subject")
        text = to_text(body, self._ground.limits.json_bytes, "answer")
        with self._ground.database.write() as session:
            now = self._ground.touch(session, piece)
            row = self._ground.said_before(session, AnswerRow, piece, client_key)
            if row is None:
                row = AnswerRow(
                    id=new_id(), piece=piece, sort=sort, subject=subject, question=question, body=text, created=now,
                    said=now if said is None else min(said, now), client_key=client_key,
                )  # fmt: skip
                session.add(row)
                session.flush()
            return _answer(row)

    def latest(self, piece: str, sort: str | None = None) -> tuple[Answer, ...]:
        """The answers that count, in order: of each question the one said last, without those taken back. Raises NotThere."""
        newest: dict[tuple[str, str, str], Answer] = {}
        for answer in self.history(piece, sort):
            asked = (answer.sort, answer.subject, answer.question)
            newest.pop(asked, None)  # so that the order is that of the answers that count
            newest[asked] = answer
        return tuple(answer for answer in newest.values() if answer.body is not None)

    def history(self, piece: str, sort: str | None = None) -> tuple[Answer, ...]:
        """Every answer ever given, in the order in which they were said. Raises NotThere."""
        if sort is not None:
            key(sort, "questionnaire")
        query = select(AnswerRow).where(AnswerRow.piece == piece).order_by(AnswerRow.said, AnswerRow.number)
        with self._ground.database.read() as session:
            self._ground.piece(session, piece)
            return tuple(_answer(r) for r in session.scalars(query if sort is None else query.where(AnswerRow.sort == sort)))


class Corrections:
    """Outlines and other corrections of a store."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground

    def add(
        self, piece: str, kind: str, body: Any, *, photo: str | None = None, client_key: str | None = None
    ) -> Correction:
        """Keeps a correction (`kind`: "outline", "merge", "known" ...; `body`: plain JSON). Raises NotThere, Refused."""
        key(kind, "kind of correction")
        text = to_text(body, self._ground.limits.json_bytes, "correction")
        with self._ground.database.write() as session:
            now = self._ground.touch(session, piece)
            row = self._ground.said_before(session, CorrectionRow, piece, client_key)
            if row is None:
                if photo is not None:
                    self._ground.photo(session, photo, piece)
                row = CorrectionRow(
                    id=new_id(), piece=piece, photo=photo, kind=kind, body=text, created=now, client_key=client_key
                )
                session.add(row)
                session.flush()
            return _correction(row)

    def of_piece(self, piece: str, *, photo: str | None = None) -> tuple[Correction, ...]:
        """Corrections in the order they were made, of the piece or of one photo. Raises NotThere."""
        query = select(CorrectionRow).where(CorrectionRow.piece == piece).order_by(CorrectionRow.number)
        with self._ground.database.read() as session:
            self._ground.piece(session, piece)
            rows = session.scalars(query if photo is None else query.where(CorrectionRow.photo == photo))
            return tuple(_correction(row) for row in rows)

    def remove(self, piece: str, correction: str) -> None:
        """Takes a correction back. Raises NotThere."""
        with self._ground.database.write() as session:
            self._ground.touch(session, piece)
            mine = (CorrectionRow.piece == piece, CorrectionRow.id == correction)
            if not is_id(correction) or session.scalar(select(CorrectionRow.id).where(*mine)) is None:
                raise not_there("correction")
            session.execute(delete(CorrectionRow).where(*mine))


def _answer(row: AnswerRow) -> Answer:
    body = from_text(row.body, "answer")
    return Answer(row.id, row.piece, row.sort, row.subject, row.question, body, row.said, row.created)


def _correction(row: CorrectionRow) -> Correction:
    return Correction(row.id, row.piece, row.photo, row.kind, from_text(row.body, "correction"), row.created)

"""The ledger, to which lines are only ever added, and the settings."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select

from service.store.ground import Ground
from service.store.tables import LedgerRow, SettingRow
from service.store.texts import from_text, key, new_id, to_text
from service.store.types import LedgerEvent


class Ledger:
    """The ledger of a store. A mistake is put right by a further line; a line goes only when its piece is deleted for good."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground

    def add(self, piece: str | None, kind: str, body: Any, *, client_key: str | None = None) -> LedgerEvent:
        """Adds a line (`kind`: "bought", "sold" ...; `body`: plain JSON; `piece` None for what belongs to no piece).

        With the `client_key` of an earlier call, the line that call made. Raises NotThere, Refused.
        """
        key(kind, "kind of ledger line")
        text = to_text(body, self._ground.limits.json_bytes, "ledger line")
        with self._ground.database.write() as session:
            now = self._ground.clock() if piece is None else self._ground.touch(session, piece)
            row = self._ground.said_before(session, LedgerRow, piece, client_key)
            if row is None:
                row = LedgerRow(id=new_id(), piece=piece, kind=kind, body=text, created=now, client_key=client_key)
                session.add(row)
                session.flush()
            return _event(row)

    def lines(self, piece: str | None = None, *, after: int = 0, limit: int = 1000) -> tuple[LedgerEvent, ...]:
        """Lines in order, of one piece or of all; `after`: only those with a greater number. Raises NotThere."""
        query = select(LedgerRow).where(LedgerRow.number > after).order_by(LedgerRow.number).limit(max(0, limit))
        with self._ground.database.read() as session:
            if piece is not None:
                self._ground.piece(session, piece)
                query = query.where(LedgerRow.piece == piece)
            return tuple(_event(row) for row in session.scalars(query))


class Settings:
    """The settings of a store: plain JSON by key."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground

    def get(self, key_: str, default: Any = None) -> Any:
        """The setting, or `default`."""
        with self._ground.database.read() as session:
            row = session.get(SettingRow, key_)
            return default if row is None else from_text(row.body, "setting")

    def put(self, key_: str, value: Any) -> None:
        """Keeps a setting; None removes it. Raises Refused."""
        key(key_, "setting")
        text = to_text(value, self._ground.limits.json_bytes, "setting")
        with self._ground.database.write() as session:
            row = session.get(SettingRow, key_)
            if value is None:
                if row is not None:
                    session.delete(row)
                return
            if row is None:
                row = SettingRow(key=key_)
                session.add(row)
            row.body, row.changed = text, self._ground.clock()


def _event(row: LedgerRow) -> LedgerEvent:
    return LedgerEvent(row.number, row.id, row.piece, row.kind, from_text(row.body, "ledger line"), row.created)

"""The first tables, and the guard that keeps the ledger append-only."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

from service.store.tables import UtcTime

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

COUNTED = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
ID, SHA, KEY, NAME = sa.String(22), sa.String(64), sa.String(40), sa.String(120)


def _column(name: str, kind: Any, nullable: bool = False) -> sa.Column[Any]:
    return sa.Column(name, kind, nullable=nullable)


def _piece(table: str, nullable: bool = False) -> list[Any]:
    key = sa.ForeignKeyConstraint(["piece"], ["pieces.id"], name=f"fk_{table}_piece", ondelete="CASCADE")
    return [_column("piece", ID, nullable), key]


def _photo(table: str) -> list[Any]:
    key = sa.ForeignKeyConstraint(["photo"], ["photos.id"], name=f"fk_{table}_photo", ondelete="CASCADE")
    return [_column("photo", ID, nullable=True), key]


def _counted(table: str, client_key: bool = True) -> list[Any]:
    columns: list[Any] = [
        sa.Column("number", COUNTED, autoincrement=True, nullable=False), _column("id", ID), _column("created", UtcTime()),
        sa.PrimaryKeyConstraint("number", name=f"pk_{table}"), sa.UniqueConstraint("id", name=f"uq_{table}_id"),
    ]
    if client_key:
        columns.append(_column("client_key", NAME, nullable=True))
        columns.append(sa.UniqueConstraint("piece", "client_key", name=f"uq_{table}_piece_client_key"))
    return columns


def _index(table: str, *columns: str) -> None:
    op.create_index(f"ix_{table}_{'_'.join(columns)}", table, list(columns))


def upgrade() -> None:
    """Makes all tables."""
    text, moment = sa.Text(), UtcTime()
    op.create_table(
        "pieces", _column("id", ID), _column("title", text), _column("notes", text), _column("search", text),
        _column("created", moment), _column("changed", moment), _column("last_photo", sa.Integer()),
        _column("client_key", NAME, nullable=True), sa.PrimaryKeyConstraint("id", name="pk_pieces"),
        sa.UniqueConstraint("client_key", name="uq_pieces_client_key"),
    )
    op.create_table(
        "photos", _column("id", ID), *_piece("photos"), _column("number", sa.Integer()), _column("sha256", SHA),
        _column("kept", SHA), _column("original", SHA, nullable=True), _column("width", sa.Integer()),
        _column("height", sa.Integer()), _column("bytes", sa.BigInteger()), _column("jpeg_quality", sa.Integer(), nullable=True),
        _column("mm_per_px", sa.Float(), nullable=True), _column("created", moment),
        sa.PrimaryKeyConstraint("id", name="pk_photos"),
        sa.UniqueConstraint("piece", "sha256", name="uq_photos_piece_sha256"),
        sa.UniqueConstraint("piece", "number", name="uq_photos_piece_number"),
    )
    op.create_table(
        "derived", _column("id", ID), *_piece("derived"), *_photo("derived"), _column("kind", KEY), _column("key", NAME),
        _column("kept", SHA), _column("media_type", KEY), _column("created", moment),
        sa.PrimaryKeyConstraint("id", name="pk_derived"),
        sa.UniqueConstraint("piece", "kind", "key", name="uq_derived_piece_kind_key"),
    )
    op.create_table(
        "doomed", sa.Column("id", COUNTED, autoincrement=True, nullable=False), _column("folder", KEY), _column("sha256", SHA),
        sa.PrimaryKeyConstraint("id", name="pk_doomed"),
    )
    op.create_table(
        "corrections", *_counted("corrections"), *_piece("corrections"), *_photo("corrections"), _column("kind", KEY),
        _column("body", text),
    )
    op.create_table(
        "answers", *_counted("answers"), *_piece("answers"), _column("sort", KEY), _column("subject", NAME),
        _column("question", NAME), _column("body", text), _column("said", moment),
    )
    op.create_table(
        "jobs", *_counted("jobs"), *_piece("jobs"), _column("kind", KEY), _column("request", text), _column("state", KEY),
        _column("stage", text), _column("progress", sa.Float()), _column("attempts", sa.Integer()),
        _column("max_attempts", sa.Integer()), _column("worker", NAME, nullable=True), _column("lease", moment, nullable=True),
        _column("cancel_asked", sa.Boolean()), _column("cause", text), _column("remedy", text),
        _column("assessment", ID, nullable=True), _column("changed", moment),
    )
    op.create_table(
        "papers", *_counted("papers", client_key=False), *_piece("papers"), _column("kind", KEY), _column("schema", NAME),
        _column("model", NAME), _column("text", text),
    )
    op.create_table(
        "ledger", *_counted("ledger"), *_piece("ledger", nullable=True), _column("kind", KEY), _column("body", text),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "settings", _column("key", KEY), _column("body", text), _column("changed", moment),
        sa.PrimaryKeyConstraint("key", name="pk_settings"),
    )
    for table in ("photos", "derived", "corrections", "jobs", "ledger"):
        _index(table, "piece")
    for table in ("derived", "corrections"):
        _index(table, "photo")
    for table, columns in {
        "pieces": ["changed"], "photos": ["kept"], "derived": ["kept"], "jobs": ["state", "number"],
        "answers": ["piece", "sort", "subject", "question"], "papers": ["piece", "kind", "number"],
    }.items():
        _index(table, *columns)
    _index("photos", "original")
    _guard_ledger()


def _guard_ledger() -> None:
    """A line is never changed, and goes only when its piece is gone (deleting a piece deletes its lines after it)."""
    said = "ledger lines are only ever added"
    if op.get_bind().dialect.name == "sqlite":
        op.execute(f"CREATE TRIGGER ledger_unchanged BEFORE UPDATE ON ledger BEGIN SELECT RAISE(ABORT, '{said}'); END")
        op.execute(
            "CREATE TRIGGER ledger_kept BEFORE DELETE ON ledger"
            " WHEN OLD.piece IS NULL OR EXISTS (SELECT 1 FROM pieces WHERE id = OLD.piece)"
            f" BEGIN SELECT RAISE(ABORT, '{said}'); END"
        )
        return
    op.execute(
        "CREATE FUNCTION ledger_guard() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN"
        " IF TG_OP = 'DELETE' AND OLD.piece IS NOT NULL AND NOT EXISTS (SELECT 1 FROM pieces WHERE id = OLD.piece) THEN"
        f" RETURN OLD; END IF; RAISE EXCEPTION '{said}'; END $$"
    )
    op.execute(
        "CREATE TRIGGER ledger_guard BEFORE UPDATE OR DELETE ON ledger FOR EACH ROW EXECUTE FUNCTION ledger_guard()"
    )

"""The tables, as typed classes. The migrations make them; a test holds the two together."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    BigInteger,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s", "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s", "pk": "pk_%(table_name)s",
}
Id = String(22)
Sha = String(64)
Key = String(40)
Name = String(120)
#: Counts itself up; SQLite counts only in columns of its own integer type.
Number = BigInteger().with_variant(Integer, "sqlite")


class UtcTime(TypeDecorator[datetime]):
    """Aware UTC datetimes; SQLite, which knows no zones, keeps them as plain UTC."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> Any:
        """To the database."""
        if value is None:
            return None
        value = value.astimezone(UTC)
        return value.replace(tzinfo=None) if dialect.name == "sqlite" else value

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        """From the database."""
        if value is None:
            return None
        aware: datetime = value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
        return aware


class Base(DeclarativeBase):
    """Base of all tables."""

    metadata = MetaData(naming_convention=NAMES)


def _piece() -> Any:
    return mapped_column(Id, ForeignKey("pieces.id", ondelete="CASCADE"), index=True)


class PieceRow(Base):
    """Pieces. `search`: title and notes with case and accents folded away."""

    __tablename__ = "pieces"
    id: Mapped[str] = mapped_column(Id, primary_key=True)
    title: Mapped[str] = mapped_column(Text)
    notes: Mapped[str] = mapped_column(Text)
    search: Mapped[str] = mapped_column(Text)
    created: Mapped[datetime] = mapped_column(UtcTime)
    changed: Mapped[datetime] = mapped_column(UtcTime, index=True)
    last_photo: Mapped[int] = mapped_column(Integer)
    client_key: Mapped[str | None] = mapped_column(Name, unique=True)


class PhotoRow(Base):
    """Photos; `kept`: SHA-256 of the copy in the photos folder, its name there; `original`: the same for the bytes that came."""

    __tablename__ = "photos"
    __table_args__ = (UniqueConstraint("piece", "sha256"), UniqueConstraint("piece", "number"))
    id: Mapped[str] = mapped_column(Id, primary_key=True)
    piece: Mapped[str] = _piece()
    number: Mapped[int] = mapped_column(Integer)
    sha256: Mapped[str] = mapped_column(Sha)
    kept: Mapped[str] = mapped_column(Sha, index=True)
    original: Mapped[str | None] = mapped_column(Sha, index=True)
    width: Mapped[int] = mapped_column(Integer)
    height: Mapped[int] = mapped_column(Integer)
    bytes: Mapped[int] = mapped_column(BigInteger)
    jpeg_quality: Mapped[int | None] = mapped_column(Integer)
    mm_per_px: Mapped[float | None] = mapped_column(Float)
    created: Mapped[datetime] = mapped_column(UtcTime)


class DerivedRow(Base):
    """Files made from photos; `photo` where a file is about one photo alone."""

    __tablename__ = "derived"
    __table_args__ = (UniqueConstraint("piece", "kind", "key"),)
    id: Mapped[str] = mapped_column(Id, primary_key=True)
    piece: Mapped[str] = _piece()
    photo: Mapped[str | None] = mapped_column(Id, ForeignKey("photos.id", ondelete="CASCADE"), index=True)
    kind: Mapped[str] = mapped_column(Key)
    key: Mapped[str] = mapped_column(Name)
    kept: Mapped[str] = mapped_column(Sha, index=True)
    media_type: Mapped[str] = mapped_column(Key)
    created: Mapped[datetime] = mapped_column(UtcTime)


class DoomedRow(Base):
    """Files whose rows are gone and which must still be removed from the folder."""

    __tablename__ = "doomed"
    id: Mapped[int] = mapped_column(Number, primary_key=True, autoincrement=True)
    folder: Mapped[str] = mapped_column(Key)
    sha256: Mapped[str] = mapped_column(Sha)


class CorrectionRow(Base):
    """Outlines and other corrections, in order of `number`."""

    __tablename__ = "corrections"
    __table_args__ = (UniqueConstraint("piece", "client_key"),)
    number: Mapped[int] = mapped_column(Number, primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(Id, unique=True)
    piece: Mapped[str] = _piece()
    photo: Mapped[str | None] = mapped_column(Id, ForeignKey("photos.id", ondelete="CASCADE"), index=True)
    kind: Mapped[str] = mapped_column(Key)
    body: Mapped[str] = mapped_column(Text)
    created: Mapped[datetime] = mapped_column(UtcTime)
    client_key: Mapped[str | None] = mapped_column(Name)


class AnswerRow(Base):
    """Answers; every one is kept, the newest of a question counts."""

    __tablename__ = "answers"
    __table_args__ = (UniqueConstraint("piece", "client_key"), Index(None, "piece", "sort", "subject", "question"))
    number: Mapped[int] = mapped_column(Number, primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(Id, unique=True)
    piece: Mapped[str] = mapped_column(Id, ForeignKey("pieces.id", ondelete="CASCADE"))
    sort: Mapped[str] = mapped_column(Key)
    subject: Mapped[str] = mapped_column(Name)
    question: Mapped[str] = mapped_column(Name)
    body: Mapped[str] = mapped_column(Text)
    said: Mapped[datetime] = mapped_column(UtcTime)
    created: Mapped[datetime] = mapped_column(UtcTime)
    client_key: Mapped[str | None] = mapped_column(Name)


class JobRow(Base):
    """Jobs. `worker` holds the job until `lease`; a job whose lease ran out is anybody's."""

    __tablename__ = "jobs"
    __table_args__ = (UniqueConstraint("piece", "client_key"), Index(None, "state", "number"))
    number: Mapped[int] = mapped_column(Number, primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(Id, unique=True)
    piece: Mapped[str] = _piece()
    kind: Mapped[str] = mapped_column(Key)
    request: Mapped[str] = mapped_column(Text)
    state: Mapped[str] = mapped_column(Key)
    stage: Mapped[str] = mapped_column(Text)
    progress: Mapped[float] = mapped_column(Float)
    attempts: Mapped[int] = mapped_column(Integer)
    max_attempts: Mapped[int] = mapped_column(Integer)
    worker: Mapped[str | None] = mapped_column(Name)
    lease: Mapped[datetime | None] = mapped_column(UtcTime)
    cancel_asked: Mapped[bool]
    cause: Mapped[str] = mapped_column(Text)
    remedy: Mapped[str] = mapped_column(Text)
    assessment: Mapped[str | None] = mapped_column(Id)
    created: Mapped[datetime] = mapped_column(UtcTime)
    changed: Mapped[datetime] = mapped_column(UtcTime)
    client_key: Mapped[str | None] = mapped_column(Name)


class PaperRow(Base):
    """Documents as stored text: assessments, plans and whatever else is worked out for a piece."""

    __tablename__ = "papers"
    __table_args__ = (Index(None, "piece", "kind", "number"),)
    number: Mapped[int] = mapped_column(Number, primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(Id, unique=True)
    piece: Mapped[str] = mapped_column(Id, ForeignKey("pieces.id", ondelete="CASCADE"))
    kind: Mapped[str] = mapped_column(Key)
    schema: Mapped[str] = mapped_column(Name)
    model: Mapped[str] = mapped_column(Name)
    text: Mapped[str] = mapped_column(Text, deferred=True)
    created: Mapped[datetime] = mapped_column(UtcTime)


class LedgerRow(Base):
    """The ledger. The database itself refuses changes and lets a line go only together with its piece."""

    __tablename__ = "ledger"
    __table_args__ = (UniqueConstraint("piece", "client_key"), {"sqlite_autoincrement": True})
    number: Mapped[int] = mapped_column(Number, primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(Id, unique=True)
    piece: Mapped[str | None] = _piece()
    kind: Mapped[str] = mapped_column(Key)
    body: Mapped[str] = mapped_column(Text)
    created: Mapped[datetime] = mapped_column(UtcTime)
    client_key: Mapped[str | None] = mapped_column(Name)


class SettingRow(Base):
    """Settings and what the store knows about itself."""

    __tablename__ = "settings"
    key: Mapped[str] = mapped_column(Key, primary_key=True)
    body: Mapped[str] = mapped_column(Text)
    changed: Mapped[datetime] = mapped_column(UtcTime)

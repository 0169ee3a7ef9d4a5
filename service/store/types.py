"""What the store hands out: frozen, checked values that stay true after the database is closed.

Times are aware datetimes in UTC. Ids are random (see texts.new_id). JSON travels as plain values; documents as stored text.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from types import MappingProxyType
from typing import Any

JOB_STATES: Mapping[str, str] = MappingProxyType({
    "queued": "waiting to be worked on", "running": "being worked on", "done": "finished", "failed": "given up",
    "cancelled": "stopped by the user",
})
#: States a job never leaves.
ENDED = ("done", "failed", "cancelled")


def _utc(*times: datetime | None) -> None:
    if any(t is not None and t.utcoffset() != timedelta(0) for t in times):
        raise ValueError(f"times are in UTC, got {times}")


@dataclass(frozen=True)
class Piece:
    """One piece of furniture. `changed`: when anything of it was last added; `cover`: id of its first photo; `assessed`: when
    its newest assessment was made."""

    id: str
    title: str
    notes: str
    created: datetime
    changed: datetime
    photo_count: int = 0
    cover: str | None = None
    assessed: datetime | None = None

    def __post_init__(self) -> None:
        _utc(self.created, self.changed, self.assessed)


@dataclass(frozen=True)
class StoredPhoto:
    """One photo of a piece. `number`: 1, 2, ... in order of arrival, never used twice; `sha256`: of the bytes that came in;
    `width`, `height`: pixels, upright; `bytes`: size of the kept copy; `jpeg_quality`: of what came in, None when it was no JPEG;
    `mm_per_px`: scale the user gave; `original_kept`: the bytes that came in are kept too (they may hold place and time)."""

    id: str
    piece: str
    number: int
    sha256: str
    width: int
    height: int
    bytes: int
    created: datetime
    jpeg_quality: int | None = None
    mm_per_px: float | None = None
    original_kept: bool = False

    def __post_init__(self) -> None:
        _utc(self.created)
        if min(self.width, self.height, self.number, self.bytes) < 1:
            raise ValueError(f"a photo has pixels, bytes and a number: {self}")


@dataclass(frozen=True)
class DerivedFile:
    """A file made from photos (evidence picture, small copy, report)."""

    kind: str
    key: str
    media_type: str
    data: bytes


@dataclass(frozen=True)
class Correction:
    """What the user put right: an outline, a merge, a known material ... `photo`: id, None when it is about the piece."""

    id: str
    piece: str
    photo: str | None
    kind: str
    body: Any
    created: datetime

    def __post_init__(self) -> None:
        _utc(self.created)


@dataclass(frozen=True)
class Answer:
    """One answer. `sort`: which questionnaire ("hand", "gate" ...); `subject`: part or panel, '' for the whole piece; `question`:
    its key; `body`: plain JSON, None when taken back; `said`: when the user said it; `created`: when it arrived."""

    id: str
    piece: str
    sort: str
    subject: str
    question: str
    body: Any
    said: datetime
    created: datetime

    def __post_init__(self) -> None:
        _utc(self.said, self.created)


@dataclass(frozen=True)
class Job:
    """A piece of work. `progress`: share done, 0..1; `attempts`: times begun; `cancel_asked`: stops at the worker's next sign of
    life; `cause`, `remedy`: why it failed; `assessment`: id of what it made."""

    id: str
    piece: str
    kind: str
    request: Any
    state: str
    stage: str
    progress: float
    attempts: int
    created: datetime
    changed: datetime
    cancel_asked: bool = False
    cause: str = ""
    remedy: str = ""
    assessment: str | None = None

    def __post_init__(self) -> None:
        _utc(self.created, self.changed)
        if self.state not in JOB_STATES or not 0 <= self.progress <= 1:
            raise ValueError(f"no such job: {self}")
        if self.state == "failed" and not (self.cause and self.remedy):
            raise ValueError("a failed job says why")

    @property
    def ended(self) -> bool:
        """True when nothing more will happen to it."""
        return self.state in ENDED


@dataclass(frozen=True)
class StoredPaper:
    """A kept document. `kind`: "assessment", "plan" ...; `schema`: the version it is written in; `model`: id of the model that
    judged, '' where none did; `text`: exactly as stored, '' in lists."""

    id: str
    piece: str
    kind: str
    schema: str
    model: str
    created: datetime
    text: str = ""

    def __post_init__(self) -> None:
        _utc(self.created)


@dataclass(frozen=True)
class LedgerEvent:
    """One line of the ledger; lines are only ever added. `number` grows; `piece` is None for what belongs to no piece."""

    number: int
    id: str
    piece: str | None
    kind: str
    body: Any
    created: datetime

    def __post_init__(self) -> None:
        _utc(self.created)

"""What the API takes and gives, described for OpenAPI. Times are UTC; points are [x, y] in pixels of the upright photo."""

from __future__ import annotations

from datetime import UTC, datetime
from enum import StrEnum
from typing import Annotated, Any, Literal

from fastapi import Path
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from service.store.types import Correction, Job, Piece, StoredPhoto
from service.web.assessing import photo_key

Id = Annotated[str, Path(description="Random id.", examples=["Zb1k3vXyQ0mT5nUe7rLw2A"])]
ClientKey = Annotated[str | None, Field(max_length=120, description="Of the sender's making: the same request sent again with it "
                                        "changes nothing.")]
XY = Annotated[list[Annotated[float, Field(allow_inf_nan=False, ge=-1e6, le=1e6)]], Field(min_length=2, max_length=2)]
PartKey = Annotated[str, Field(min_length=1, max_length=120, description="Id of a part or panel.")]


class In(BaseModel):
    """What comes in: unknown keys are refused, so that a slip of the pen is told."""

    model_config = ConfigDict(extra="forbid")


class NewPiece(In):
    """A piece of furniture to begin."""

    title: str = Field("", max_length=200)
    notes: str = Field("", max_length=20_000)
    client_key: ClientKey = None


class ChangedPiece(In):
    """Another title or other notes; what is left out stays."""

    title: str | None = Field(None, max_length=200)
    notes: str | None = Field(None, max_length=20_000)


class PieceOut(BaseModel):
    """A piece. `assessed`: when its newest assessment was made."""

    id: str
    title: str
    notes: str
    created: datetime
    changed: datetime
    photo_count: int
    cover: str | None = Field(description="Id of its first photo.")
    assessed: datetime | None

    @classmethod
    def of(cls, p: Piece) -> PieceOut:
        """From the store."""
        return cls(id=p.id, title=p.title, notes=p.notes, created=p.created, changed=p.changed, photo_count=p.photo_count,
                   cover=p.cover, assessed=p.assessed)  # fmt: skip


class PieceList(BaseModel):
    """Pieces, last changed first; `count`: of all that are kept."""

    pieces: list[PieceOut]
    count: int


class PhotoOut(BaseModel):
    """A photo. `key`: its id in documents; `sha256`: of the bytes that came in."""

    id: str
    piece: str
    key: str
    number: int
    width: int
    height: int
    bytes: int
    created: datetime
    sha256: str
    mm_per_px: float | None
    picture: str = Field(description="Where the kept copy is: without place, date and camera.")
    evidence: str = Field(description="Where its picture with evidence is, once assessed.")

    @classmethod
    def of(cls, p: StoredPhoto) -> PhotoOut:
        """From the store."""
        at = f"/api/v1/pieces/{p.piece}/photos/{p.id}"
        return cls(id=p.id, piece=p.piece, key=photo_key(p), number=p.number, width=p.width, height=p.height, bytes=p.bytes,
                   created=p.created, sha256=p.sha256, mm_per_px=p.mm_per_px, picture=f"{at}/picture", evidence=f"{at}/evidence")


class PhotoList(BaseModel):
    """Photos in order of arrival."""

    photos: list[PhotoOut]


class Scale(In):
    """Millimetres that a pixel is wide, as the user knows it; null takes it back."""

    mm_per_px: float | None = Field(gt=0, le=1e4, allow_inf_nan=False)


class NewAssessment(In):
    """What is asked of an assessment."""

    details: bool = Field(True, description="Also look for joints, fittings and damage.")
    prior: Literal["reference", "even"] | None = Field(None, description="Base rates to start from.")
    scale: Literal["none", "auto", "card", "sheet"] = Field("none", description="What of known size lies on the surface.")
    client_key: ClientKey = None


class State(StrEnum):
    """State of a job; the last three are never left."""

    QUEUED = "queued"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
    CANCELLED = "cancelled"


class JobOut(BaseModel):
    """A job. `stage`: what is being done, in plain words; `progress`: share done; `ahead`: jobs waiting before it."""

    id: str
    piece: str
    state: State
    stage: str
    progress: float
    attempts: int
    ahead: int = 0
    created: datetime
    changed: datetime
    cancel_asked: bool
    cause: str = Field(description="Why it failed.")
    remedy: str = Field(description="What to do about it.")
    assessment: str | None = Field(description="Id of the document it made.")

    @classmethod
    def of(cls, j: Job, ahead: int = 0) -> JobOut:
        """From the store."""
        return cls(id=j.id, piece=j.piece, state=State(j.state), stage=j.stage, progress=j.progress, attempts=j.attempts,
                   ahead=ahead, created=j.created, changed=j.changed, cancel_asked=j.cancel_asked, cause=j.cause,
                   remedy=j.remedy, assessment=j.assessment)  # fmt: skip


class JobList(BaseModel):
    """Jobs of a piece, newest first."""

    jobs: list[JobOut]


class NewCorrection(In):
    """Something put right on a photo. Which of `panel`, `panels`, `points`, `line`, `role` it needs depends on `do`; "again" has
    the program find the panels of the photo itself once more."""

    photo: str = Field(max_length=64, description="Id of the photo in the store.")
    do: Literal["outline", "split", "merge", "remove", "name", "again"]
    panel: PartKey | None = None
    panels: list[PartKey] | None = Field(None, max_length=40)
    points: list[XY] | None = Field(None, min_length=3, max_length=200)
    line: list[XY] | None = Field(None, min_length=2, max_length=2)
    role: str | None = Field(None, max_length=40)
    assess: bool = Field(True, description="Queue a new assessment at once.")
    client_key: ClientKey = None


class CorrectionOut(BaseModel):
    """A correction as kept: the outlines of its photo after it; none means that the program finds them itself."""

    id: str
    photo: str | None
    did: str
    outlines: list[dict[str, Any]]
    created: datetime

    @classmethod
    def of(cls, c: Correction) -> CorrectionOut:
        """From the store."""
        return cls(id=c.id, photo=c.photo, did=c.body["did"], outlines=c.body["outlines"], created=c.created)


class CorrectionMade(BaseModel):
    """The correction and the job it began, if one was asked for."""

    correction: CorrectionOut
    job: JobOut | None


class CorrectionList(BaseModel):
    """Corrections in the order they were made, and the outlines that count, by id of the photo."""

    corrections: list[CorrectionOut]
    outlines: dict[str, list[dict[str, Any]]]


class GivenAnswer(In):
    """One answer. `key`: gate/QUESTION, PART/CHECK, or PART/weighed ('5.9kg, 1000x500x18mm, pine'), PART/size ('1200x500mm'),
    PART/known ('veneer/particle_board', either side may be empty); `answer` null takes it back."""

    key: str = Field(min_length=3, max_length=240, examples=["gate/mould", "top/hole"])
    answer: str | None = Field(max_length=300, examples=["none", "particles"])
    said: AwareDatetime | None = Field(None, description="When it was said, for answers given without a signal.")
    client_key: ClientKey = None

    @property
    def said_utc(self) -> datetime | None:
        """The time in UTC; times before this program count as not given."""
        return self.said.astimezone(UTC) if self.said is not None and 2000 < self.said.year < 9000 else None


class GivenAnswers(In):
    """Answers, in the order in which they were given."""

    answers: list[GivenAnswer] = Field(max_length=500)


class PlanAsked(In):
    """What is wanted and known, in the form of the plan's file as JSON: goal, parts, hours, start ..."""

    request: dict[str, Any] = Field(default_factory=dict, examples=[{"goal": "paint", "parts": {"top": {"size": "1200x500mm"}}}])
    client_key: ClientKey = None


class SaleFacts(In):
    """What the seller says."""

    piece: str = Field("furniture", min_length=1, max_length=80)
    size: str | None = Field(None, max_length=60, examples=["900x450x1100mm"])
    price: float | None = Field(None, ge=0, le=1e9, allow_inf_nan=False)
    currency: str = Field("", max_length=12)
    done: list[Annotated[str, Field(max_length=200)]] = Field(default_factory=list, max_length=30)
    smoke_free: bool | None = None
    pet_free: bool | None = None
    client_key: ClientKey = None


class HaulAsked(In):
    """A piece to carry, in the words of `grainassay haul`."""

    size: str = Field(max_length=60, examples=["900x450x1100mm"])
    mass: str | None = Field(None, max_length=40, examples=["32kg"])
    boards: list[Annotated[str, Field(max_length=80)]] = Field(default_factory=list, max_length=60)
    extra: str | None = Field(None, max_length=40)
    vehicle: str | None = Field(None, max_length=60)
    door: str | None = Field(None, max_length=60)
    corner: str | None = Field(None, max_length=60)
    stairs: bool = False
    client_key: ClientKey = None


class DealAsked(In):
    """Money: the deal's file as JSON (`currency`, `asked`, `rate`, `outcomes` ...), and the part whose verdict gives the
    chances."""

    deal: dict[str, Any]
    part: PartKey | None = None
    exchange: float | None = Field(None, gt=0, le=1e9, allow_inf_nan=False)
    client_key: ClientKey = None


class NewEvent(In):
    """A line of the ledger. `at`: local day or time, usual: now; `voids`: id of the line that is taken back (kind void)."""

    kind: str = Field(max_length=20, examples=["paid"])
    at: str | None = Field(None, max_length=40)
    numbers: dict[str, Annotated[float, Field(allow_inf_nan=False, ge=0, le=1e12)]] = Field(default_factory=dict)
    part: str = Field("", max_length=120)
    face: str | None = Field(None, max_length=40)
    core: str | None = Field(None, max_length=40)
    how: str = Field("", max_length=20)
    voids: str = Field("", max_length=64)
    text: str = Field("", max_length=2000)
    client_key: ClientKey = None


class UserSettings(In):
    """The user's own settings; what is left out stays, null takes back. `prices`: the price list's file as JSON."""

    units: Literal["metric", "us"] | None = None
    where: Literal["us", "eu", "other"] | None = None
    goal: str | None = Field(None, max_length=20)
    minutes: float | None = Field(None, gt=0, le=60, allow_inf_nan=False)
    prices: dict[str, Any] | None = None

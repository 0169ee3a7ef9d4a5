"""One look at one piece of furniture: load what can be loaded, assess it, keep what was refused."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from service.engine import Engine, Progress
from service.options import GivenOutline, check_inside
from vision.errors import PhotoError
from vision.types import Photo, Point

if TYPE_CHECKING:
    from vision.assessment import Assessment
    from vision.inference.priors import OwnPrior
    from vision.scale.find import ScaleAsked

_T = TypeVar("_T")
EXIT_ASSESSED, EXIT_USAGE, EXIT_SOME_REFUSED, EXIT_NOTHING = 0, 2, 3, 4


@dataclass(frozen=True)
class Request:
    """What the user asked for; the mappings are keyed by file name as given."""

    files: tuple[str, ...]
    outlines: Mapping[str, list[GivenOutline]] = field(default_factory=dict)
    taps: Mapping[str, list[Point]] = field(default_factory=dict)
    asked: Mapping[str, ScaleAsked] = field(default_factory=dict)
    model: Path | None = None
    prior: str | OwnPrior | None = None
    details: bool = True


@dataclass(frozen=True)
class RefusedPhoto:
    """A photo that could not be used: the name as given, the cause and what to do."""

    file: str
    cause: str
    remedy: str


@dataclass(frozen=True, eq=False)
class Outcome:
    """What came of a look. `notes`: plain sentences about what was left out and why."""

    assessment: Assessment
    refused: tuple[RefusedPhoto, ...]
    notes: tuple[str, ...]

    @property
    def exit_code(self) -> int:
        """0 assessed, 3 some photos refused, 4 nothing could be used."""
        if not self.assessment.photos:
            return EXIT_NOTHING
        return EXIT_SOME_REFUSED if self.refused else EXIT_ASSESSED


def _load(request: Request, engine: Engine, progress: Progress | None) -> tuple[list[Photo], list[RefusedPhoto], list[str]]:
    photos: list[Photo] = []
    refused: list[RefusedPhoto] = []
    notes: list[str] = []
    seen: dict[str, str] = {}
    for n, file in enumerate(request.files):
        if progress is not None:
            progress(f"Opening {Path(file).name}", 0.0)
        try:
            photo = engine.load(file, f"p{n + 1}")
        except PhotoError as err:
            refused.append(RefusedPhoto(file, err.cause, err.remedy))
            continue
        # The same picture twice would count its evidence twice.
        if photo.sha256 in seen:
            notes.append(f"{file} is the same picture as {seen[photo.sha256]}; it was used once.")
            continue
        seen[photo.sha256] = file
        if file in request.asked:
            if progress is not None:
                progress(f"Looking for something of known size on {Path(file).name}", 0.0)
            photo, told = _scaled(photo, request.asked[file])
            notes += told
        check_inside(file, request.taps.get(file, []), photo.width, photo.height, "--at")
        photos.append(photo)
    return photos, refused, notes


def _scaled(photo: Photo, asked: ScaleAsked) -> tuple[Photo, list[str]]:
    """The photo with its scale where one was found, and a note where one was asked for by name and was not."""
    if asked.kind == "none":
        return photo, []
    from vision.scale import find_scale, stated_focal_px

    check_inside(photo.file, list(asked.points), photo.width, photo.height, "--scale")
    scale = find_scale(photo.pixels, asked, focal_px=stated_focal_px(photo.file, photo.width, photo.height))
    if scale is None:
        what = "no card and no sheet" if asked.kind == "auto" else f"no {asked.kind}"
        tapped = " at the point given" if asked.kind == "card" and asked.points else ""
        remedy = ("Photograph it nearly square on, with three corners or more free, or lay the printed sheet beside it." if tapped
                  else "A point on it may help: --scale card:X,Y." if asked.kind in ("card", "auto")
                  else "Photograph it flat, whole and sharp.")
        return photo, [f"{photo.file}: {what} was found{tapped} for --scale, so nothing is given in millimetres. {remedy}"]
    here = scale.mm_per_px_at(scale.centre)
    return replace(photo, scale=scale, mm_per_px=None if here is None else here[0]), []


def _by_id(values: Mapping[str, list[_T]], photos: Sequence[Photo]) -> dict[str, list[_T]]:
    return {p.id: values[p.file] for p in photos if p.file in values}


def look(request: Request, engine: Engine, progress: Progress | None = None) -> Outcome:
    """Assess the photos of one piece. Broken photos are kept aside with their cause; the others still count.

    Raises UsageError when an outline, tap or length does not fit its photo, ModelMismatch for an unfit model.
    """
    photos, refused, notes = _load(request, engine, progress)
    assessment = engine.assess(
        photos, outlines=_by_id(request.outlines, photos), taps=_by_id(request.taps, photos), model=request.model,
        prior=request.prior, details=request.details, progress=progress,
    )
    return Outcome(assessment, tuple(refused), tuple(notes))

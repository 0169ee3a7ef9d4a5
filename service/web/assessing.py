"""How a job is done: photos and outlines out of the store, through the engine, to a document with pictures."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from service.engine import Engine, Outlines, Taps
from service.store import Store
from service.store.errors import NotThere, StoreDamaged
from service.store.types import Job, StoredPhoto
from vision.errors import NothingUsable, PhotoError
from vision.types import Photo

if TYPE_CHECKING:
    from pathlib import Path

    from vision.assessment import Assessment
    from vision.inference.priors import OwnPrior

#: Kind and key of the derived file with the notes of the newest assessment.
NOTES = "notes"
Progress = Callable[[str, float], None]


def photo_key(photo: StoredPhoto) -> str:
    """The id of a photo in documents, as long as the piece lives: p1, p2 ..."""
    return f"p{photo.number}"


@dataclass(frozen=True)
class Assessed:
    """`text`: the document; `pictures`: id in the document -> (id of the photo in the store, JPEG); `notes`: sentences about
    what was left out and why."""

    text: str
    pictures: Mapping[str, tuple[str, bytes]]
    notes: tuple[str, ...] = ()


class FromStore:
    """The engine with photos of the store in place of files. `photos`: name as in documents -> id in the store."""

    def __init__(self, store: Store, engine: Engine, photos: Mapping[str, str]) -> None:
        self._store, self._engine, self._photos = store, engine, photos

    def load(self, path: str, photo_id: str) -> Photo:
        """See Engine.load; the photo's id is `photo_key`. A damaged photo is refused like one that cannot be read."""
        try:
            kept = self._store.photos.get(self._photos[path])
            return self._store.photos.load(kept.id, as_id=photo_key(kept))
        except (StoreDamaged, NotThere) as err:
            raise PhotoError(err.subject, err.cause, err.remedy) from err

    def assess(
        self, photos: Any, *, outlines: Outlines, taps: Taps, model: Path | None, prior: str | OwnPrior | None,
        details: bool = True, progress: Progress | None,
    ) -> Assessment:
        """See Engine.assess."""
        return self._engine.assess(photos, outlines=outlines, taps=taps, model=model, prior=prior, details=details,
                                   progress=progress)  # fmt: skip


def assessed(store: Store, engine: Engine, job: Job, progress: Progress) -> Assessed:
    """Does a job.

    Raises
    ------
    NothingUsable
        where no photo could be used; GrainassayError for whatever else the user can mend.
    """
    from service.contract import Refused, document, to_json
    from service.look import Request, look
    from service.pictures import evidence_pictures
    from service.prior_options import stated
    from service.scale_options import parse_scale

    asked: dict[str, Any] = job.request if isinstance(job.request, dict) else {}
    photos = store.photos.of_piece(job.piece)
    names = {f"photo-{p.number}": p.id for p in photos}  # as the store names them when it loads them
    given = asked.get("outlines", {})
    outlines = {name: [(o.get("id"), [(float(x), float(y)) for x, y in o["points"]]) for o in given[p]]
                for name, p in names.items() if given.get(p)}  # fmt: skip
    scale = asked.get("scale", "none")
    prior = asked.get("prior")
    request = Request(
        tuple(names), outlines, asked={} if scale == "none" else dict.fromkeys(names, parse_scale(scale)), prior=prior,
        details=bool(asked.get("details", True)),
    )  # fmt: skip
    outcome = look(request, FromStore(store, engine, names), lambda stage, share: progress(stage, 0.9 * share))
    if not outcome.assessment.photos:
        first = outcome.refused[0] if outcome.refused else None
        raise NothingUsable("The photos", "None could be used." if first is None else f"None could be used: {first.cause}",
                            "Take the photos again." if first is None else first.remedy)  # fmt: skip
    refused = [Refused(file=r.file, cause=r.cause, remedy=r.remedy) for r in outcome.refused]
    doc = document(outcome.assessment, refused, stated(prior))
    progress("Drawing the evidence", 0.92)
    made = evidence_pictures(outcome.assessment, doc)
    of = {photo_key(p): p.id for p in photos}
    return Assessed(to_json(doc), {key: (of[key], jpeg) for key, jpeg in made.items()}, outcome.notes)

"""The door between the command line and the eyes of the program: what the service asks of `vision`.

Kept narrow so that tests can put a stand-in behind it, and so that nothing heavy is imported before it is needed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from vision.types import Photo, Point

if TYPE_CHECKING:
    from vision.assessment import Assessment
    from vision.inference.priors import OwnPrior

#: Told the stage reached (plain words) and the share done, 0..1.
Progress = Callable[[str, float], None]
Outlines = Mapping[str, list[tuple[str | None, list[Point]]]]
Taps = Mapping[str, list[Point]]


class Engine(Protocol):
    """What can load a photo and assess a set of them."""

    def load(self, path: str, photo_id: str) -> Photo:
        """Decoded, upright photo; raises PhotoError when it cannot be used."""
        ...

    def assess(
        self, photos: Sequence[Photo], *, outlines: Outlines, taps: Taps, model: Path | None,
        prior: str | OwnPrior | None,
        details: bool = True, progress: Progress | None,
    ) -> Assessment:
        """Assessment of one piece of furniture; no photos give an empty assessment with its model."""
        ...


class VisionEngine:
    """The real thing. `vision` is imported at the first call."""

    def load(self, path: str, photo_id: str) -> Photo:
        """See Engine.load."""
        from vision.intake.load import load_photo

        return load_photo(path, photo_id)

    def assess(
        self, photos: Sequence[Photo], *, outlines: Outlines, taps: Taps, model: Path | None,
        prior: str | OwnPrior | None,
        details: bool = True, progress: Progress | None,
    ) -> Assessment:
        """See Engine.assess."""
        from vision.assess import assess
        from vision.inference import load_model

        loaded = load_model(model) if model is not None or prior is not None else None
        if loaded is not None and prior is not None and not isinstance(prior, str):
            from vision.inference.priors import with_prior

            loaded, prior = with_prior(loaded, prior), prior.name
        assert prior is None or isinstance(prior, str)
        return assess(photos, outlines=outlines, taps=taps, model=loaded, prior=prior, details=details, progress=progress)


def default_engine() -> Engine:
    """The engine the program runs with."""
    return VisionEngine()

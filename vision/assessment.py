"""What an assessment hands over: photos with judged panels, parts fused over photos, next steps and the model used.

All frozen and validated; coordinates follow `vision.types` (pixels of the full-size upright photo).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision import registry
from vision.detail import Detail
from vision.types import Finding, GrainField, Panel, Photo, Verdict, distribution

#: What the calibration of a model rests on.
BASES = ("rendered", "mixed", "real")
#: Kinds of next step: another photo, or a look or touch by hand.
STEP_KINDS = ("photo", "check")


def _require(condition: bool, message: str) -> None:
    if not condition:
        raise ValueError(message)


@dataclass(frozen=True, eq=False)
class PanelResult:
    """One judged panel of one photo.

    `view`: key of registry.VIEWS, the likeliest of `view_probabilities`; `field`: grain field of the working view or
    None; `to_photo`: 3x3 homography, working (x, y, 1) to photo pixels; `details`: joints, fittings, damage and the make-up
    of narrow sides.
    """

    panel: Panel
    view: str
    verdict: Verdict
    field: GrainField | None
    to_photo: NDArray[np.float64]
    view_probabilities: Mapping[str, float]
    details: tuple[Detail, ...] = ()

    def __post_init__(self) -> None:
        _require(self.view in registry.VIEWS, f"unknown view {self.view!r}")
        _require(self.to_photo.shape == (3, 3), "to_photo must be 3x3")
        _require(set(self.view_probabilities) <= set(registry.VIEWS), "view_probabilities name an unknown view")
        _require(len(set(self.verdict.findings)) == len(self.verdict.findings), "a finding is named twice on a panel")

    @property
    def finding_ids(self) -> tuple[str, ...]:
        """Ids of the findings that bear on this panel."""
        return self.verdict.findings


@dataclass(frozen=True, eq=False)
class PhotoResult:
    """A usable photo and its judged panels. Panel ids are unique within the photo."""

    photo: Photo
    panels: tuple[PanelResult, ...]

    def __post_init__(self) -> None:
        ids = [p.panel.id for p in self.panels]
        _require(len(set(ids)) == len(ids), f"panel ids of photo {self.photo.id} are not unique: {ids}")
        own = all(p.panel.photo == self.photo.id for p in self.panels)
        _require(own, f"a panel of photo {self.photo.id} names another photo")


@dataclass(frozen=True, eq=False)
class Part:
    """One physical part of the piece, seen on one or more panels. `sightings`: (photo id, panel id) pairs."""

    id: str
    role: str
    sightings: tuple[tuple[str, str], ...]
    verdict: Verdict

    def __post_init__(self) -> None:
        _require(self.role in registry.ROLES, f"unknown role {self.role!r}")
        _require(len(self.sightings) > 0, "a part is seen at least once")
        _require(len(set(self.sightings)) == len(self.sightings), f"part {self.id} lists a sighting twice")


@dataclass(frozen=True)
class NextStep:
    """What to photograph or check next. `part`: part id, None for the whole piece; `ask`: key of the table of asks;
    `gain_bits`: expected information about the part's substrate, bits; `text`: plain words for the user."""

    kind: str
    part: str | None
    ask: str
    gain_bits: float
    text: str

    def __post_init__(self) -> None:
        _require(self.kind in STEP_KINDS, f"unknown kind of step {self.kind!r}")
        _require(bool(np.isfinite(self.gain_bits)) and self.gain_bits >= 0, "gain_bits must be finite and not negative")


@dataclass(frozen=True)
class ModelInfo:
    """The model that judged, and the prior it was given.

    `basis`: what the calibration rests on; `real_specimens`: how many real, outlined panels it was calibrated on.
    """

    id: str
    feature_schema: str
    basis: str
    real_specimens: int
    prior_name: str
    prior_face: Mapping[str, float]
    prior_core: Mapping[str, float]

    def __post_init__(self) -> None:
        _require(self.basis in BASES, f"unknown calibration basis {self.basis!r}")
        _require(self.real_specimens >= 0, "real_specimens must not be negative")
        _require(self.basis == "rendered" or self.real_specimens > 0, f"basis {self.basis!r} needs real specimens")
        object.__setattr__(self, "prior_face", distribution(self.prior_face, registry.FACES))
        object.__setattr__(self, "prior_core", distribution(self.prior_core, registry.CORES))


@dataclass(frozen=True, eq=False)
class Assessment:
    """All that is known about one piece of furniture. Every id that is referred to exists."""

    photos: tuple[PhotoResult, ...]
    findings: tuple[Finding, ...]
    parts: tuple[Part, ...]
    next: tuple[NextStep, ...]
    model: ModelInfo

    def __post_init__(self) -> None:
        photo_ids = [p.photo.id for p in self.photos]
        _require(len(set(photo_ids)) == len(photo_ids), f"photo ids are not unique: {photo_ids}")
        panels = {(p.photo.id, r.panel.id) for p in self.photos for r in p.panels}
        findings = {f.id for f in self.findings}
        _require(len(findings) == len(self.findings), "finding ids are not unique")
        part_ids = [p.id for p in self.parts]
        _require(len(set(part_ids)) == len(part_ids), f"part ids are not unique: {part_ids}")
        for part in self.parts:
            _require(set(part.sightings) <= panels, f"part {part.id} names a panel that does not exist")
            _require(set(part.verdict.findings) <= findings, f"part {part.id} names a finding that does not exist")
        for photo in self.photos:
            for result in photo.panels:
                _require(set(result.verdict.findings) <= findings, f"panel {result.panel.id} names a missing finding")
        for finding in self.findings:
            for region in finding.where:
                _require((region.photo, region.panel) in panels, f"finding {finding.id} lies on a missing panel")
        for step in self.next:
            _require(step.part is None or step.part in part_ids, f"next step names a missing part {step.part!r}")

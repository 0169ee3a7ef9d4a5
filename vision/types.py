"""Types that travel between rooms. All frozen and validated.

Pixel convention everywhere: origin at the top left corner of the upright photo, x right, y down, in pixels of the
full-size upright photo unless a field says otherwise. Images are uint8 sRGB arrays of shape (height, width, 3), RGB order.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from vision import registry
from vision.millimetres import Scale

Point = tuple[float, float]
Outline = tuple[Point, ...]


def _require(condition: bool, message: str) -> None:
    if not condition:
        raise ValueError(message)


def distribution(values: Mapping[str, float], keys: Mapping[str, str]) -> Mapping[str, float]:
    """Validated copy of a probability distribution over exactly `keys`, renormalised to sum to 1 in float64."""
    _require(set(values) == set(keys), f"distribution keys {sorted(values)} are not {sorted(keys)}")
    total = float(sum(values.values()))
    _require(all(v >= 0 for v in values.values()) and abs(total - 1) < 1e-3, f"not a distribution: {dict(values)}")
    return MappingProxyType({k: float(values[k]) / total for k in keys})


@dataclass(frozen=True)
class Problem:
    """A measured fault of a photo. `kind` is a key of registry.PROBLEMS; `text` tells the user what to do."""

    kind: str
    text: str

    def __post_init__(self) -> None:
        _require(self.kind in registry.PROBLEMS, f"unknown problem kind {self.kind!r}")


@dataclass(frozen=True, eq=False)
class Photo:
    """A decoded, upright photo. `pixels`: (height, width, 3) uint8 sRGB. `jpeg_quality`: estimate 1..100, None if not JPEG.
    `scale`: what its millimetres rest on, None where nothing of known size was found; `mm_per_px`: at that object."""

    id: str
    file: str
    sha256: str
    pixels: NDArray[np.uint8]
    problems: tuple[Problem, ...] = ()
    jpeg_quality: int | None = None
    mm_per_px: float | None = None
    scale: Scale | None = None

    def __post_init__(self) -> None:
        p = self.pixels
        fits = p.ndim == 3 and p.shape[2] == 3 and p.dtype == np.uint8
        _require(fits, f"pixels must be (h, w, 3) uint8, got {p.shape} {p.dtype}")
        _require(p.shape[0] > 0 and p.shape[1] > 0, "empty photo")

    @property
    def width(self) -> int:
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        return int(self.pixels.shape[0])


@dataclass(frozen=True)
class Panel:
    """One flat surface on one photo. `outline`: polygon in photo pixels. `source`: 'found', 'given' or 'tap'.

    `view_hint`: what the finder's geometry suggests (a key of registry.VIEWS); `surface_share`: mean furniture-likeness
    0..1 inside the outline (1 when the user gave it). `quad`: four corners (clockwise from top left) when perspective
    could be recovered, else None.
    """

    id: str
    photo: str
    outline: Outline
    source: str = "found"
    view_hint: str = "unknown"
    surface_share: float = 1.0
    quad: Outline | None = None

    def __post_init__(self) -> None:
        _require(isinstance(self.id, str) and self.id != "", f"a panel's id is a text, got {self.id!r}")
        _require(len(self.outline) >= 3, "an outline has at least three points")
        _require(self.source in ("found", "given", "tap"), f"unknown source {self.source!r}")
        _require(self.view_hint in registry.VIEWS, f"unknown view {self.view_hint!r}")
        _require(self.quad is None or len(self.quad) == 4, "a quad has four corners")


@dataclass(frozen=True, eq=False)
class WorkingView:
    """A panel rectified for measuring.

    `pixels`: (h, w, 3) uint8 sRGB, long side at most panels.rectify.WORKING_PX. `mask`: (h, w) bool, True on the panel.
    `to_photo`: 3x3 homography taking working (x, y, 1) to photo pixels. `px_scale`: photo pixels per working pixel
    (geometric mean at the centre). `native`: full-resolution upright crop of the panel's bounding box (view into the
    photo, not resampled), `native_mask` its bool mask, `native_origin` (x, y) of its top left pixel on the photo.
    `photo_pixels`: the whole photo (the same memory), None where a view was made without one.
    """

    panel: Panel
    pixels: NDArray[np.uint8]
    mask: NDArray[np.bool_]
    to_photo: NDArray[np.float64]
    px_scale: float
    native: NDArray[np.uint8]
    native_mask: NDArray[np.bool_]
    native_origin: tuple[int, int]
    mm_per_px: float | None = None
    photo_pixels: NDArray[np.uint8] | None = None

    def __post_init__(self) -> None:
        _require(self.pixels.shape[:2] == self.mask.shape, "mask and pixels differ in size")
        _require(self.native.shape[:2] == self.native_mask.shape, "native mask and crop differ in size")
        _require(self.to_photo.shape == (3, 3), "to_photo must be 3x3")

    def photo_points(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Map (n, 2) working-view points to photo pixels."""
        p = np.c_[points, np.ones(len(points))] @ self.to_photo.T
        return p[:, :2] / p[:, 2:]


@dataclass(frozen=True, eq=False)
class GrainField:
    """Grain direction on a grid. `angle`: degrees 0..180, 0 along +x, growing counter-clockwise as seen on screen
    (y down is accounted for); `coherence` 0..1; `energy` mean squared gradient, grey levels^2 per px^2; `wavelength`
    local dominant wavelength across the grain in image pixels (nan unknown); `valid` bool. All (rows, cols).
    `step`: image pixels per cell; cell (r, c) is centred on x = (c + 0.5) * step - 0.5, y likewise.
    """

    angle: NDArray[np.float32]
    coherence: NDArray[np.float32]
    energy: NDArray[np.float32]
    wavelength: NDArray[np.float32]
    valid: NDArray[np.bool_]
    step: float

    def __post_init__(self) -> None:
        shapes = {a.shape for a in (self.angle, self.coherence, self.energy, self.wavelength, self.valid)}
        _require(len(shapes) == 1, f"grain field arrays differ in shape: {shapes}")


@dataclass(frozen=True)
class Region:
    """Where a finding lies. `type`: 'polygon', 'line' or 'point'; `points` in photo pixels."""

    photo: str
    panel: str
    type: str
    points: Outline

    def __post_init__(self) -> None:
        need = {"polygon": 3, "line": 2, "point": 1}
        _require(self.type in need, f"unknown region type {self.type!r}")
        _require(len(self.points) >= need[self.type], f"a {self.type} needs {need[self.type]} points")


@dataclass(frozen=True)
class Finding:
    """One piece of evidence. `decibans` (10 log10 of the likelihood ratio, >= 0) is its weight for `supports` as against
    `against`; both are keys of FACES, CORES or VIEWS."""

    id: str
    kind: str
    where: tuple[Region, ...]
    supports: str
    against: str
    decibans: float
    text: str

    def __post_init__(self) -> None:
        _require(self.kind in registry.FINDING_KINDS, f"unknown finding kind {self.kind!r}")
        known = {*registry.FACES, *registry.CORES, *registry.VIEWS}
        _require(self.supports in known and self.against in known, "finding points to an unknown class")
        _require(len(self.where) > 0, "a finding lies somewhere")
        _require(np.isfinite(self.decibans) and self.decibans >= 0, "decibans must be finite and not negative")


@dataclass(frozen=True)
class Verdict:
    """What a panel or part is thought to be. Distributions sum to 1; sets hold the classes not ruled out at `level`."""

    face: Mapping[str, float]
    core: Mapping[str, float]
    core_visible: float
    substrate: Mapping[str, float]
    face_set: tuple[str, ...]
    core_set: tuple[str, ...]
    substrate_set: tuple[str, ...]
    level: float
    undecided: bool
    reason: str | None
    cues: tuple[str, ...]
    findings: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        object.__setattr__(self, "face", distribution(self.face, registry.FACES))
        object.__setattr__(self, "core", distribution(self.core, registry.CORES))
        object.__setattr__(self, "substrate", distribution(self.substrate, registry.SUBSTRATES))
        _require(0 <= self.core_visible <= 1, "core_visible is a probability")
        _require(self.reason is None or self.reason in registry.REASONS, f"unknown reason {self.reason!r}")
        _require(all(c in registry.CUES for c in self.cues), f"unknown cue in {self.cues}")
        _require(self.undecided == (self.reason is not None), "an undecided verdict gives its reason, a decided one none")

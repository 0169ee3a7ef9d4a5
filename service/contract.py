"""The JSON document the program prints: its types, its schema, and how an assessment becomes one.

Schema 1.x. Within the major version keys may be added and lists of names may grow; no key vanishes and no type narrows.
Readers must ignore keys they do not know. Coordinates are pixels of the upright photo, origin top left, x right, y down.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, create_model, model_validator

from service.names import (
    AskName,
    BasisName,
    ClassName,
    CoreName,
    CueName,
    DetailGroup,
    DetailName,
    FaceName,
    FindingName,
    LevelName,
    ProblemName,
    ReasonName,
    RoleName,
    StepKind,
    SubstrateName,
    ViewName,
)
from service.version import PROGRAM
from vision import registry
from vision.assessment import Assessment
from vision.assessment import Part as PartResult
from vision.detail import Detail as PanelDetail
from vision.millimetres import Scale as PhotoScale
from vision.types import Verdict

SCHEMA = "1.3"
#: Probabilities are written with this many decimals; every distribution still sums to 1 exactly in these units.
DECIMALS = 6
TOLERANCE = 1e-6


Probability = Annotated[float, Field(ge=0, le=1)]
XY = Annotated[list[float], Field(min_length=2, max_length=2, description="[x, y]")]


class Model(BaseModel):
    """Base of all contract types: frozen, names or aliases accepted, unknown keys ignored."""

    model_config = ConfigDict(frozen=True, populate_by_name=True, extra="ignore")


class Distribution(Model):
    """Probabilities that sum to 1."""

    @model_validator(mode="after")
    def _sums_to_one(self) -> Distribution:
        total = sum(getattr(self, k) for k in type(self).model_fields)
        if abs(total - 1) > TOLERANCE:
            raise ValueError(f"sums to {total}, not 1")
        return self


def _distribution(title: str, entries: Mapping[str, str]) -> Any:
    fields: dict[str, Any] = {k: (Probability, Field(description=text)) for k, text in entries.items()}
    return create_model(title, __base__=Distribution, __doc__="Probabilities; they sum to 1.", **fields)


if TYPE_CHECKING:
    Faces = Distribution
    Cores = Distribution
    Substrates = Distribution
else:
    Faces = _distribution("Faces", registry.FACES)
    Cores = _distribution("Cores", registry.CORES)
    Substrates = _distribution("Substrates", registry.SUBSTRATES)


class Calibration(Model):
    """What the probabilities rest on."""

    basis: BasisName
    real_specimens: Annotated[int, Field(ge=0, description="Real panels the calibration was measured on.")]


class ModelUsed(Model):
    """The model that judged."""

    id: str
    feature_schema: str
    calibration: Calibration


class Prior(Model):
    """Base rates the verdicts start from; they are not evidence."""

    name: str
    face: Faces
    core: Cores
    text: Annotated[str, Field(description="Where they come from, in a sentence.")] = ""


class Problem(Model):
    """A measured fault of a photo."""

    kind: ProblemName
    text: str


class Judged(Model):
    """A verdict. The sets hold every class not ruled out at `level`."""

    face: Faces
    core: Cores
    core_visible: Annotated[float, Field(ge=0, le=1, description="Probability that the core itself is in view.")]
    substrate: Substrates
    face_set: list[FaceName]
    core_set: list[CoreName]
    substrate_set: list[SubstrateName]
    level: Annotated[float, Field(gt=0, lt=1, description="Coverage aimed at by the sets.")]
    undecided: bool
    reason: Annotated[ReasonName | None, Field(description="Why it cannot be told; null when decided.")]
    cues: list[CueName]
    findings: Annotated[list[str], Field(description="Ids of the findings that bear on it.")]


class PanelHead(Model):
    id: Annotated[str, Field(description="Unique within its photo.")]
    outline: Annotated[list[XY], Field(min_length=3)]
    view: ViewName


class Detail(Model):
    """Something seen on a panel besides its material: make-up of a narrow side, a joint, a fitting, a damaged place."""

    group: DetailGroup
    kind: DetailName
    chance: Annotated[float | None, Field(ge=0, le=1, description="That it is there and is that; null where no chance was "
                                          "checked on photos of real furniture.")]
    level: Annotated[LevelName | None, Field(description="Of damage; else null.")]
    outline: Annotated[list[XY], Field(min_length=3)]
    text: str
    meaning: Annotated[str, Field(description="What it means for the work, and what it does not say.")]
    numbers: Annotated[dict[str, float], Field(description="Measures; the unit ends the name (_px of the photo, _mm).")] = {}


class Panel(Judged, PanelHead):
    """One flat surface on one photo and its verdict."""

    details: list[Detail] = []


class Scale(Model):
    """What the millimetres of a photo rest on. Errors are half widths of intervals meant to hold the truth 95 times in 100."""

    source: Annotated[str, Field(pattern="^(card|coin|sheet|ruler|points)$")]
    outline: Annotated[list[XY], Field(min_length=2, description="The object: a polygon, or the two ends of a line.")]
    at: Annotated[XY, Field(description="Middle of the object.")]
    px_per_mm: Annotated[float, Field(gt=0, description="At `at`; on a line, along it.")]
    error_share: Annotated[float, Field(ge=0, description="Error of `px_per_mm`, as a share.")]
    to_mm: Annotated[list[list[float]] | None, Field(
        description="3x3, photo (x, y, 1) to millimetres on the surface the object lies on; null when only a line is measured.")]
    text: str


class Photo(Model):
    """A photo that was used. `file` is the name as given."""

    id: str
    file: str
    sha256: str
    width: Annotated[int, Field(gt=0)]
    height: Annotated[int, Field(gt=0)]
    problems: list[Problem]
    panels: list[Panel]
    mm_per_px: Annotated[float | None, Field(description="Scale, where one was given or found; at what it rests on.")] = None
    scale: Scale | None = None


class Seen(Model):
    photo: str
    panel: str


class PartHead(Model):
    id: str
    role: RoleName
    sightings: Annotated[list[Seen], Field(min_length=1)]


class Part(Judged, PartHead):
    """One part of the piece, or a run of like fronts, with the verdict fused from its sightings."""


class Where(Model):
    photo: str
    panel: str
    type: Annotated[str, Field(pattern="^(polygon|line|point)$")]
    points: Annotated[list[XY], Field(min_length=1)]


class Finding(Model):
    """One piece of evidence: where it lies, which way it points, how much it weighs."""

    id: str
    kind: FindingName
    where: Annotated[list[Where], Field(min_length=1)]
    supports: Annotated[ClassName, Field(alias="for")]
    against: ClassName
    decibans: Annotated[float, Field(ge=0, description="10 log10 of the likelihood ratio of `for` to `against`.")]
    text: str


class Step(Model):
    """What to photograph or check next. `part` is null when it concerns the whole piece."""

    kind: StepKind
    part: str | None
    ask: AskName
    gain_bits: Annotated[float, Field(ge=0, description="Expected information about the part's substrate.")]
    text: str


class Refused(Model):
    """A photo that could not be used."""

    file: str
    cause: str
    remedy: str


class Document(Model):
    """Verdict on one piece of furniture from its photos."""

    schema_: Annotated[str, Field(alias="schema", pattern=r"^1\.\d+$")]
    program: str
    model: ModelUsed
    prior: Prior
    photos: list[Photo]
    parts: list[Part]
    findings: list[Finding]
    next: list[Step]
    refused: Annotated[list[Refused], Field(description="Photos that could not be used.")] = []

    @model_validator(mode="after")
    def _refers_to_what_exists(self) -> Document:
        panels = {(p.id, q.id) for p in self.photos for q in p.panels}
        if len(panels) != sum(len(p.panels) for p in self.photos):
            raise ValueError("panel ids are not unique within their photo")
        findings = {f.id for f in self.findings}
        parts = {p.id for p in self.parts}
        named = [f for p in self.photos for q in p.panels for f in q.findings] + [f for p in self.parts for f in p.findings]
        spots = [(s.photo, s.panel) for p in self.parts for s in p.sightings]
        spots += [(w.photo, w.panel) for f in self.findings for w in f.where]
        checks: list[tuple[str, list[Any], set[Any]]] = [
            ("finding", named, findings), ("panel", spots, panels),
            ("part", [s.part for s in self.next if s.part is not None], parts),
        ]
        for what, used, known in checks:
            missing = [u for u in used if u not in known]
            if missing:
                raise ValueError(f"refers to a {what} that is not there: {sorted(map(str, missing))}")
        return self


def rounded(values: Mapping[str, float], decimals: int = DECIMALS) -> dict[str, float]:
    """Distribution rounded to `decimals` so that it still sums to 1 (largest remainders get the left-over units)."""
    unit = 10**decimals
    total = sum(values.values())
    scaled = {k: v / total * unit for k, v in values.items()}
    floors = {k: int(v) for k, v in scaled.items()}
    short = unit - sum(floors.values())
    for k in sorted(scaled, key=lambda k: floors[k] - scaled[k])[:short]:
        floors[k] += 1
    return {k: n / unit for k, n in floors.items()}


def plain(text: str) -> str:
    """File name or text safe to print anywhere: bytes that are no text become a replacement mark."""
    return os.fsencode(text).decode("utf-8", "replace") if any(0xD800 <= ord(c) <= 0xDFFF for c in text) else text


def _judged(v: Verdict) -> dict[str, Any]:
    return {
        "face": rounded(v.face), "core": rounded(v.core), "core_visible": round(v.core_visible, DECIMALS),
        "substrate": rounded(v.substrate), "face_set": list(v.face_set), "core_set": list(v.core_set),
        "substrate_set": list(v.substrate_set), "level": v.level, "undecided": v.undecided, "reason": v.reason,
        "cues": list(v.cues), "findings": list(v.findings),
    }


def _points(points: Sequence[tuple[float, float]]) -> list[list[float]]:
    return [[round(float(x), 2), round(float(y), 2)] for x, y in points]


def _scale(scale: PhotoScale | None) -> dict[str, Any] | None:
    here = None if scale is None else scale.px_per_mm_at(scale.centre)
    if scale is None or here is None:
        return None
    return {
        "source": scale.source, "outline": _points(scale.outline), "at": _points([scale.centre])[0],
        "px_per_mm": round(here[0], 5), "error_share": round(here[1], 5),
        "to_mm": None if scale.plane is None else [[float(v) for v in row] for row in scale.plane], "text": scale.words,
    }


def _detail(detail: PanelDetail) -> dict[str, Any]:
    return {
        "group": detail.group, "kind": detail.kind, "chance": None if detail.chance is None else round(detail.chance, 4),
        "level": detail.level, "outline": _points(detail.outline), "text": detail.text, "meaning": detail.meaning,
        "numbers": dict(detail.numbers),
    }


def _part(part: PartResult) -> dict[str, Any]:
    seen = [{"photo": photo, "panel": panel} for photo, panel in part.sightings]
    return {"id": part.id, "role": part.role, "sightings": seen, **_judged(part.verdict)}


def document(assessment: Assessment, refused: Sequence[Refused] = (), prior_text: str = "") -> Document:
    """The contract document of an assessment, validated. `refused`: photos that could not be used; `prior_text`: where the base
    rates come from."""
    model = assessment.model
    photos = [
        {
            "id": r.photo.id, "file": plain(r.photo.file), "sha256": r.photo.sha256, "width": r.photo.width,
            "height": r.photo.height, "problems": [{"kind": p.kind, "text": p.text} for p in r.photo.problems],
            "panels": [
                {"id": q.panel.id, "outline": _points(q.panel.outline), "view": q.view, **_judged(q.verdict),
                 "details": [_detail(d) for d in q.details]}
                for q in r.panels
            ],
            "mm_per_px": r.photo.mm_per_px, "scale": _scale(r.photo.scale),
        }
        for r in assessment.photos
    ]
    findings = [
        {
            "id": f.id, "kind": f.kind,
            "where": [{"photo": w.photo, "panel": w.panel, "type": w.type, "points": _points(w.points)} for w in f.where],
            "for": f.supports, "against": f.against, "decibans": round(f.decibans, 2), "text": f.text,
        }
        for f in assessment.findings
    ]
    return Document.model_validate({
        "schema": SCHEMA, "program": PROGRAM,
        "model": {
            "id": model.id, "feature_schema": model.feature_schema,
            "calibration": {"basis": model.basis, "real_specimens": model.real_specimens},
        },
        "prior": {"name": model.prior_name, "face": rounded(model.prior_face), "core": rounded(model.prior_core),
                  "text": plain(prior_text)},
        "photos": photos, "parts": [_part(p) for p in assessment.parts], "findings": findings,
        "next": [
            {"kind": s.kind, "part": s.part, "ask": s.ask, "gain_bits": round(s.gain_bits, 4), "text": s.text}
            for s in assessment.next
        ],
        "refused": [{k: plain(v) for k, v in r.model_dump().items()} for r in refused],
    })


def to_json(doc: Document) -> str:
    """The document as one line of ASCII JSON, keys in the order of the contract."""
    return json.dumps(doc.model_dump(mode="json", by_alias=True), allow_nan=False, separators=(",", ":"))


def json_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the document, generated from the types."""
    schema = Document.model_json_schema(by_alias=True, mode="validation")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}

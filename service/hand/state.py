"""Answers as they are kept: a small JSON file, part by part, that the command line, the aisle routine and the plan share."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from service.contract import Document, Part
from service.files import text_of
from service.hand.belief import FACE_OF, Start
from service.hand.checks import SUBSTRATES
from service.wood.weigh import Weighed
from service.words import CORE_SEEN
from vision import registry
from vision.errors import UsageError

SCHEMA = "grainassay.answers/1.0"
MEND = "Give a file as written by: grainassay check --out FILE.json"
#: Where a part starts without a photo: faces of furniture boards as likely as each other, and cores under each.
EVEN = "no photo: every material taken to be as likely as the others"
#: Share of parts that turn out to be no furniture board although someone names them as a part.
NOT_WOOD = 0.02


@dataclass(frozen=True)
class Told:
    """What hands found on one part. `answers`: check -> answer; `weighed`: arguments of service.wood.weigh.Weighed, or None;
    `confirmed`: (face, core) known for certain, each may be None; `size`: (length, width) in mm as measured, or None."""

    role: str
    answers: Mapping[str, str] = field(default_factory=dict)
    weighed: Mapping[str, Any] | None = None
    confirmed: tuple[str | None, str | None] = (None, None)
    size: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        if self.role not in registry.ROLES:
            raise UsageError("answers", f"{self.role!r} is no part of furniture.",
                             "Use one of: " + ", ".join(registry.ROLES) + ".")
        face, core = self.confirmed
        if face is not None and face not in registry.FACES:
            raise UsageError("answers", f"{face!r} is no face.", "Use one of: " + ", ".join(registry.FACES) + ".")
        if core is not None and core not in registry.CORES:
            raise UsageError("answers", f"{core!r} is no core.", "Use one of: " + ", ".join(registry.CORES) + ".")
        if face is not None and core is not None and (face, core) not in registry.SUBSTRATE_OF:
            raise UsageError("answers", f"a face of {face} does not lie on {core}.", "Correct one of them.")
        if self.size is not None and not all(isinstance(v, int | float) and v > 0 for v in self.size):
            raise UsageError("answers", f"{self.size} is no size.", "Give length and width in millimetres.")
        object.__setattr__(self, "answers", MappingProxyType(dict(self.answers)))

    @property
    def part(self) -> Weighed | None:
        """The weighed part, where it was weighed."""
        return None if self.weighed is None else Weighed(**self.weighed)


@dataclass(frozen=True)
class Answers:
    """All answers on one piece. `gate`: question -> answer; `parts`: id -> Told."""

    gate: Mapping[str, str] = field(default_factory=dict)
    parts: Mapping[str, Told] = field(default_factory=dict)

    def with_answer(self, part: str, role: str, check: str, answer: str) -> Answers:
        """These and one more; the later answer to a check replaces the earlier."""
        told = self.parts.get(part, Told(role))
        return replace(self, parts={**self.parts, part: replace(told, answers={**told.answers, check: answer})})


def start_of(doc: Document | None, part: str) -> Start:
    """Where a part starts: the photo verdict of that id, or even chances.

    Raises
    ------
    UsageError
        where there is a document and it has no such part.
    """
    if doc is None:
        boards = len(registry.FACES) - 1
        faces = {f: NOT_WOOD if f == "not_wood" else (1 - NOT_WOOD) / boards for f in registry.FACES}
        even = {s: faces[FACE_OF[s]] / sum(FACE_OF[t] == FACE_OF[s] for t in SUBSTRATES) for s in SUBSTRATES}
        return Start(even, EVEN)
    found = part_of(doc, part)
    cores = tuple(str(c) for c in found.core_set) if found.core_visible >= CORE_SEEN else ()
    # A decided verdict leaves nothing beside its face at the level it was calibrated for.
    left = tuple(str(f) for f in found.face_set) if found.undecided else ()
    return Start(found.substrate.model_dump(), f"photos ({doc.model.id})", tuple(str(c) for c in found.cues), left, cores)


def part_of(doc: Document, part: str) -> Part:
    """The part with an id, or a clear refusal."""
    for p in doc.parts:
        if p.id == part:
            return p
    raise UsageError(part, "is no part of this assessment.", "Parts are: " + ", ".join(p.id for p in doc.parts) + ".")


def to_json(answers: Answers) -> dict[str, Any]:
    """JSON types."""
    parts = {}
    for key, told in answers.parts.items():
        row: dict[str, Any] = {"role": told.role, "answers": dict(told.answers)}
        if told.weighed is not None:
            row["weighed"] = dict(told.weighed)
        if told.confirmed != (None, None):
            row["confirmed"] = {"face": told.confirmed[0], "core": told.confirmed[1]}
        if told.size is not None:
            row["size_mm"] = list(told.size)
        parts[key] = row
    return {"schema": SCHEMA, "gate": dict(answers.gate), "parts": parts}


def parse(text: str, name: str) -> Answers:
    """Answers from the text of their file.

    Raises
    ------
    UsageError
        naming what is wrong.
    """
    try:
        data = json.loads(text)
        if not isinstance(data, dict) or not str(data.get("schema", "")).startswith("grainassay.answers/1."):
            raise UsageError(name, "is no file of answers.", MEND)
        parts = {}
        for key, row in data.get("parts", {}).items():
            known = row.get("confirmed") or {}
            parts[str(key)] = Told(row["role"], {str(k): str(v) for k, v in row.get("answers", {}).items()}, row.get("weighed"),
                                   (known.get("face"), known.get("core")), _size(row.get("size_mm")))
            _ = parts[str(key)].part
        return Answers({str(k): str(v) for k, v in data.get("gate", {}).items()}, parts)
    except (json.JSONDecodeError, KeyError, TypeError, ValueError, AttributeError) as err:
        raise UsageError(name, f"cannot be read as answers ({type(err).__name__}: {err}).", MEND) from err


def _size(value: Any) -> tuple[float, float] | None:
    if value is None:
        return None
    length, width = value
    return float(length), float(width)


def read_answers(path: Path) -> Answers:
    """Answers from a file."""
    return parse(text_of(path), path.name)


def read_document(path: Path) -> Document:
    """An assessment as printed by `grainassay look --json`."""
    from pydantic import ValidationError

    try:
        return Document.model_validate_json(text_of(path))
    except ValidationError as err:
        first = err.errors()[0]
        where = ".".join(str(k) for k in first["loc"]) or "the whole"
        raise UsageError(str(path), f"is no assessment ({where}: {first['msg']}).",
                         "Give a file written by: grainassay look PHOTO... --json > FILE.json") from err



"""String enumerations of the contract, made from the registry so that no key is written twice.

At run time each is a `StrEnum` whose docstring lists the key with its sentence (it becomes the description in the JSON
Schema); to the type checker they are plain strings.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from vision import registry
from vision.assessment import BASES, STEP_KINDS

BASIS_TEXT: Mapping[str, str] = {
    "rendered": "Calibrated on rendered photos only: not measured on real furniture.",
    "mixed": "Calibrated on rendered and real photos.",
    "real": "Calibrated on real photos.",
}
STEP_TEXT: Mapping[str, str] = {"photo": "Take this photo.", "check": "Look or touch by hand."}


def _names(title: str, entries: Mapping[str, str]) -> Any:
    kind = StrEnum(title, {k: k for k in entries})  # type: ignore[misc]
    kind.__doc__ = "\n".join(f"{k}: {text}" for k, text in entries.items())
    return kind


if TYPE_CHECKING:
    FaceName = str
    CoreName = str
    SubstrateName = str
    ViewName = str
    RoleName = str
    ProblemName = str
    CueName = str
    FindingName = str
    ReasonName = str
    AskName = str
    ClassName = str
    BasisName = str
    StepKind = str
    DetailGroup = str
    DetailName = str
    LevelName = str
else:
    FaceName = _names("FaceName", registry.FACES)
    CoreName = _names("CoreName", registry.CORES)
    SubstrateName = _names("SubstrateName", registry.SUBSTRATES)
    ViewName = _names("ViewName", registry.VIEWS)
    RoleName = _names("RoleName", registry.ROLES)
    ProblemName = _names("ProblemName", registry.PROBLEMS)
    CueName = _names("CueName", registry.CUES)
    FindingName = _names("FindingName", registry.FINDING_KINDS)
    ReasonName = _names("ReasonName", registry.REASONS)
    AskName = _names("AskName", registry.ASKS)
    ClassName = _names("ClassName", {**registry.FACES, **registry.CORES, **registry.VIEWS})
    BasisName = _names("BasisName", {b: BASIS_TEXT[b] for b in BASES})
    StepKind = _names("StepKind", {k: STEP_TEXT[k] for k in STEP_KINDS})
    DetailGroup = _names("DetailGroup", registry.DETAIL_GROUPS)
    DetailName = _names("DetailName", {k: text for group in registry.DETAILS.values() for k, text in group.items()})
    LevelName = _names("LevelName", registry.LEVELS)

"""When a verdict is given and when the answer is "cannot tell", and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from vision.types import Problem

#: Photo problems that can hide what would decide.
HIDING = frozenset({"motion_blur", "focus_blur", "underexposed", "overexposed", "glare", "too_far", "strong_compression"})
NARROW = frozenset({"edge", "end", "joint"})
WOOD = frozenset({"solid_wood", "veneer"})


@dataclass(frozen=True)
class Rule:
    """Learnt on authors held out so that decided verdicts are right often enough (see the model card).

    `face`, `core`: least probability of the leading class; `unlike`: unlikeness above which nothing is decided;
    `short_px`: least short side of a panel, photo px.
    """

    face: float
    core: float
    unlike: float
    short_px: float

    def __post_init__(self) -> None:
        if not all(0 <= v <= 1.01 for v in (self.face, self.core, self.unlike)) or self.short_px < 0:
            raise ValueError(f"not a decision rule: {self}")


@dataclass(frozen=True)
class Case:
    """What the decision looks at. `view`: key of registry.VIEWS; sets and distributions as in a verdict."""

    view: str
    face: Mapping[str, float]
    core: Mapping[str, float]
    core_visible: float
    face_set: Sequence[str]
    core_set: Sequence[str]
    unlikeness: float
    short_px: float


def reason_to_wait(case: Case, rule: Rule, problems: Sequence[Problem]) -> str | None:
    """None when the panel is decided, else the key of registry.REASONS.

    On a face the question is the face, on an edge, end or joint that shows its core it is the core. It is decided only
    when its set has come down to one class and that class is probable enough.
    """
    narrow = case.view in NARROW and case.core_visible >= 0.5
    if narrow:
        open_set, probability, least = case.core_set, max(case.core.values()), rule.core
    else:
        open_set, probability, least = case.face_set, max(case.face.values()), rule.face
    if case.short_px < rule.short_px:
        return "too_small"
    if case.unlikeness > rule.unlike:
        return "unlike_training"
    if len(open_set) == 1 and probability >= least:
        return None
    if any(p.kind in HIDING for p in problems):
        return "photo_problem"
    if narrow:
        return "weak_evidence"
    return "core_hidden" if case.view in NARROW else _open_face(open_set)


def _open_face(face_set: Sequence[str]) -> str:
    left = set(face_set)
    if left == WOOD:
        return "plain_face"
    if "printed" in left and left & WOOD and len(left) <= 3:
        return "print_or_wood"
    return "weak_evidence"

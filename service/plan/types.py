"""What travels in a plan: the part as planned for, steps, refusals and warnings, all frozen and checked."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from service.rulebook import Source
from vision import registry

GOALS: Mapping[str, str] = MappingProxyType({
    "restain": "back to bare wood and a new colour",
    "clear": "back to bare wood under a clear coat",
    "refresh": "keep the finish, clean and renew it",
    "paint": "a coat of paint",
    "gel_stain": "a coloured film over the old finish",
    "leave": "leave it as it is",
})
#: How far the material of a part is known.
BASES: Mapping[str, str] = MappingProxyType({
    "confirmed": "seen by hand", "decided": "told from photos", "open": "cannot be told yet",
})
#: What the old coat is; "unknown" until spot tests say.
OLD_FINISHES: Mapping[str, str] = MappingProxyType({
    "unknown": "not tested", "none": "bare", "wax": "wax", "oil": "oil", "shellac": "shellac", "lacquer": "lacquer",
    "lacquer_or_waterborne": "lacquer or a water-based finish", "reactive": "varnish, polyurethane or another cured finish",
    "paint": "paint",
})
#: What a step can do to someone; each has its notes of safety.
HAZARDS: Mapping[str, str] = MappingProxyType({
    "dust": "wood or board dust", "old_paint": "paint or finish that may hold lead", "solvent": "solvent fumes and fire",
    "stripper": "paint stripper", "oily_rags": "rags that can light themselves", "mould": "mould", "insects": "insects",
    "heat": "hot tools", "lifting": "heavy parts", "board_resin": "resin in board dust", "tipping": "tall pieces that fall",
    "resale": "goods that may not be sold", "upholstery": "foam and covers",
})
TOOLS = ("hand", "machine")


def _positive(value: float | None, what: str) -> None:
    if value is not None and not (math.isfinite(value) and value > 0):
        raise ValueError(f"{what} is above zero, got {value}")


@dataclass(frozen=True)
class Damage:
    """`kind`: key of registry.DETAILS["damage"]; `level`: key of registry.LEVELS; `sure`: seen by hand, not only pointed out on a
    photo."""

    kind: str
    level: str
    sure: bool = False

    def __post_init__(self) -> None:
        if self.kind not in registry.DETAILS["damage"] or self.level not in registry.LEVELS:
            raise ValueError(f"unknown damage {self.kind} of level {self.level}")


@dataclass(frozen=True)
class Subject:
    """One part as planned for.

    `faces`, `cores`: keys of registry.FACES and CORES not ruled out (one where told). `basis`: key of BASES. `length_mm`,
    `width_mm`: of one piece, None if unknown; `count`: equal pieces (drawer fronts). `face_mm`: (least, most) thickness of a
    veneer face, None: take `face_kind` (a kind of service/rules/sanding.toml). `earlier`: times refinished before. `wood`: as
    service.wood.density.species takes it. `bonded`: whether a film holds everywhere, None: not checked. `printed_graining`:
    figure printed or painted on real wood. `made_before_1978`: None: not known.
    """

    id: str
    name: str
    role: str
    faces: tuple[str, ...]
    cores: tuple[str, ...]
    basis: str = "open"
    length_mm: float | None = None
    width_mm: float | None = None
    count: int = 1
    wood: str | None = None
    face_mm: tuple[float, float] | None = None
    face_kind: str = "unknown"
    earlier: int = 0
    patched: bool = False
    sanded_through: bool = False
    bonded: bool | None = None
    printed_graining: bool = False
    old_finish: str = "unknown"
    made_before_1978: bool | None = None
    damage: tuple[Damage, ...] = ()

    def __post_init__(self) -> None:
        if self.role not in registry.ROLES or self.basis not in BASES or self.old_finish not in OLD_FINISHES:
            raise ValueError(f"unknown role, basis or old finish: {self.role}, {self.basis}, {self.old_finish}")
        if not self.faces or set(self.faces) - set(registry.FACES) or set(self.cores) - set(registry.CORES):
            raise ValueError(f"unknown faces {self.faces} or cores {self.cores}")
        _positive(self.length_mm, "length")
        _positive(self.width_mm, "width")
        if len({d.kind for d in self.damage}) != len(self.damage):
            raise ValueError("a kind of damage stands there once, at its worst level")
        if not 1 <= self.count <= 100 or not 0 <= self.earlier <= 10:
            raise ValueError(f"{self.count} pieces, {self.earlier} earlier jobs")

    @property
    def face(self) -> str | None:
        """The face where only one is left."""
        return self.faces[0] if len(self.faces) == 1 else None

    @property
    def core(self) -> str | None:
        """The core where only one is left; a solid face is lumber all through."""
        if self.face == "solid_wood":
            return "lumber"
        return self.cores[0] if len(self.cores) == 1 else None

    @property
    def area_m2(self) -> float | None:
        """Area of one side of all its pieces, square metres; None where a size is missing."""
        if self.length_mm is None or self.width_mm is None:
            return None
        return self.length_mm * self.width_mm * self.count / 1e6

    def has(self, *kinds: str) -> bool:
        """Whether it has damage of one of these kinds, seen by hand."""
        return any(d.kind in kinds and d.sure for d in self.damage)


@dataclass(frozen=True)
class Step:
    """One thing to do to one part. `key`: unique within the part's route; `product`: key of service/rules/products.toml; `coats`:
    of the product, 0 where none is spread; `grits`: FEPA P, coarse to fine; `minutes`: of work in all, None where the area is
    not known; `between_hours`: least wait from coat to coat; `wait_hours`: least wait before the next step; `test`: what to try
    first on a hidden place; `stop`: signs at which to stop; `hazards`: keys of HAZARDS; `spot_m2`: area where it is not the
    whole part."""

    key: str
    part: str
    title: str
    how: str
    product: str | None = None
    coats: int = 0
    tool: str | None = None
    grits: tuple[int, ...] = ()
    minutes: float | None = None
    between_hours: float = 0.0
    wait_hours: float = 0.0
    test: str = ""
    stop: tuple[str, ...] = ()
    hazards: tuple[str, ...] = ()
    sources: tuple[Source, ...] = ()
    spot_m2: float | None = None

    def __post_init__(self) -> None:
        _positive(self.spot_m2, "a spot")
        if self.tool is not None and self.tool not in TOOLS:
            raise ValueError(f"unknown tool {self.tool}")
        if unknown := set(self.hazards) - set(HAZARDS):
            raise ValueError(f"unknown hazards {sorted(unknown)}")
        if self.coats < 0 or min(self.between_hours, self.wait_hours) < 0 or (self.minutes is not None and self.minutes < 0):
            raise ValueError(f"step {self.key}: coats, waits and minutes are not below zero")
        if list(self.grits) != sorted(self.grits):
            raise ValueError(f"step {self.key}: grits run from coarse to fine")


@dataclass(frozen=True)
class Refusal:
    """A goal that this part does not allow, and why."""

    goal: str
    reason: str
    sources: tuple[Source, ...]


@dataclass(frozen=True)
class Pitfall:
    """Something that goes wrong on such a part under such a route. `patch`: the test patch that reveals it; `remedy`: what
    prevents it; `adds`: step to put before the first coat, or None."""

    key: str
    title: str
    text: str
    patch: str
    remedy: str
    sources: tuple[Source, ...]
    adds: Step | None = None


@dataclass(frozen=True)
class Repair:
    """Work on one damage. `first`: it comes before anything else (mould, insects); `ends`: it speaks for leaving the piece."""

    damage: Damage
    title: str
    steps: tuple[Step, ...]
    caution: str
    sources: tuple[Source, ...]
    first: bool = False
    ends: bool = False


@dataclass(frozen=True)
class Route:
    """What a goal takes on one part: steps in order. `conditions`: what must hold, checked by hand first."""

    goal: str
    part: str
    steps: tuple[Step, ...]
    conditions: tuple[str, ...]
    pitfalls: tuple[Pitfall, ...] = ()
    repairs: tuple[Repair, ...] = ()
    notes: tuple[str, ...] = field(default_factory=tuple)

    def __post_init__(self) -> None:
        if self.goal not in GOALS:
            raise ValueError(f"unknown goal {self.goal}")
        if len({s.key for s in self.steps}) != len(self.steps):
            raise ValueError("two steps have the same key")

"""One thing seen on a panel besides its material, as it travels: what, where, how sure, what it means for the work."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from vision import registry
from vision.types import Outline


@dataclass(frozen=True)
class Detail:
    """`group`: key of registry.DETAIL_GROUPS; `kind`: key of registry.DETAILS[group]; `chance`: 0..1 that it is there and is
    that, None where no chance was checked on real furniture; `level`: key of registry.LEVELS for damage, else None; `outline`:
    polygon in photo pixels; `text`: what is seen; `meaning`: what it means for the work, what it does not say; `numbers`:
    measures by name, their unit at the end of the name (`_px` photo pixels, `_mm`); names without one are counts or shares."""

    group: str
    kind: str
    chance: float | None
    level: str | None
    outline: Outline
    text: str
    meaning: str
    numbers: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.group not in registry.DETAILS or self.kind not in registry.DETAILS[self.group]:
            raise ValueError(f"unknown detail {self.group}.{self.kind}")
        if self.chance is not None and not 0 <= self.chance <= 1:
            raise ValueError(f"a chance lies between 0 and 1, got {self.chance}")
        if (self.level is not None) != (self.group == "damage") or (self.level is not None and self.level not in registry.LEVELS):
            raise ValueError(f"damage, and only damage, has a level of {list(registry.LEVELS)}, got {self.level!r}")
        if len(self.outline) < 3:
            raise ValueError("an outline has at least three points")
        if not all(math.isfinite(v) for v in self.numbers.values()):
            raise ValueError("what was not measured is left out, not given as nan")
        object.__setattr__(self, "numbers", MappingProxyType(dict(self.numbers)))

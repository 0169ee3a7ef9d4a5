"""Feature schema: which numbers describe a panel, in which order, and the hash that ties a model to them.

A measuring room declares its numbers as `Feature` rows and returns a plain dict of floats (nan = could not be measured
here). `schema()` concatenates the rows of all rooms in a fixed order.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from vision import registry


@dataclass(frozen=True)
class Feature:
    """One measured number. `group` is the finding kind it feeds; `unit` plain text; `about` one sentence."""

    name: str
    group: str
    unit: str
    about: str

    def __post_init__(self) -> None:
        if self.group not in registry.FINDING_KINDS:
            raise ValueError(f"feature {self.name}: unknown group {self.group!r}")


def schema_hash(features: Iterable[Feature], version: int) -> str:
    """SHA-256 over names, groups and units in order, plus a version that changes when a computation changes."""
    rows = [{k: v for k, v in asdict(f).items() if k != "about"} for f in features]
    return hashlib.sha256(json.dumps([version, rows], sort_keys=True).encode()).hexdigest()[:16]


def vector(values: Mapping[str, float], features: Iterable[Feature]) -> NDArray[np.float32]:
    """Ordered float32 vector; a missing name is an error, infinities become nan."""
    out = np.array([values[f.name] for f in features], dtype=np.float32)
    out[~np.isfinite(out)] = np.nan
    return out

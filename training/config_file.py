"""The committed settings of teaching, read from training/config/teach.json and checked."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vision import registry
from vision.inference import located
from vision.inference.model import TARGETS
from vision.looks import LOOKS

CONFIG = Path(__file__).resolve().parent / "config" / "teach.json"


@dataclass(frozen=True)
class ExpertSettings:
    """One expert. `kind`: the finding kind that its evidence is shown under, and for features the group it reads; `crops`:
    looks it reads instead of features; `penalty`: ridge; `dropped`: features of the group that are not used; `targets`:
    questions it is asked (all of them without)."""

    name: str
    kind: str
    penalty: float
    crops: tuple[str, ...] = ()
    dropped: tuple[str, ...] = ()
    targets: tuple[str, ...] = tuple(TARGETS)

    def __post_init__(self) -> None:
        if self.kind not in registry.FINDING_KINDS or not set(self.crops) <= set(LOOKS):
            raise ValueError(f"expert {self.name}: unknown kind or crop")
        if not set(self.targets) <= set(TARGETS):
            raise ValueError(f"expert {self.name}: unknown target among {self.targets}")
        if self.penalty <= 0:
            raise ValueError(f"expert {self.name}: penalty must be positive")


@dataclass(frozen=True)
class Config:
    """`level`, `pooled`: of the sets; `right_when_decided`: accuracy asked for of decided panels; `unlike`: unlikeness above
    which nothing is decided; `short_px`: least short side of a panel; `rendered`: total weight of rendered panels in the
    experts of each question, real ones have 1 (see docs/accuracy.md for how they were chosen);
    `prior_power`: how far the reference base rates of faces follow the collection's mix (1) rather than an even one (0);
    `rendered_rows`: how many of them the table keeps; `located`: kinds of located evidence on faces that count
    (`vision.inference.located`; the program itself always counts all of them); `distance_dims`, `distance_directions`: numbers
    of each crop and directions of all that unlikeness is told from, `distance_unseen`: how many times as far as taught authors'
    panels those of authors lie whose looks had no part in the projection (`training.refusal_scores` prints all three)."""

    seed: int
    inner_folds: int
    outer_folds: int
    look_dims: int
    distance_dims: int
    distance_directions: int
    distance_unseen: float
    level: float
    pooled: float
    right_when_decided: float
    unlike: float
    short_px: float
    trust_quantile: float
    stack_strength: float
    prior_power: float
    rendered: dict[str, float]
    rendered_rows: int
    experts: tuple[ExpertSettings, ...]
    located: tuple[str, ...] = tuple(located.SHARES)


def _expert(row: dict[str, Any]) -> ExpertSettings:
    settings: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in row.items()}
    return ExpertSettings(**settings)


def load_config(path: Path = CONFIG) -> Config:
    """Settings of a JSON file.

    Raises
    ------
    ValueError
        for an unknown or missing setting.
    """
    raw: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    try:
        rows: list[dict[str, Any]] = raw.pop("experts")
        experts = tuple(_expert(e) for e in rows)
        return Config(**raw, experts=experts)
    except (TypeError, KeyError) as err:
        raise ValueError(f"{path.name}: {err}") from err

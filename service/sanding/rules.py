"""The rules of sanding as types, from service/rules/sanding.toml or a file of the user's own."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from service.rulebook import Rulebook, Source, rulebook
from vision.errors import UsageError

TOOLS = ("hand", "machine")


@dataclass(frozen=True)
class Face:
    """Thickness in mm, taken as even between `low` and `high`. `words` say what is known; `source` None: measured."""

    words: str
    low: float
    high: float
    source: Source | None = None

    def __post_init__(self) -> None:
        if not 0 < self.low <= self.high <= 50:
            raise UsageError("face", f"{self.low} to {self.high} mm is no thickness of a face.", "Give millimetres above zero.")


@dataclass(frozen=True)
class Goal:
    """`field_um`: least removal that reaches it; `last`: grits it may end with."""

    name: str
    words: str
    field_um: float
    last: tuple[int, ...]
    source: Source


@dataclass(frozen=True)
class Spread:
    """Standard deviations of natural logarithms; times and depths as in the file."""

    person: float
    each_grit: float
    arris_times: float
    arris: float
    patch_times: float
    patch: float
    earlier_job_um: float
    earlier_job: float


@dataclass(frozen=True)
class Rules:
    """All of the file. `removal`: (grit, tool) -> middle estimate of one round, micrometres."""

    faces: dict[str, Face]
    removal: dict[tuple[int, str], float]
    spread: Spread
    goals: dict[str, Goal]
    sources: tuple[Source, ...]

    @property
    def grits(self) -> tuple[int, ...]:
        """Coarse to fine."""
        return tuple(sorted({p for p, _ in self.removal}))


def read(book: Rulebook | None = None) -> Rules:
    """The packaged rules, or those of another file.

    Raises
    ------
    UsageError
        where something is missing, or the numbers cannot be: removal that grows with finer grit, or by hand more than by machine.
    """
    book = rulebook("sanding") if book is None else book
    try:
        return _read(book)
    except (KeyError, TypeError, ValueError) as err:
        raise UsageError(book.name, f"something is missing or no number ({type(err).__name__}: {err}).",
                         "Begin from a copy of service/rules/sanding.toml.") from err


def _read(book: Rulebook) -> Rules:
    t = book.tables
    removal = {(r["p"], tool): float(r[f"{tool}_um"]) for r in t["grits"] for tool in TOOLS}
    grits = sorted({p for p, _ in removal})
    for tool in TOOLS:
        if any(removal[a, tool] < removal[b, tool] for a, b in itertools.pairwise(grits)):
            raise UsageError(book.name, f"finer grit removes more than coarser ({tool}).", "Mend the removal depths.")
    if any(removal[p, "hand"] > removal[p, "machine"] for p in grits):
        raise UsageError(book.name, "by hand more is removed than by machine.", "Mend the removal depths.")
    spread = Spread(**{k: float(v) for k, v in t["spread"].items() if k != "source"})
    faces = {r["kind"]: Face(r["words"], r["from_mm"], r["to_mm"], book.source(r)) for r in t["faces"]}
    goals = {r["name"]: Goal(r["name"], r["words"], r["field_um"], tuple(r["last"]), book.source(r)) for r in t["goals"]}
    return Rules(faces, removal, spread, goals, tuple(book.sources.values()))

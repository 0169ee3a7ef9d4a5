"""Notes of safety as types, from service/rules/safety.toml and safety_law.toml, checked when they are first read."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from service.plan.types import HAZARDS
from service.rulebook import BrokenRules, Rulebook, Source, rulebook
from vision import registry

#: What a hazard does at worst, worst first.
HARMS: Mapping[str, str] = MappingProxyType({
    "life": "can kill, or harm a child for life",
    "health": "can harm health for good",
    "injury": "can injure",
    "loss": "can spoil a home or other goods",
    "law": "lines that the law draws, and what counts when you sell",
})
#: Jurisdiction of a note that holds everywhere, and the place of a user whose own is not among those known.
ANY, OTHER = "any", "other"
#: Units of limits as pint reads them, with the words a text uses.
UNITS: Mapping[str, str] = MappingProxyType({
    "ppm": "ppm", "percent": "percent", "mg/m^3": "mg/m3", "mg/cm^2": "mg/cm2", "ft^2": "sq ft", "ft^3": "cu ft", "in": "in",
    "lb": "lb",
})
#: What can be known of the year in which a piece was made.
AGES: Mapping[bool | None, str] = MappingProxyType({True: "yes", False: "no", None: "unknown"})
MEND = "Mend the file, or install the program again."
_ROW = {"hazard", "harm", "title", "text", "limits", "effective", "when", "source", "also_source"}


@dataclass(frozen=True)
class Limit:
    """A number that a rule sets. `about`: what for; `unit`: key of UNITS."""

    about: str
    value: float
    unit: str

    def __post_init__(self) -> None:
        if not self.about or self.unit not in UNITS or not (math.isfinite(self.value) and self.value > 0):
            raise ValueError(f"no limit: {self.about!r}, {self.value} {self.unit!r}")


@dataclass(frozen=True)
class Note:
    """One note. `hazard`: key of HAZARDS; `harm`: key of HARMS; `jurisdiction`: ANY or a key of Rules.places; `date`: day from
    which a rule holds, None where there is none or it is not known; `limits`: the numbers in its text."""

    key: str
    hazard: str
    harm: str
    title: str
    text: str
    jurisdiction: str
    sources: tuple[Source, ...]
    date: date | None = None
    limits: tuple[Limit, ...] = ()

    def __post_init__(self) -> None:
        if self.hazard not in HAZARDS or self.harm not in HARMS:
            raise ValueError(f"{self.key}: unknown hazard {self.hazard!r} or harm {self.harm!r}")
        if not self.title or not self.text.endswith((".", ".)")) or not self.sources:
            raise ValueError(f"{self.key}: a title, sentences and a source are needed")
        for limit in self.limits:
            if not _stands_in(limit, self.text):
                raise ValueError(f"{self.key}: {limit.value:g} {UNITS[limit.unit]} does not stand in its text")

    @property
    def source(self) -> Source:
        """The first source, the one its facts come from."""
        return self.sources[0]

    @property
    def value(self) -> float | None:
        """The number where there is one only."""
        return self.limits[0].value if len(self.limits) == 1 else None

    @property
    def unit(self) -> str | None:
        """The unit of `value`."""
        return self.limits[0].unit if len(self.limits) == 1 else None


def _stands_in(limit: Limit, text: str) -> bool:
    """Whether a text holds the number and the words of its unit."""
    number = re.escape(f"{limit.value:g}") + (r"(?:\.0)?" if limit.value == int(limit.value) else "")
    return re.search(rf"(?<![\d.]){number}(?![\d])(?!\.\d)", text) is not None and f" {UNITS[limit.unit]}" in text


@dataclass(frozen=True)
class When:
    """Where a note is shown; an empty condition always holds. `ages`: words of AGES."""

    ages: tuple[str, ...] = ()
    cores: tuple[str, ...] = ()
    roles: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for found, known in ((self.ages, AGES.values()), (self.cores, registry.CORES), (self.roles, registry.ROLES)):
            if unknown := set(found) - set(known):
                raise ValueError(f"a condition that is not known: {sorted(unknown)}")


@dataclass(frozen=True)
class Rules:
    """All of both files. `places`: jurisdictions with their names; `line_of_1978`: those where 1978 is the line for lead;
    `notes`: each with its condition, worst first."""

    places: Mapping[str, str]
    line_of_1978: frozenset[str]
    notes: tuple[tuple[Note, When], ...]


def _when(row: Mapping[str, Any], key: str) -> When:
    if unknown := set(row) - {"made_before_1978", "cores", "roles"}:
        raise ValueError(f"{key}: when {sorted(unknown)}")
    if any(not v or isinstance(v, str) for v in row.values()):
        raise ValueError(f"{key}: a condition is a list that holds something")
    return When(tuple(row.get("made_before_1978", ())), tuple(row.get("cores", ())), tuple(row.get("roles", ())))


def _note(book: Rulebook, place: str, name: str, row: Mapping[str, Any], harms: Mapping[str, str]) -> tuple[Note, When]:
    key = f"{place}.{name}"
    if unknown := set(row) - _ROW:
        raise ValueError(f"{key}: unknown entries {sorted(unknown)}")
    effective = row.get("effective")
    if effective is not None and (not isinstance(effective, date) or isinstance(effective, datetime)):
        raise ValueError(f"{key}: effective is no day")
    named = [row["source"], *([row["also_source"]] if "also_source" in row else [])]
    note = Note(key, row["hazard"], row.get("harm", harms[row["hazard"]]), row["title"], row["text"], place,
                tuple(book.sources[s] for s in named), effective,
                tuple(Limit(str(about), float(value), str(unit)) for about, value, unit in row.get("limits", ())))
    return note, _when(row.get("when", {}), key)


def _all(book: Rulebook, places: Mapping[str, str], harms: Mapping[str, str]) -> Iterator[tuple[Note, When]]:
    for place, rows in book.tables["notes"].items():
        if place not in places:
            raise ValueError(f"notes of {place!r}, which is not among the places")
        for name, row in rows.items():
            yield _note(book, place, name, row, harms)


def read(general: Rulebook | None = None, law: Rulebook | None = None) -> Rules:
    """The notes of both files, checked and put in order: worst harm first, then by hazard, what holds everywhere first.

    Raises
    ------
    BrokenRules
        naming the file, where something is missing, unknown or of the wrong kind.
    """
    general = rulebook("safety") if general is None else general
    law = rulebook("safety_law") if law is None else law
    at = general.name
    try:
        harms: dict[str, str] = general.tables["harms"]
        if set(harms) != set(HAZARDS) or set(harms.values()) - set(HARMS):
            raise ValueError("harms do not name every hazard with a harm that is known")
        found = list(_all(general, {ANY: "everywhere"}, harms))
        if bare := set(HAZARDS) - {n.hazard for n, _ in found}:
            raise ValueError(f"no note that holds everywhere for {sorted(bare)}")
        at = law.name
        places = {str(k): str(v) for k, v in law.tables["places"].items()}
        if {ANY, OTHER} & set(places):
            raise ValueError(f"{ANY} and {OTHER} are no places")
        line = frozenset(law.tables["line_of_1978"])
        if not line or line - set(places):
            raise ValueError(f"line_of_1978 names {sorted(line)}")
        found += _all(law, places, harms)
    except (KeyError, TypeError, ValueError, AttributeError) as err:
        raise BrokenRules(at, f"something is missing or of the wrong kind ({type(err).__name__}: {err}).", MEND) from err
    harm, hazard = list(HARMS), list(harms)
    found.sort(key=lambda row: (harm.index(row[0].harm), hazard.index(row[0].hazard), row[0].jurisdiction != ANY))
    return Rules(MappingProxyType(places), line, tuple(found))


@lru_cache(maxsize=1)
def rules() -> Rules:
    """The packaged rules."""
    return read()

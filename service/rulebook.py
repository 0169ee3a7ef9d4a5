"""Rules kept as readable data: files in service/rules, each row with its source, checked when they are first read."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

from vision.errors import GrainassayError

STATUSES = {
    "seen": "seen there or in a copy of it",
    "secondary": "a trade page states it",
    "memory": "from memory, not confirmed",
    "computed": "computed from values that were seen",
    "common": "common practice, no source",
    "estimate": "an estimate of this program's makers, to be changed by the user",
}


class BrokenRules(GrainassayError):
    """A file of rules that does not hold together."""


@dataclass(frozen=True)
class Source:
    """Where a rule comes from. `status`: key of STATUSES; `date`: when it was read or of which day it speaks, may be empty."""

    key: str
    title: str
    status: str
    date: str = ""

    @property
    def words(self) -> str:
        """As shown beside a rule."""
        return f"{self.title} ({STATUSES[self.status]})"


@dataclass(frozen=True)
class Rulebook:
    """One file. `tables`: all but the sources."""

    name: str
    tables: Mapping[str, Any]
    sources: Mapping[str, Source]

    def source(self, row: Mapping[str, Any]) -> Source:
        """The source that a row names."""
        return self.sources[row["source"]]


def _rows(value: Any) -> Iterator[tuple[str, str]]:
    """(key, source named) of every row at any depth."""
    if isinstance(value, dict):
        for key, inner in value.items():
            if (key == "source" or key.endswith("_source")) and isinstance(inner, str):
                yield key, inner
            else:
                yield from _rows(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _rows(inner)


def parse(name: str, text: str) -> Rulebook:
    """A rulebook from the text of its file.

    Raises
    ------
    BrokenRules
        if it is no TOML, a source has no title or an unknown status, or a row names a source that is not there.
    """
    mend = "Install the program again, or mend the file."
    try:
        found = tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        raise BrokenRules(name, f"cannot be read: {err}.", mend) from err
    sources = {}
    for key, row in found.pop("sources", {}).items():
        if not row.get("title") or row.get("status") not in STATUSES:
            raise BrokenRules(name, f"source {key!r} needs a title and a status among {', '.join(STATUSES)}.", mend)
        sources[key] = Source(key, row["title"], row["status"], row.get("date", ""))
    named = {source for _, source in _rows(found)}
    if missing := sorted(named - sources.keys()):
        raise BrokenRules(name, f"names sources that it does not list: {', '.join(missing)}.", mend)
    return Rulebook(name, found, sources)


@lru_cache(maxsize=16)
def rulebook(name: str) -> Rulebook:
    """The packaged file NAME.toml."""
    return parse(f"{name}.toml", files("service").joinpath(f"rules/{name}.toml").read_text(encoding="utf-8"))

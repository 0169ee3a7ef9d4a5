"""Which cautions belong to a piece of work, by what it can do to someone and where it is done, from service/rules/safety.toml."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from service.plan.types import HAZARDS
from service.rulebook import BrokenRules, Rulebook, Source, rulebook
from vision import registry
from vision.errors import UsageError

MEND = "Mend the file, or install the program again."
ANY = "any"
#: Where rules of one's own are known; "other" shows what holds everywhere.
JURISDICTIONS: Mapping[str, str] = {"us": "United States", "eu": "European Union", "other": "elsewhere"}
DEFER = ("Local codes, product labels and licensed practice come first wherever they say more or other than this. "
         "This is no legal advice.")


@dataclass(frozen=True)
class Note:
    """One caution. `where`: key of JURISDICTIONS or "any"; `rank`: 1 is worst; `value`, `unit`: of a limit, or None; `cores`:
    only where such board may be there; `old`: only where the finish may be of before 1978."""

    key: str
    hazard: str
    where: str
    rank: int
    title: str
    text: str
    source: Source
    value: float | None = None
    unit: str = ""
    cores: tuple[str, ...] = ()
    old: bool = False


def _note(book: Rulebook, row: Mapping[str, Any]) -> Note:
    strange = set(row.get("cores", ())) - set(registry.CORES)
    if row["hazard"] not in HAZARDS or row["where"] not in (ANY, *JURISDICTIONS) or strange:
        raise BrokenRules(book.name, f"note {row['key']!r} names an unknown hazard, place or core.", MEND)
    value = row.get("value")
    return Note(row["key"], row["hazard"], row["where"], int(row["rank"]), row["title"], row["text"], book.source(row),
                None if value is None else float(value), row.get("unit", ""), tuple(row.get("cores", ())),
                bool(row.get("old", False)))


def read(book: Rulebook | None = None) -> tuple[Note, ...]:
    """The rules of a file, checked.

    Raises
    ------
    BrokenRules
        where something is missing or unknown, or a hazard has no note that holds everywhere.
    """
    book = rulebook("safety") if book is None else book
    try:
        found = tuple(_note(book, r) for r in book.tables["notes"])
    except (KeyError, TypeError, ValueError) as err:
        raise BrokenRules(book.name, f"something is missing or of the wrong kind ({type(err).__name__}: {err}).", MEND) from err
    if missing := set(HAZARDS) - {n.hazard for n in found if n.where == ANY}:
        raise BrokenRules(book.name, f"has no note that holds everywhere for: {', '.join(sorted(missing))}.", MEND)
    return found


@lru_cache(maxsize=1)
def all_notes() -> tuple[Note, ...]:
    """The packaged rules."""
    return read()


def notes(
    hazards: Collection[str], *, where: str = "other", made_before_1978: bool | None = None,
    cores: Collection[str] = tuple(registry.CORES),
) -> tuple[Note, ...]:
    """Cautions for these hazards, worst first: those that hold anywhere and those of the place chosen, of no other.

    `made_before_1978`: None, not known, counts as yes. `cores`: not ruled out.

    Raises
    ------
    UsageError
        for a hazard or a place that is not known.
    """
    if unknown := set(hazards) - set(HAZARDS):
        raise UsageError("safety", f"unknown hazards: {', '.join(sorted(unknown))}.", "Use some of: " + ", ".join(HAZARDS) + ".")
    if where not in JURISDICTIONS:
        raise UsageError("where", f"{where!r} is not known.", "Use one of: " + ", ".join(JURISDICTIONS) + ".")
    order = list(hazards)
    found = [n for n in all_notes() if n.hazard in order and n.where in (ANY, where)
             and (not n.cores or set(n.cores) & set(cores)) and not (n.old and made_before_1978 is False)]
    return tuple(sorted(found, key=lambda n: (n.rank, order.index(n.hazard))))


def document(found: Collection[Note], where: str) -> dict[str, Any]:
    """JSON types."""
    return {"schema": "grainassay.safety/1.0", "where": where,
            "notes": [{"key": n.key, "hazard": n.hazard, "where": n.where, "title": n.title, "text": n.text, "value": n.value,
                       "unit": n.unit, "source": n.source.title, "status": n.source.status, "date": n.source.date}
                      for n in found], "defer": DEFER}


def place(note: Note) -> str:
    """'everywhere' or the name of the jurisdiction."""
    return "everywhere" if note.where == ANY else JURISDICTIONS[note.where]


def lines_of(found: Collection[Note], where: str) -> list[str]:
    """What is printed: each caution with where it holds, its source and its date."""
    lines = []
    for n in found:
        date = f", {n.source.date}" if n.source.date else ""
        lines += [f"{n.title} ({place(n)})", f"  {n.text}", f"  Source: {n.source.words}{date}"]
    if where == "other":
        lines.append("Rules of one country are added with --where: us, eu.")
    return [*lines, DEFER]

"""Notes of safety in words and as JSON types, each with its place, its date and its source."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from datetime import date
from typing import Any

from service.plan.types import HAZARDS
from service.rulebook import STATUSES, Source
from service.safety.choose import known_place
from service.safety.rules import ANY, HARMS, OTHER, Note, rules

SCHEMA = "grainassay.safety/1.0"
DEFER = ("These notes are general and no legal advice. Local codes, the product's label and licensed practice come first "
         "wherever they say more or other.")
#: Columns that printed text keeps within.
WIDTH = 100


def place_words(where: str) -> str:
    """'United States', or what is said of a user elsewhere."""
    return "no place named" if where == OTHER else rules().places[where]


def place_line(where: str) -> str:
    """One sentence: whose rules are shown, and whose are known."""
    known = ", ".join(f"{key} ({name})" for key, name in rules().places.items())
    if known_place(where) == OTHER:
        return f"No place named: what holds everywhere, and no law. Rules are known for {known}; --where adds them."
    return f"What holds everywhere, and rules of: {place_words(where)}. Also known: " + ", ".join(
        f"{key} ({name})" for key, name in rules().places.items() if key != where) + "."


def day_words(day: date) -> str:
    """'August 14, 2009'."""
    return f"{day:%B} {day.day}, {day.year}"


def source_words(source: Source) -> str:
    """Title, how far it can be trusted, and its date or when it was read."""
    return f"{source.title} ({STATUSES[source.status]}{'; ' + source.date if source.date else ''})"


def origin(note: Note) -> str:
    """Whose rule it is, since when, and where it comes from."""
    whose = "Everywhere" if note.jurisdiction == ANY else place_words(note.jurisdiction)
    since = f", in force from {day_words(note.date)}" if note.date is not None else ""
    return f"{whose}{since}. Source: " + "; ".join(source_words(s) for s in note.sources) + "."


def _wrapped(text: str, indent: int) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=" " * indent, subsequent_indent=" " * indent, break_on_hyphens=False)


def lines_of(notes: Sequence[Note], *, where: str, sources: bool = True) -> list[str]:
    """What is printed: worst first, under the harm they do. Without `sources` a note keeps its place and date only."""
    lines = [*_wrapped(place_line(where), 0), *_wrapped(DEFER, 0)]
    harm = None
    for note in notes:
        if note.harm != harm:
            harm = note.harm
            lines += ["", HARMS[harm][:1].upper() + HARMS[harm][1:]]
        lines += [f"  {note.title} [{HAZARDS[note.hazard]}]", *_wrapped(note.text, 4)]
        lines += _wrapped(origin(note) if sources else origin(note).partition(" Source: ")[0], 6)
    if not notes:
        lines += ["", "No hazard was named, so there is no note. That is no word on the work itself."]
    return lines


def note_json(note: Note) -> dict[str, Any]:
    """One note as JSON types; `value` and `unit` are null unless it sets one number only, `limits` has all."""
    return {
        "key": note.key, "hazard": note.hazard, "about": HAZARDS[note.hazard], "harm": note.harm, "title": note.title,
        "text": note.text, "jurisdiction": note.jurisdiction, "date": note.date.isoformat() if note.date is not None else None,
        "value": note.value, "unit": note.unit,
        "limits": [{"about": x.about, "value": x.value, "unit": x.unit} for x in note.limits],
        "sources": [{"title": s.title, "status": s.status, "date": s.date or None} for s in note.sources],
    }


def document(notes: Sequence[Note], *, where: str) -> dict[str, Any]:
    """JSON types; `notes` worst first, units as pint reads them."""
    return {
        "schema": SCHEMA, "where": known_place(where), "place": place_words(where), "places": dict(rules().places),
        "harms": dict(HARMS), "notes": [note_json(n) for n in notes], "cautions": [DEFER],
    }

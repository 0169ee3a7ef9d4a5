"""`grainassay moves`: how far a solid top or drawer front swells or shrinks between where it stood and where it will stand."""

from __future__ import annotations

from typing import Any

from service.rulebook import Source, rulebook
from service.units import length_words
from service.wood.density import Species
from service.wood.movement import Climate, Movement, risk

ONLY_SOLID = "This holds for solid wood across its grain. Veneer moves with its core; plywood and boards move far less."
WHERE = ("Where a frame, a cleat or screws hold it, it splits or buckles instead; where it runs in a groove, a gap opens or it "
         "jams. Give it some weeks in the new room before gluing or filling cracks.")
ROUGH = "A rough figure: trees differ, and the air of a room is never one number."


def document(wood: Species, width: float, found: Movement, store: Climate, home: Climate) -> dict[str, Any]:
    """JSON types: mm, percent, Celsius; plus is swelling."""
    return {"schema": "grainassay.moves/1.0", "wood": wood.name, "width_mm": width,
            "before": {"humidity_percent": store.humidity, "celsius": store.celsius, "moisture_percent": round(found.before, 2)},
            "after": {"humidity_percent": home.humidity, "celsius": home.celsius, "moisture_percent": round(found.after, 2)},
            "quarter_sawn_mm": None if found.quarter_mm is None else round(found.quarter_mm, 2),
            "flat_sawn_mm": None if found.flat_mm is None else round(found.flat_mm, 2),
            "sources": [{"title": s.title, "status": s.status} for s in sources(wood)], "cautions": [ONLY_SOLID, WHERE, ROUGH]}


def sources(wood: Species) -> tuple[Source, ...]:
    """What a wood's movement rests on."""
    book = rulebook("wood")
    own = () if wood.movement_source is None else (wood.movement_source,)
    return (*own, book.source(book.tables["moisture"]))


def _by(mm: float | None, us: bool) -> str:
    if mm is None:
        return "not known here"
    return "nothing" if abs(mm) < 0.05 else f"{'widens' if mm > 0 else 'shrinks'} by {length_words(abs(mm), us)} ({risk(mm)})"


def lines_of(wood: Species, width: float, found: Movement, us: bool) -> list[str]:
    """What is printed."""
    water = f"water {found.before:.1f} % there, {found.after:.1f} % at home"
    return [f"{wood.name}, {length_words(width, us)} across the grain: {water}.",
            f"  flat-sawn: {_by(found.flat_mm, us)}; quarter-sawn: {_by(found.quarter_mm, us)}"]

"""`grainassay moves`: how far a solid top or drawer front swells or shrinks between where it stood and where it will stand."""

from __future__ import annotations

import json
from typing import Annotated, Any

import typer

from service.rulebook import Source, rulebook
from service.units import length_words, quantity
from service.wood.density import Species, species
from service.wood.movement import Climate, Movement, between

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
    return "nothing" if abs(mm) < 0.05 else f"{'widens' if mm > 0 else 'shrinks'} by {length_words(abs(mm), us)}"


def lines_of(wood: Species, width: float, found: Movement, us: bool) -> list[str]:
    """What is printed."""
    water = f"water {found.before:.1f} % there, {found.after:.1f} % at home"
    return [f"{wood.name}, {length_words(width, us)} across the grain: {water}.",
            f"  flat-sawn: {_by(found.flat_mm, us)}; quarter-sawn: {_by(found.quarter_mm, us)}"]


def moves(
    width: Annotated[str, typer.Argument(metavar="WIDTH", help="Size across the grain: '914mm', '36in'.")],
    wood: Annotated[str, typer.Option("--wood", metavar="NAME", help="The wood, as in oak or 'sugar maple'.")],
    stored: Annotated[float, typer.Option("--stored", metavar="PERCENT", help="Humidity of the air where it stood.")],
    home: Annotated[float, typer.Option("--home", metavar="PERCENT", help="Humidity of the air where it will stand.")],
    stored_celsius: Annotated[float, typer.Option("--stored-celsius", help="Temperature where it stood.")] = 15.0,
    home_celsius: Annotated[float, typer.Option("--home-celsius", help="Temperature where it will stand.")] = 21.0,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON document for each wood the name can mean.")] = False,
    us: Annotated[bool, typer.Option("--us", help="Print inches.")] = False,
) -> None:
    """Foresee how far a solid part swells or shrinks on its way from a store to a home."""
    across = quantity(width, "length", "width")
    there, here = Climate(stored, stored_celsius), Climate(home, home_celsius)
    woods = [w for w in species(wood) if w.radial is not None or w.tangential is not None] or list(species(wood))[:1]
    found = [(w, between(w, across, there, here)) for w in woods]
    if as_json:
        typer.echo(json.dumps([document(w, across, m, there, here) for w, m in found], indent=2))
        return
    said = [line for w, m in found for line in lines_of(w, across, m, us)]
    rests = [f"  {s.words}" for s in dict.fromkeys(s for w, _ in found for s in sources(w))]
    typer.echo("\n".join([*said, ONLY_SOLID, WHERE, ROUGH, "", "Rests on:", *rests]))

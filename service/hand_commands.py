"""Commands for checks by hand: options only, so that starting the program stays light."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer


def weigh_part(
    mass: Annotated[str, typer.Argument(metavar="MASS", help="What the part weighs: '5.9kg', '13 lb 4 oz'.")],
    size: Annotated[str | None, typer.Argument(metavar="SIZE", help="Its length x width x thickness: '1000x500x18mm', "
                                               "'39x20x3/4in'. Left out for a whole piece.")] = None,
    board: Annotated[list[str] | None, typer.Option("--board", metavar="'LxWxT*N, CORE'", help="For a whole piece: its boards, "
                                                    "as in '1200x500x18mm*2'; name the core of those you know. "
                                                    "Repeatable.")] = None,
    wood: Annotated[str | None, typer.Option("--wood", metavar="NAME", help="The wood it would be if it is lumber.")] = None,
    moisture: Annotated[float | None, typer.Option("--moisture", metavar="PERCENT", help="Water in it (indoors: 8).")] = None,
    scale_error: Annotated[str | None, typer.Option("--scale-error", metavar="MASS", help="Nine times in ten the scale is "
                                                    "right within this (usual: 0.1 kg).")] = None,
    size_error: Annotated[str | None, typer.Option("--size-error", metavar="LENGTH", help="The same for each size "
                                                   "(usual: 1 mm).")] = None,
    fittings: Annotated[str | None, typer.Option("--fittings", metavar="MASS", help="Handles and hinges left on.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON document instead of text.")] = False,
    us: Annotated[bool, typer.Option("--us", help="Print pounds and inches.")] = False,
) -> None:
    """Weigh a flat part, or a whole piece, and learn which cores that speaks against, and which it cannot tell apart."""
    from service.weigh import document, lines_of, part_of, whole_document, whole_lines, whole_of
    from service.wood.weigh import weigh
    from service.wood.whole import weigh_whole
    from vision.errors import UsageError

    if (size is None) == (not board):
        raise UsageError("weigh", "the size of a part or the boards of a whole piece are needed, and not both.",
                         "Give SIZE, or --board once for each kind of board.")
    if size is None:
        piece = whole_of(mass, board or [], scale_error=scale_error, size_error=size_error, fittings=fittings)
        cores = weigh_whole(piece, wood)
        typer.echo(json.dumps(whole_document(piece, cores, wood), indent=2) if as_json
                   else "\n".join(whole_lines(piece, cores, wood, us)))
        return
    part = part_of(mass, size, wood=wood, moisture=moisture, scale_error=scale_error, size_error=size_error, fittings=fittings)
    found = weigh(part)
    typer.echo(json.dumps(document(part, found), indent=2) if as_json else "\n".join(lines_of(part, found, us)))


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
    from service.moves import ONLY_SOLID, ROUGH, WHERE, document, lines_of, sources
    from service.units import quantity
    from service.wood.density import species
    from service.wood.movement import Climate, between

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


def sand(
    face: Annotated[str, typer.Option("--face", metavar="MM|KIND", help="Thickness of the face, '0.6mm' or '0.5-0.7mm', or "
                                      "unknown, plywood, modern, mid_century, hand_sawn.")] = "unknown",
    goal: Annotated[str | None, typer.Option("--goal", metavar="NAME", help="scuff, clear, restain or level: the gentlest way "
                                             "there is looked for.")] = None,
    way: Annotated[str | None, typer.Option("--way", metavar="STEPS", help="A way to judge: '120m,150x2h,180h'.")] = None,
    face_error: Annotated[str | None, typer.Option("--face-error", metavar="LENGTH", help="It is right within this.")] = None,
    earlier: Annotated[int, typer.Option("--earlier", metavar="N", help="Times it was refinished before.")] = 0,
    patched: Annotated[bool, typer.Option("--patched", help="There are old patches, or there may be.")] = False,
    rules_file: Annotated[Path | None, typer.Option("--rules", metavar="FILE.toml", help="Removal depths of your own.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON document instead of text.")] = False,
) -> None:
    """Learn how much sanding a thin face stands, and the gentlest way to a goal."""
    from service.sand import document, face_of, lines_of, own_rules, way_of
    from service.sanding.budget import Bench, safest
    from service.sanding.rules import read
    from vision.errors import UsageError

    if (goal is None) == (way is None):
        raise UsageError("sand", "a goal or a way is needed, and not both.", "Give --goal restain, or --way 150x2h,180h.")
    rules = read(own_rules(rules_file) if rules_file is not None else None)
    if goal is not None and goal not in rules.goals:
        raise UsageError("goal", f"{goal!r} is not known.", "Use one of: " + ", ".join(rules.goals) + ".")
    thickness = face_of(face, rules, face_error)
    bench = Bench(rules, thickness, earlier=earlier, patched=patched)
    found = safest(bench, rules.goals[goal]) if goal is not None else bench.outlook(way_of(way or ""))
    typer.echo(json.dumps(document(thickness, found, goal), indent=2) if as_json
               else "\n".join(lines_of(thickness, found, rules, goal)))

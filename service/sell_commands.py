"""Commands for selling and carrying: options only, so that starting the program stays light."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

ASSESSMENT = typer.Option("--assessment", metavar="FILE.json", help="What look --json printed.")
AS_JSON = typer.Option("--json", help="One JSON document instead of text.")
US = typer.Option("--us", help="Print pounds and inches.")


def advert(
    request: Annotated[Path | None, typer.Argument(metavar="FILE.toml", help="What you know of the parts; docs/plan.toml is "
                                                   "one.")] = None,
    assessment: Annotated[Path | None, ASSESSMENT] = None,
    answers: Annotated[Path | None, typer.Option("--answers", metavar="FILE.json", help="Hand checks: see grainassay "
                                                 "check.")] = None,
    piece: Annotated[str, typer.Option("--piece", metavar="WORDS", help="What it is, as in 'chest of drawers'.")] = "furniture",
    size: Annotated[str | None, typer.Option("--size", metavar="WxDxH", help="Of the whole piece.")] = None,
    price: Annotated[float | None, typer.Option("--price", help="What you ask.")] = None,
    currency: Annotated[str, typer.Option("--currency", metavar="NAME", help="Of the price.")] = "",
    done: Annotated[list[str] | None, typer.Option("--done", metavar="WORDS", help="Work that was done. Repeatable.")] = None,
    smoke_free: Annotated[bool | None, typer.Option("--smoke-free/--smoked-near", help="Where it was kept.")] = None,
    pet_free: Annotated[bool | None, typer.Option("--pet-free/--pets", help="Where it was kept.")] = None,
    us: Annotated[bool, US] = False,
    as_json: Annotated[bool, AS_JSON] = False,
) -> None:
    """Write the advert: of each part what is known and no more, and the photos that it needs."""
    from service.hand.state import Answers, read_answers, read_document
    from service.plan.request import Request, read
    from service.plan.subjects import subjects
    from service.sell.advert import Facts, advert, document, lines_of
    from service.sell.haul import space

    whole = space(size, 3, "size") if size is not None else None
    facts = Facts(piece, None if whole is None else (whole[0], whole[1], whole[2]), price, currency, tuple(done or []),
                  smoke_free, pet_free)
    parts = subjects(read_document(assessment) if assessment is not None else None,
                     read_answers(answers) if answers is not None else Answers(),
                     read(request) if request is not None else Request())
    found = advert(parts, facts, us=us)
    typer.echo(json.dumps(document(found), indent=2) if as_json else "\n".join(lines_of(found)))


def haul(
    size: Annotated[str, typer.Argument(metavar="WxDxH", help="Of the whole piece, as in 900x450x1100mm.")],
    mass: Annotated[str | None, typer.Option("--mass", metavar="MASS", help="Where it was weighed.")] = None,
    board: Annotated[list[str] | None, typer.Option("--board", metavar="'LxWxT*N, CORE'", help="Its parts, as in "
                                                    "'1200x500x18mm*2, particle_board'; number and core may be left out. "
                                                    "Repeatable.")] = None,
    case: Annotated[bool, typer.Option("--case", help="A chest or cabinet: estimate its mass from its size.")] = False,
    core: Annotated[list[str] | None, typer.Option("--core", metavar="NAME", help="Not ruled out: lumber, plywood, "
                                                   "particle_board or fibreboard. Repeatable; usual: what the assessment leaves, "
                                                   "else all.")] = None,
    extra: Annotated[str | None, typer.Option("--extra", metavar="MASS", help="Mirrors, marble, fittings.")] = None,
    vehicle: Annotated[str | None, typer.Option("--vehicle", metavar="LxWxH", help="Loading space.")] = None,
    door: Annotated[str | None, typer.Option("--door", metavar="WxH", help="Narrowest door on the way.")] = None,
    corner: Annotated[str | None, typer.Option("--corner", metavar="AxB", help="Widths of two corridors that meet.")] = None,
    stairs: Annotated[bool, typer.Option("--stairs", help="There are stairs on the way.")] = False,
    assessment: Annotated[Path | None, ASSESSMENT] = None,
    us: Annotated[bool, US] = False,
    as_json: Annotated[bool, AS_JSON] = False,
) -> None:
    """Foresee carrying it: what it weighs, whether it fits the car, the door and the corner, how many people it takes."""
    from service.hand.state import read_document
    from service.sell.haul import (
        CORES,
        Asked,
        board_of,
        comes_apart,
        cores_left,
        document,
        joints_seen,
        lines_of,
        mass_of,
        reckoned,
        space,
    )

    doc = read_document(assessment) if assessment is not None else None
    cores = tuple(core) if core else cores_left(doc) if doc is not None else CORES
    a = space(size, 3, "size")
    car, way, turn = (None if t is None else space(t, n, w)
                      for t, n, w in ((vehicle, 3, "vehicle"), (door, 2, "door"), (corner, 2, "corner")))
    found = reckoned(Asked(
        (a[0], a[1], a[2]), mass_of(mass, "mass"), tuple(board_of(b, cores) for b in board or []),
        None if car is None else (car[0], car[1], car[2]), None if way is None else (way[0], way[1]),
        None if turn is None else (turn[0], turn[1]), stairs, mass_of(extra, "extra") or 0.0, case, cores))
    apart = comes_apart(joints_seen(doc) if doc is not None else ())
    typer.echo(json.dumps(document(found, apart), indent=2) if as_json else "\n".join(lines_of(found, apart, us)))

"""Command for hand checks on a part: options only, so that starting the program stays light."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer


def check(
    part: Annotated[str, typer.Argument(metavar="PART", help="Id of a part in the assessment, or without one what it is: top, "
                                        "drawer_front, door, side ...")],
    say: Annotated[list[str] | None, typer.Option("--say", metavar="CHECK=ANSWER", help="What you found; without any, the next "
                                                  "check is asked for. Repeatable.")] = None,
    weighed: Annotated[str | None, typer.Option("--weighed", metavar="'MASS, SIZE, WOOD'", help="The part on a scale, as in "
                                                "'5.9kg, 1000x500x18mm, pine'; the wood may be left out.")] = None,
    confirmed: Annotated[str | None, typer.Option("--confirmed", metavar="FACE/CORE", help="Known for certain, as in "
                                                  "veneer/particle_board or solid_wood.")] = None,
    size: Annotated[str | None, typer.Option("--size", metavar="LxW", help="As measured, for the plan: '1200x500mm'.")] = None,
    assessment: Annotated[Path | None, typer.Option("--assessment", metavar="FILE.json", help="What look --json printed; "
                                                    "without it the part starts from even chances.")] = None,
    answers: Annotated[Path | None, typer.Option("--answers", metavar="FILE.json", help="Answers so far; read, added to and "
                                                 "written back.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON document instead of text.")] = False,
) -> None:
    """Put what your hands found together with what photos showed, and learn which check tells most next."""
    from service.check import begun, report, said, write
    from service.hand.state import read_document

    doc = read_document(assessment) if assessment is not None else None
    now = said(begun(answers), doc, part, say or [], weighed, confirmed, size)
    found, lines = report(doc, now, part)
    if answers is not None:
        write(answers, now)
    typer.echo(json.dumps(found, indent=2) if as_json else "\n".join(lines))

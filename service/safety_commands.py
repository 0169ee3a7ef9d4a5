"""Command for cautions: options only, so that starting the program stays light."""

from __future__ import annotations

import json
from typing import Annotated

import typer


def safety(
    hazards: Annotated[list[str] | None, typer.Argument(metavar="HAZARD...", help="dust, old_paint, solvent, stripper, "
                                                        "oily_rags, mould ...; all of them without.")] = None,
    where: Annotated[str, typer.Option("--where", metavar="PLACE", help="us, eu or other.")] = "other",
    after_1978: Annotated[bool, typer.Option("--after-1978", help="The finish is known to be of 1978 or later.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON document instead of text.")] = False,
) -> None:
    """Read the cautions for some work, with where they hold, their source and its date."""
    from service.plan.types import HAZARDS
    from service.safety.notes import document, lines_of, notes

    found = notes(hazards or list(HAZARDS), where=where, made_before_1978=False if after_1978 else None)
    typer.echo(json.dumps(document(found, where), indent=2) if as_json else "\n".join(lines_of(found, where)))

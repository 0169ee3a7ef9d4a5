"""Command for notes of safety: options only, so that starting the program stays light."""

from __future__ import annotations

import json
from typing import Annotated

import typer


def safety(
    hazards: Annotated[list[str] | None, typer.Argument(
        metavar="[HAZARD]...", help="What the work holds: dust, old_paint, solvent, stripper, oily_rags, mould, insects, heat, "
        "lifting, board_resin, tipping, resale, upholstery; without any, all.")] = None,
    where: Annotated[str, typer.Option(
        "--where", metavar="PLACE", help="Whose rules to add: us, eu, or other for none.")] = "other",
    before_1978: Annotated[bool | None, typer.Option(
        "--before-1978/--after-1978", help="When the piece and its finish were made (1978 itself counts as before). Without it, "
        "and outside the US, lead is presumed.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON document instead of text.")] = False,
) -> None:
    """Read what can hurt you or a buyer in this work, what to do, and what the law says, each with its source."""
    from service.plan.types import HAZARDS
    from service.safety.choose import notes
    from service.safety.report import document, lines_of

    found = notes(hazards or list(HAZARDS), where=where, made_before_1978=before_1978)
    typer.echo(json.dumps(document(found, where=where), indent=2) if as_json else "\n".join(lines_of(found, where=where)))

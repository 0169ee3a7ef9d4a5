"""Command for buying or leaving: options only, so that starting the program stays light."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer


def deal(
    file: Annotated[Path, typer.Argument(metavar="FILE.toml", help="What you believe about it; docs/deal.toml shows one.")],
    part: Annotated[str | None, typer.Option("--part", metavar="ID", help="Take the chances from this part: its verdict in "
                                             "--assessment and its hand checks in --answers.")] = None,
    assessment: Annotated[Path | None, typer.Option("--assessment", metavar="FILE.json", help="What look --json "
                                                    "printed.")] = None,
    answers: Annotated[Path | None, typer.Option("--answers", metavar="FILE.json", help="Gate and hand checks; what the gate "
                                                 "found is counted in, and walking away ends it.")] = None,
    exchange: Annotated[float | None, typer.Option("--exchange", help="Your money for one US dollar, where the gate adds "
                                                   "materials.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON document instead of text.")] = False,
) -> None:
    """Weigh buying against leaving: profit and its range, what to offer, which check is worth most before paying."""
    from service.deal.inputs import read
    from service.deal.run import run

    found, lines = run(read(file), part, assessment, answers, exchange)
    typer.echo(json.dumps(found, indent=2) if as_json else "\n".join(lines))

"""Command for the plan: options only, so that starting the program stays light."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def plan(
    request: Annotated[Path | None, typer.Argument(metavar="FILE.toml", help="What you want and know; docs/plan.toml is "
                                                   "one.")] = None,
    assessment: Annotated[Path | None, typer.Option("--assessment", metavar="FILE.json", help="What look --json said.")] = None,
    answers: Annotated[Path | None, typer.Option("--answers", metavar="FILE.json", help="Hand checks: see grainassay "
                                                 "check.")] = None,
    prices: Annotated[Path | None, typer.Option("--prices", metavar="FILE.toml", help="Your price list; docs/prices.toml shows "
                                                "one.")] = None,
    goal: Annotated[str | None, typer.Option("--goal", metavar="NAME", help="For parts without one of their own: restain, clear, "
                                             "refresh, paint, gel_stain or leave.")] = None,
    sheet: Annotated[Path | None, typer.Option("--sheet", metavar="OUT.html", help="Write a work sheet to print, with check "
                                               "boxes.")] = None,
    calendar: Annotated[Path | None, typer.Option("--calendar", metavar="OUT.ics", help="Write the days as an iCalendar "
                                                  "file.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON document instead of text.")] = False,
) -> None:
    """Plan the work: what each part allows and why not, steps, what goes wrong, what to buy, which day. Safety first."""
    from service.plan_run import run

    typer.echo(run(request, assessment, answers, prices, goal, sheet, calendar, as_json=as_json))

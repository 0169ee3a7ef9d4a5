"""Command for the gate: options only, so that starting the program stays light."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer


def gate(
    say: Annotated[list[str] | None, typer.Option("--say", metavar="QUESTION=ANSWER", help="What you found, as in mould=musty. "
                                                  "Repeatable.")] = None,
    ask: Annotated[bool, typer.Option("--ask", help="Put the questions one by one, one key an answer.")] = False,
    answers: Annotated[Path | None, typer.Option("--answers", metavar="FILE.json", help="Answers so far; read, added to and "
                                                 "written back after each one.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON document instead of text.")] = False,
) -> None:
    """Rule out what spoils a deal before any talk of money: smells, mould, pests, old paint, broken or swollen parts."""
    from dataclasses import replace

    from service.check import begun, write
    from service.gate.ask import key_reader, lines_of, through
    from service.gate.report import document, latest
    from service.gate.report import lines_of as report_lines
    from service.gate.standing import gate as opened
    from service.gate.standing import said

    here, kept = opened(), begun(answers)

    def keep(given: Mapping[str, str]) -> None:
        if answers is not None:
            write(answers, replace(kept, gate=dict(given)))

    def after(given: Mapping[str, str]) -> list[str]:
        keep(given)
        return latest(here.judged(given), list(given)[-1])

    given: Mapping[str, str] = said(kept.gate, say or [])
    here.judged(given)
    if ask:
        given = through(here.next_question, given, key_reader(sys.stderr if as_json else None),
                        lambda line: typer.echo(line, err=as_json), after=after).answers
    keep(given)
    standing, following = here.judged(given), here.next_question(given)
    if as_json:
        typer.echo(json.dumps(document(standing, here.rules, following), indent=2))
        return
    lines = ([""] if ask else []) + report_lines(standing, here.rules)
    if following is not None and not ask:
        lines += ["", "Next:", *lines_of(following)[1:-1], f"    say it as in: --say {following.key}={following.answers[0].key}",
                  "    or have them all put to you: --ask"]
    typer.echo("\n".join(lines))

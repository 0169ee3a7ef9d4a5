"""Command for the routine beside a piece: options only, so that starting the program stays light."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer


def aisle(
    assessment: Annotated[Path | None, typer.Option("--assessment", metavar="FILE.json", help="What look --json printed; "
                                                    "without it every material begins alike.")] = None,
    answers: Annotated[Path | None, typer.Option("--answers", metavar="FILE.json", help="Answers so far; read, added to and "
                                                 "written back after each one.")] = None,
    say: Annotated[list[str] | None, typer.Option("--say", metavar="PART/CHECK=ANSWER", help="What you found, as in "
                                                  "top/hole=particles or gate/mould=none. Repeatable.")] = None,
    part: Annotated[list[str] | None, typer.Option("--part", metavar="ID", help="Ask about this part. Repeatable; usual: top, "
                                                   "drawer_front and side, or those of the assessment.")] = None,
    goal: Annotated[str | None, typer.Option("--goal", metavar="NAME", help="What you want to do; a top or front that does not "
                                             "allow it breaks the deal.")] = None,
    minutes: Annotated[float, typer.Option("--minutes", help="Time to spend.")] = 3.0,
    ask: Annotated[bool, typer.Option("--ask/--no-ask", help="Put the questions one by one, one key an answer. Usual where it is "
                                      "typed at a terminal.")] = sys.stdin.isatty(),
    as_json: Annotated[bool, typer.Option("--json", help="One JSON document instead of text.")] = False,
) -> None:
    """Three minutes beside a piece: what spoils it first, then the checks that tell most, until a deal-breaker or an answer."""
    from service.aisle.report import after_lines, document, lines_of, put_json
    from service.aisle.routine import GATE, Routine
    from service.check import begun, write
    from service.gate.ask import key_reader, through
    from service.gate.ask import lines_of as question_lines
    from service.gate.report import latest
    from service.hand.state import read_document
    from vision.errors import UsageError

    routine = Routine(read_document(assessment) if assessment is not None else None, parts=part, goal=goal, minutes=minutes)
    begun_with = begun(answers)
    # What is taken back must be gone from the file too: answers are put into what was there without them.
    before = routine.emptied(begun_with)

    def keep(said: Mapping[str, str]) -> None:
        if answers is not None:
            write(answers, routine.kept(said, before))

    def after(said: Mapping[str, str]) -> list[str]:
        keep(said)
        key, now = list(said)[-1], routine.now(routine.kept(said, before))
        told = latest(now.standing, key.partition("/")[2]) if key.startswith(GATE + "/") else after_lines(routine, now, key)
        return told + ([f"    Deal-breaker. {now.breaker.words}"] if now.breaker is not None else [])

    said = routine.flat(begun_with)
    for text in say or []:
        key, equals, answer = (t.strip() for t in text.partition("="))
        if not equals or "/" not in key:
            raise UsageError("--say", f"{text!r} is not a part with a check and its answer.",
                             "Write it as in: top/hole=particles")
        said[key] = answer
    if ask and not say:
        said = dict(through(lambda given: routine.now(routine.kept(given, before)).following, said,
                            key_reader(sys.stderr if as_json else None),
                            lambda line: typer.echo(line, err=as_json), after=after).answers)
    keep(said)
    now = routine.now(routine.kept(said, before))
    if as_json:
        typer.echo(json.dumps(document(routine, now), indent=2))
        return
    lines = lines_of(routine, now)
    if now.following is not None and not ask:
        found = put_json(now.following)
        lines += ["", "Next:", *question_lines(now.following)[1:-1],
                  f"    say it as in: --say {found['key']}={found['answers'][0]['key']}, or have all put to you: --ask"]
    typer.echo("\n".join(lines))

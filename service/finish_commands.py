"""Command for spot tests of an old finish: options only, so that starting the program stays light."""

from __future__ import annotations

import json
from typing import Annotated

import typer


def finish(
    say: Annotated[list[str] | None, typer.Option("--say", metavar="TEST=ANSWER", help="What you saw, as in alcohol=dissolves. "
                                                  "Repeatable; without any the first test is named.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON document instead of text.")] = False,
) -> None:
    """Find out what the old finish is, by spot tests in their order. They never tell what a part is made of."""
    from service.finish.spot import concluded, document, lines_of
    from vision.errors import UsageError

    answers = {}
    for text in say or []:
        test, equals, answer = (t.strip() for t in text.partition("="))
        if not equals:
            raise UsageError("--say", f"{text!r} is not a test with its answer.", "Write it as in: --say alcohol=dissolves")
        answers[test] = answer
    found = concluded(answers)
    typer.echo(json.dumps(document(found, answers), indent=2) if as_json else "\n".join(lines_of(found)))

"""`grainassay plan`: files in, text or JSON out, and the work sheet and calendar beside it."""

from __future__ import annotations

import json
import textwrap
from dataclasses import replace
from pathlib import Path

from service.files import CannotWrite
from service.hand.state import Answers, read_answers, read_document
from service.plan import prices as price_list
from service.plan import request as requests
from service.plan.calendar_file import to_ical
from service.plan.document import document
from service.plan.make import Plan, make
from service.plan.report import lines_of
from service.plan.types import GOALS
from service.plan.worksheet import html
from vision.errors import UsageError

TITLE = "Grainassay work"
#: Columns that printed text keeps within.
WIDTH = 110


def planned(request: Path | None, assessment: Path | None, answers: Path | None, prices: Path | None, goal: str | None) -> Plan:
    """The plan that these files ask for.

    Raises
    ------
    UsageError
        for files that cannot be read or make no sense.
    """
    if goal is not None and goal not in GOALS:
        raise UsageError("--goal", f"{goal!r} is not known.", "Use one of: " + ", ".join(GOALS) + ".")
    asked = requests.read(request) if request is not None else requests.Request()
    if goal is not None:
        asked = replace(asked, goal=goal)
    doc = read_document(assessment) if assessment is not None else None
    return make(doc, read_answers(answers) if answers is not None else Answers(), asked,
                price_list.read(prices) if prices is not None else None)


def wrapped(lines: list[str]) -> str:
    """Lines broken to WIDTH columns at their own indent."""
    out: list[str] = []
    for line in lines:
        indent = " " * (len(line) - len(line.lstrip()))
        out += textwrap.wrap(line, WIDTH, subsequent_indent=indent, break_on_hyphens=False, drop_whitespace=True) or [""]
    return "\n".join(out)


def _write(path: Path, data: bytes) -> None:
    try:
        path.write_bytes(data)
    except OSError as err:
        raise CannotWrite(str(path), f"cannot be written ({err.strerror or err}).",
                          "Name a file in a folder that you may write to.") from err


def run(request: Path | None, assessment: Path | None, answers: Path | None, prices: Path | None, goal: str | None,
        sheet: Path | None, calendar: Path | None, *, as_json: bool) -> str:
    """What is printed; the work sheet and the calendar are written where they are asked for."""
    found = planned(request, assessment, answers, prices, goal)
    if sheet is not None:
        _write(sheet, html(found).encode("utf-8"))
    if calendar is not None:
        names = {p.subject.id: p.subject.name for p in found.parts}
        _write(calendar, to_ical(found.days, names, TITLE))
    return json.dumps(document(found), indent=2) if as_json else wrapped(lines_of(found))

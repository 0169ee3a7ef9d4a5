"""Targets judged on the rendered test that nothing was taught on, read from what `training.rendered_scores` printed.

Measuring that test is a long run of its own, so its output is recorded (`training/score_record.py`) and only read here: where
none is recorded, nothing is said.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

#: First words of such an output, and of one about the net alone, which is no whole classifier.
OPENING, NET_ALONE = "Rendered test:", "model none"
_VERDICT = re.compile(r"(?P<sign>[<>]=) (?P<limit>\d\.\d+) (?P<word>met|missed)(?P<doubt>, not surely)?")
_FIGURE = re.compile(r"^ +(?P<name>\S.*?) +(?P<value>\d\.\d+) \((?P<low>-?\d\.\d+) to (?P<high>\d\.\d+)\) +n (?P<panels>\d+)")
_ROW = re.compile(r"^ +(?P<name>\S.*?) {2,}(?P<panels>\d+) +(?P<cells>(?:[\d.]+|-)(?: +(?:[\d.]+|-))+)")
#: Place of the share left open among a table row's cells.
LEFT_OPEN = 5
#: Lines of calibration errors carry a class's name alone; they stand below this heading.
_CALIBRATION = "Expected calibration error"


@dataclass(frozen=True)
class Line:
    """One target: `name` of the figure, `value` with its interval and panels, `asked` and whether it is met."""

    name: str
    value: str
    interval: str
    panels: int
    asked: str
    met: bool
    doubtful: bool


def outputs(printed: Iterable[str]) -> Iterator[list[str]]:
    """The recorded outputs of whole classifiers on a rendered test, among lines of docs/measured.md."""
    block: list[str] | None = None
    for line in printed:
        if line.startswith("```"):
            if block and block[0].startswith(OPENING) and NET_ALONE not in block[0]:
                yield block
            block = None if block is not None else []
        elif block is not None:
            block.append(line)


def lines(output: Iterable[str]) -> Iterator[Line]:
    """Every line of an output that carries a target."""
    below = ""
    for text in output:
        if not text.startswith(" "):
            below = text
        verdict = _VERDICT.search(text)
        if verdict is None:
            continue
        asked = f"at {'least' if verdict['sign'] == '>=' else 'most'} {verdict['limit']}"
        fate = asked, verdict["word"] == "met", verdict["doubt"] is not None
        if found := _FIGURE.match(text):
            name = f"calibration error of {found['name']}" if below.startswith(_CALIBRATION) else found["name"]
            yield Line(name, found["value"], f"[{found['low']}, {found['high']}]", int(found["panels"]), *fate)
        elif row := _ROW.match(text):
            yield Line(f"cue {row['name']}: left open", row["cells"].split()[LEFT_OPEN], "", int(row["panels"]), *fate)


def section(printed: Iterable[str]) -> Iterator[str]:
    """Markdown of the first recorded output's targets; nothing where none is recorded."""
    for output in outputs(printed):
        found = list(lines(output))
        if not found:
            continue
        met = sum(one.met for one in found)
        yield (f"{output[0]}. {output[1]}. {met} of {len(found)} targets are met; \"not surely\": the interval holds the target. "
               "All of it stands in [measured.md](measured.md).")
        yield from ("", "| figure | reached | 95 % interval | panels | asked | |", "|---|---|---|---|---|---|")
        for one in found:
            word = ("met" if one.met else "**missed**") + (", not surely" if one.doubtful else "")
            yield f"| {one.name} | {one.value} | {one.interval} | {one.panels} | {one.asked} | {word} |"
        yield ""
        return

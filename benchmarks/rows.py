"""One row of a benchmark's table: what was measured, the figure, its unit and the target it should meet."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """`limit`: the figure should not exceed it; None where there is no target."""

    what: str
    value: float
    unit: str
    limit: float | None = None

    @property
    def met(self) -> bool | None:
        """Whether the target is met; None without one."""
        return None if self.limit is None else self.value <= self.limit


def number(value: float) -> str:
    """Three significant figures, without an exponent."""
    if value == 0:
        return "0"
    digits = max(0, 2 - int(f"{value:.2e}".split("e")[1]))
    return f"{value:.{digits}f}"


def table(rows: Iterable[Row]) -> str:
    """The rows as a Markdown table."""
    lines = ["| what | figure | target |", "|---|---|---|"]
    for r in rows:
        target = "" if r.limit is None else f"at most {number(r.limit)} {r.unit}, {'met' if r.met else 'MISSED'}"
        lines.append(f"| {r.what} | {number(r.value)} {r.unit} | {target} |")
    return "\n".join(lines)


def use_two_cores() -> None:
    """Keep this process and its children on two cores, whatever the machine has."""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:2])

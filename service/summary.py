"""The readable summary on the terminal: risk first, then the parts, then what to photograph next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from service.contract import Document, Part
from service.details import BASIS, detail_lines
from service.risks import cautions, risks
from service.words import (
    basis_sentence,
    basis_words,
    call_words,
    core_words,
    edge_only,
    finding_numbers,
    odds,
    part_names,
    prior_sentence,
    reason_words,
    seen_words,
    set_line,
    sure_line,
    why,
)

if TYPE_CHECKING:
    from rich.console import Console

#: Most lines of risk, reasons for a part and details that the summary shows; the report has them all.
MAX_RISKS, MAX_REASONS, MAX_DETAILS = 4, 3, 6
_INDENT = 4


def _text(*pieces: tuple[str, str] | str) -> object:
    from rich.text import Text

    return Text.assemble(*pieces)


def _line(console: Console, indent: int, *pieces: tuple[str, str] | str) -> None:
    from rich.padding import Padding

    console.print(Padding(_text(*pieces), (0, 0, 0, indent)))  # type: ignore[arg-type]


def _head(console: Console, title: str) -> None:
    console.print()
    _line(console, 0, (title, "bold underline"))


def headline(doc: Document) -> str:
    """One sentence: how many parts, of which how many can be told."""
    n = len(doc.parts)
    photos = f"{len(doc.photos)} photo" + ("s" if len(doc.photos) != 1 else "")
    if not doc.photos:
        return "None of the photos could be used."
    if n == 0:
        return f"No furniture panel was found in {photos}."
    told = sum(not p.undecided for p in doc.parts)
    if told == n:
        rest = "all can be told"
    elif told == 0:
        rest = "none can be told from these photos alone"
    else:
        rest = f"{told} can be told, {n - told} cannot yet"
    return f"{n} part{'s' if n != 1 else ''} in {photos}; {rest}."


def _part(console: Console, doc: Document, part: Part, name: str, numbers: dict[str, int], basis: str) -> None:
    from rich.padding import Padding
    from rich.table import Table

    narrow = edge_only(doc, part)
    _line(console, 2, (name, "bold"), ": ", (call_words(part, narrow), "bold yellow" if part.undecided else "bold green"))
    rows = Table.grid(padding=(0, 2))
    rows.add_column(no_wrap=True, min_width=8)
    rows.add_column(overflow="fold")
    if not narrow:
        rows.add_row("Core", core_words(part))
    rows.add_row("How sure", _text(sure_line(part, narrow), (f"; {set_line(part, narrow)} ({basis})", "dim")))  # type: ignore[arg-type]
    if part.undecided:
        rows.add_row("Open", reason_words(part))
    reasons = why(doc, part, MAX_REASONS)
    for n, finding in enumerate(reasons):
        mark = _text(f"[{numbers[finding.id]}] {finding.text} ", (f"({odds(finding.decibans)})", "dim"))
        rows.add_row("" if n else "Why", mark)  # type: ignore[arg-type]
    if not reasons:
        rows.add_row("Why", "No single measurement weighs either way.")
    rows.add_row("Seen", _text((seen_words(doc, part), "dim")))  # type: ignore[arg-type]
    console.print(Padding(rows, (0, 0, 0, _INDENT)))


def print_summary(doc: Document, console: Console, notes: Sequence[str] = ()) -> None:
    """Print the summary of a document. `notes`: plain sentences on what was left out."""
    names, numbers, basis = part_names(doc), finding_numbers(doc), basis_words(doc)
    console.print()
    _line(console, 0, (headline(doc), "bold"))
    if doc.parts:
        _line(console, 0, (basis_sentence(doc), "dim"))
        _line(console, 0, (prior_sentence(doc), "dim"))
    for r in doc.refused:
        _line(console, 0, ("Not used: ", "bold red"), f"{r.file}: {r.cause} {r.remedy}")
    for note in notes:
        _line(console, 0, ("Note: ", "bold"), note)
    worst = risks(doc)[:MAX_RISKS]
    if worst:
        _head(console, f"What could cost you ({basis})")
        for risk in worst:
            _line(console, 2, (risk.title, "bold"))
            _line(console, _INDENT, risk.text)
    if doc.parts:
        _head(console, "Part by part")
        for part in doc.parts:
            _part(console, doc, part, names[part.id], numbers, basis)
    seen = detail_lines(doc)
    if seen:
        _head(console, "Seen besides")
        for line in seen[:MAX_DETAILS]:
            _line(console, 2, (f"{line.head}, panel {line.panel} of {line.file}: ", "bold"), line.text)
        if len(seen) > MAX_DETAILS:
            _line(console, 2, f"and {len(seen) - MAX_DETAILS} more in the report.")
        _line(console, 2, (BASIS, "dim"))
    scaled = [(p.file, p.scale) for p in doc.photos if p.scale is not None]
    if scaled:
        from vision.millimetres import DEPTH_NOTE

        _head(console, "Millimetres")
        for file, scale in scaled:
            _line(console, 2, f"{file}: {scale.text} There: {scale.px_per_mm:.2f} px per mm, to about "
                  f"{max(0.1, 100 * scale.error_share):.1f} %.")
        _line(console, 2, (DEPTH_NOTE, "dim"))
    problems = [(p.file, q.text) for p in doc.photos for q in p.problems]
    if problems:
        _head(console, "Photos that hold back")
        for file, text in problems:
            _line(console, 2, f"{file}: {text}")
    if doc.next:
        _head(console, "Look here next")
        for n, step in enumerate(doc.next):
            who = f"{names[step.part]}: " if step.part is not None else ""
            worth = f" (worth about {step.gain_bits:.2f} bits)" if step.gain_bits else ""
            _line(console, 2, f"{n + 1}. {who}", step.text, (worth, "dim"))
    notes_of_care = cautions(doc)
    if notes_of_care:
        _head(console, "Before you start work")
        for c in notes_of_care:
            _line(console, 2, (f"{c.title}: ", "bold"), c.text)

"""Commands of the ledger: options only, so that starting the program stays light."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

ledger = typer.Typer(name="ledger", no_args_is_help=True,
                     help="What was asked, paid, planned, worked and sold, and what the work showed. Only ever added to.")
FILE = typer.Option("--file", metavar="FILE.jsonl", help="The ledger; made where it is not there yet.")
USUAL = Path("grainassay-ledger.jsonl")
PIECE = typer.Argument(metavar="PIECE", help="Name of the piece, the same each time.")
AT = typer.Option("--at", metavar="DAY", help="When, as in 2026-03-02. Usual: now.")
AS_JSON = typer.Option("--json", help="One JSON document instead of text.")


def _now(at: str | None) -> str:
    from datetime import datetime

    return at or datetime.now().isoformat(timespec="seconds")


@ledger.command("add")
def add_event(
    piece: Annotated[str, PIECE],
    kind: Annotated[str, typer.Argument(metavar="KIND", help="asked, paid, planned, worked, spent, sold, returned or note.")],
    amount: Annotated[float | None, typer.Option("--amount", help="Money.")] = None,
    hours: Annotated[float | None, typer.Option("--hours", help="Worked, or planned.")] = None,
    materials: Annotated[float | None, typer.Option("--materials", help="Planned cost of materials.")] = None,
    sale: Annotated[float | None, typer.Option("--sale", help="Planned sale price.")] = None,
    days: Annotated[float | None, typer.Option("--days", help="Planned days until it is sold.")] = None,
    fees: Annotated[float | None, typer.Option("--fees", help="Of a sale, real or planned.")] = None,
    text: Annotated[str, typer.Option("--text", help="A note.")] = "",
    at: Annotated[str | None, AT] = None,
    file: Annotated[Path, FILE] = USUAL,
) -> None:
    """Add an event."""
    from service.ledger.events import Event, add

    given = {"amount": amount, "hours": hours, "materials": materials, "sale": sale, "days": days, "fees": fees}
    event = Event(piece, kind, _now(at), numbers={k: v for k, v in given.items() if v is not None}, text=text)
    add(file, [event])
    typer.echo(f"Kept: {event.id}")


@ledger.command()
def revealed(
    piece: Annotated[str, PIECE],
    part: Annotated[str, typer.Option("--part", metavar="ID", help="As in the assessment, or top, side ...")],
    face: Annotated[str | None, typer.Option("--face", metavar="NAME", help="solid_wood, veneer, printed ...")] = None,
    core: Annotated[str | None, typer.Option("--core", metavar="NAME", help="lumber, plywood, particle_board or "
                                             "fibreboard.")] = None,
    how: Annotated[str, typer.Option("--how", metavar="WAY", help="stripped, edge, label or seller.")] = "stripped",
    assessment: Annotated[Path | None, typer.Option("--assessment", metavar="FILE.json", help="What look --json printed: the "
                                                    "label is tied to its photos.")] = None,
    at: Annotated[str | None, AT] = None,
    file: Annotated[Path, FILE] = USUAL,
) -> None:
    """Keep what stripping, sanding or an open edge showed: a label of the highest trust."""
    from service.check import role_of
    from service.hand.state import read_document
    from service.ledger.events import Event, add
    from service.ledger.labels import photos_of

    doc = read_document(assessment) if assessment is not None else None
    event = Event(piece, "revealed", _now(at), part=part, role=role_of(doc, part), face=face, core=core, how=how,
                  photos=photos_of(doc, part) if doc is not None else ())
    add(file, [event])
    typer.echo(f"Kept: {event.id}")


@ledger.command()
def void(
    event: Annotated[str, typer.Argument(metavar="ID", help="Of the event to take back.")],
    file: Annotated[Path, FILE] = USUAL,
) -> None:
    """Take an event back; it stays in the file."""
    from service.ledger.events import Event, add, read
    from vision.errors import UsageError

    found = next((e for e in read(file).standing if e.id == event), None)
    if found is None:
        raise UsageError(event, "is no event that stands in this ledger.", "grainassay ledger show --json lists them.")
    add(file, [Event(found.piece, "void", _now(None), voids=event)])
    typer.echo(f"Taken back: {found.kind} of {found.piece}")


@ledger.command()
def show(
    piece: Annotated[str | None, typer.Argument(metavar="PIECE", help="One piece; all without.")] = None,
    file: Annotated[Path, FILE] = USUAL,
    as_json: Annotated[bool, AS_JSON] = False,
) -> None:
    """Compare what was foreseen with what came of it."""
    from service.ledger.compare import document, lines_of, pieces
    from service.ledger.events import read, to_json
    from vision.errors import UsageError

    found = read(file)
    for line, cause in found.torn:
        typer.echo(f"{file}, line {line} is torn and was skipped ({cause}).", err=True)
    events = found.standing
    if piece is not None:
        events = tuple(e for e in events if e.piece == piece)
        if not events:
            raise UsageError(piece, "is not in this ledger.", "grainassay ledger show lists all pieces.")
    rows = pieces(events)
    whole = {**document(rows), "events": [to_json(e) for e in events],
             "skipped": [{"line": n, "cause": c} for n, c in found.torn]}
    typer.echo(json.dumps(whole, indent=2) if as_json else "\n".join(lines_of(rows)))


@ledger.command()
def labels(file: Annotated[Path, FILE] = USUAL) -> None:
    """Print what the work showed as labels, in JSON."""
    from service.ledger.events import read
    from service.ledger.labels import document

    found = read(file)
    for line, cause in found.torn:
        typer.echo(f"{file}, line {line} is torn and was skipped ({cause}).", err=True)
    typer.echo(json.dumps(document(found.standing), indent=2))

"""Program `grainassay`: what each panel of a piece of used furniture is made of, from ordinary photos.

Only light modules are imported here; the eyes of the program are loaded inside the commands that need them.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from service.aisle_commands import aisle
from service.check_commands import check
from service.deal_commands import deal
from service.finish_commands import finish
from service.gate_commands import gate
from service.hand_commands import moves, sand, weigh_part
from service.ledger_commands import ledger
from service.plan_commands import plan
from service.safety_commands import safety
from service.sell_commands import advert, haul
from service.serve_commands import key, serve
from service.teach import teach
from service.version import PROGRAM
from vision.errors import GrainassayError, UsageError

app = typer.Typer(
    name="grainassay", no_args_is_help=True, pretty_exceptions_enable=False, rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="What each panel of a piece of used furniture is made of, from ordinary photos. Photos never leave this machine.",
)

EXITS = (
    "Exit status: 0 assessed (also when it cannot be told), 2 the request makes no sense, 3 a photo could not be used "
    "(the others are still assessed), 4 nothing could be used."
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(PROGRAM)
        raise typer.Exit()


@app.callback()
def _root(
    version: Annotated[bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")] = False,
) -> None:
    """What each panel of a piece of used furniture is made of, from ordinary photos. Photos never leave this machine."""


@app.command(epilog=EXITS)
def look(
    photos: Annotated[list[str] | None, typer.Argument(metavar="PHOTO...", help="Photos, all of one piece of furniture.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")] = False,
    out: Annotated[Path | None, typer.Option(
        "--out", metavar="DIR", help="Folder for the report and the evidence pictures; files of an earlier look are replaced. "
        "Without it: grainassay-out/NAME OF THE FIRST PHOTO, and with --json nothing is written.")] = None,
    at: Annotated[list[str] | None, typer.Option(
        "--at", metavar="X,Y", help="Judge the panel at this point of the upright photo. Repeatable.")] = None,
    outline: Annotated[list[str] | None, typer.Option(
        "--outline", metavar="'X,Y X,Y X,Y ...'", help="Judge the panel with these corners, and no others. Repeatable.")] = None,
    outlines: Annotated[Path | None, typer.Option(
        "--outlines", metavar="FILE.json", help='Outlines by photo: {"<photo as given>": [{"id": .., "points": [[x, y], ..]}]}. '
        "An id that is a role (top, side-2, drawer_front) names the part.")] = None,
    scale: Annotated[list[str] | None, typer.Option(
        "--scale", metavar="FORM", help="What of known size lies on the surface: card (a bank card), card:X,Y (a point on it "
        "narrows the search), sheet (grainassay sheet), auto for sheet or card, or points:X,Y,X,Y=MM (two points and their "
        "distance). Without this nothing is given in mm.")] = None,
    prior: Annotated[str | None, typer.Option(
        "--prior", metavar="NAME or FACE=PERCENT,...", help="Base rates to start from: reference (usual), even, or "
        "those of your own market, as in solid_wood=30,veneer=40; faces not named share the rest. Always stated with the "
        "result.")] = None,
    prior_file: Annotated[Path | None, typer.Option(
        "--prior-file", metavar="FILE.toml", help="The same from a file, as 'grainassay market --out' writes it.")] = None,
    model: Annotated[Path | None, typer.Option("--model", metavar="DIR", help="Another model than the packaged one.")] = None,
    verdicts_only: Annotated[bool, typer.Option(
        "--verdicts-only", help="Quicker: leave out the look for joints, fittings and damage.")] = False,
    schema: Annotated[bool, typer.Option("--schema", help="Print the JSON Schema of the document and stop.")] = False,
) -> None:
    """Assess the photos of one piece of furniture.

    With several photos, put a photo's name in front of a value for --at, --outline or --scale: 'chest.jpg=120,340'.
    """
    if schema:
        import json

        from service.contract import json_schema

        typer.echo(json.dumps(json_schema(), indent=2))
        return
    if not photos:
        raise UsageError("look", "no photo was given.", "Name at least one photo: grainassay look chest.jpg")
    from service.look import Request
    from service.options import merge_outlines, parse_outlines, parse_taps, read_outlines
    from service.prior_options import parse_prior
    from service.scale_options import parse_scale_options
    from service.session import run

    files = tuple(dict.fromkeys(photos))
    given = parse_outlines(outline or [], files)
    if outlines is not None:
        given = merge_outlines(read_outlines(outlines, files), given)
    request = Request(
        files, given, parse_taps(at or [], files), parse_scale_options(scale or [], files), model=model,
        prior=parse_prior(prior, prior_file), details=not verdicts_only,
    )
    raise typer.Exit(run(request, as_json=as_json, out=out))


@app.command(epilog=EXITS)
def market(
    photos: Annotated[list[str], typer.Argument(metavar="PHOTO...", help="Photos of many pieces as your market offers them.")],
    out: Annotated[Path | None, typer.Option(
        "--out", metavar="FILE.toml", help="Write the base rates here, for: grainassay look --prior-file FILE.toml")] = None,
    model: Annotated[Path | None, typer.Option("--model", metavar="DIR", help="Another model than the packaged one.")] = None,
) -> None:
    """Estimate the base rates of your own market from photos that nobody has labelled, with standard errors."""
    from service.market import run as estimate

    raise typer.Exit(estimate(tuple(dict.fromkeys(photos)), out=out, model=model))


@app.command()
def doctor() -> None:
    """Check the installation and say how to mend what is wrong."""
    from service.doctor import examine, print_checks

    raise typer.Exit(print_checks(examine()))


@app.command()
def sheet(
    out: Annotated[Path, typer.Argument(metavar="OUT.pdf", help="Where to write the sheet.")],
    paper: Annotated[str, typer.Option("--paper", metavar="NAME", help="a4 or letter.")] = "a4",
) -> None:
    """Write a printable sheet of markers: laid on the surface, it gives millimetres on the photo."""
    from service.output import write_sheet

    typer.echo(f"Sheet: {write_sheet(out, paper)}. Print it at 100 % and check its bar with a ruler.")


app.command()(aisle)
app.command()(gate)
app.command()(check)
app.command()(finish)
app.command("weigh")(weigh_part)
app.command()(moves)
app.command()(sand)
app.command()(deal)
app.command()(plan)
app.command()(advert)
app.command()(haul)
app.add_typer(ledger)
app.command()(safety)
app.command()(serve)
app.command()(key)
app.command()(teach)


def _complain(err: GrainassayError) -> None:
    """Three plain lines on standard error: what, why, what to do."""
    sys.stderr.write(f"grainassay: {err.subject}: {err.cause}\n  {err.remedy}\n".encode("utf-8", "replace").decode("utf-8"))


def main() -> None:
    """Entry point: expected failures become one message and their exit status."""
    try:
        app()
    except GrainassayError as err:
        _complain(err)
        raise SystemExit(err.exit_code) from None
    except BrokenPipeError:
        # The reader of our output went away (as in `| head`): nothing is left to say.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise SystemExit(1) from None
    except OSError as err:
        where = err.filename or "the output"
        sys.stderr.write(f"grainassay: {where}: {err.strerror}.\n  Write somewhere with room that may be written.\n")
        raise SystemExit(1) from None
    except MemoryError:
        sys.stderr.write("grainassay: the memory of this machine ran out.\n  Use fewer or smaller photos at a time.\n")
        raise SystemExit(1) from None


if __name__ == "__main__":
    main()

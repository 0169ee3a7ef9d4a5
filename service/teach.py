"""`grainassay teach`: make the classifier anew from labelled photos, renders or the committed tables."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from vision.errors import GrainassayError, UsageError


class MissingExtra(GrainassayError):
    """The libraries for teaching are not installed; nothing else in the program needs them."""

    exit_code = 2


def teach(
    photos: Annotated[Path | None, typer.Option(
        "--photos", metavar="DIR", help="Folder with img/ and panels.csv: labelled real photos.")] = None,
    renders: Annotated[Path | None, typer.Option(
        "--renders", metavar="DIR", help="Folder of rendered photos with their truth.")] = None,
    from_tables: Annotated[bool, typer.Option(
        "--from-tables", help="Measure nothing: teach from the tables that come with the source.")] = False,
    out: Annotated[Path | None, typer.Option(
        "--out", metavar="DIR", help="Folder for the model (default: in the package).")] = None,
    cache: Annotated[Path, typer.Option(
        "--cache", metavar="DIR", help="Folder that keeps measured numbers.")] = Path("build/measured"),
) -> None:
    """Teach the classifier again, with the settings in training/config/teach.json.

    The same tables give the same model up to rounding (probabilities within 0.001).
    Use a model in another folder with: grainassay look --model DIR.
    """
    if not from_tables and photos is None:
        raise UsageError("teach", "nothing to learn from was given.", "Give --photos DIR, or --from-tables.")
    if photos is not None and not (photos / "panels.csv").is_file():
        raise UsageError(str(photos), "it holds no panels.csv.", "Name the folder that holds img/ and panels.csv.")
    if renders is not None and not renders.is_dir():
        raise UsageError(str(renders), "there is no such folder.", "Make renders first, see DEVELOPERS.md.")
    try:
        from training import teach as teaching
        from training.config_file import load_config
    except ImportError as err:
        raise MissingExtra("teach", f"the libraries for teaching are not installed ({err.name}).",
                           "Install them with: pip install 'grainassay[training]'") from err
    if not from_tables and photos is not None:
        teaching.make_tables(photos, renders, cache, load_config())
    try:
        _, made = teaching.teach(out if out is not None else teaching.MODELS)
    except ValueError as err:
        raise UsageError("training tables", f"{err}.", "Measure again with --photos DIR (and --renders DIR).") from err
    typer.echo(f"{made['id']}: {made['real_specimens']} real specimens, calibration basis {made['basis']}")

"""Commands of the web service: options only, so that starting the program stays light."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

FOLDER = typer.Option("--folder", metavar="DIR", help="Where photos and the database are kept; made where it is not there yet.")
URL = typer.Option("--database-url", metavar="URL", envvar="GRAINASSAY_DATABASE_URL", show_envvar=True,
                   help="A PostgreSQL database in place of the one in the folder, as in postgresql://USER@HOST/NAME.")
USUAL = Path.home() / ".local" / "share" / "grainassay"


def serve(
    folder: Annotated[Path, FOLDER] = USUAL,
    database_url: Annotated[str | None, URL] = None,
    host: Annotated[str, typer.Option("--host", metavar="ADDRESS", help="Where to listen. Anything but this machine itself "
                                      "demands an access key: grainassay key.")] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="0 takes any that is free.")] = 8765,
    name: Annotated[list[str] | None, typer.Option("--name", metavar="NAME", help="A host name by which browsers may ask for it. "
                                                   "Repeatable.")] = None,
    demand_key: Annotated[bool, typer.Option("--demand-key", help="Demand the access key on this machine too, as behind a "
                                             "forwarding server.")] = False,
    workers: Annotated[int, typer.Option("--workers", min=1, max=16, help="Photos of so many pieces assessed at once; each takes "
                                         "memory.")] = 1,
) -> None:
    """Open the second opinion in a browser: a service on this machine, with photos and results kept in a folder."""
    from service.web.serving import serve as run
    from service.web.settings import WebSettings

    run(folder, database_url, WebSettings(host=host, port=port, names=tuple(name or ()), demand_key=demand_key), workers)


def key(
    folder: Annotated[Path, FOLDER] = USUAL,
    database_url: Annotated[str | None, URL] = None,
    remove: Annotated[bool, typer.Option("--remove", help="Remove the key; it then opens on this machine only.")] = False,
) -> None:
    """Set the access key that visitors from other machines need. It is asked for, or read from standard input."""
    import sys

    from service.store import Store
    from service.web import tokens

    with Store(folder, database_url=database_url) as store:
        if remove:
            tokens.forget_key(store)
            typer.echo("The access key is removed; whoever was signed in no longer is.")
            return
        given = (typer.prompt("New access key", hide_input=True, confirmation_prompt=True) if sys.stdin.isatty()
                 else sys.stdin.readline().rstrip("\n"))  # fmt: skip
        tokens.set_key(store, given)
    typer.echo("The access key is set; whoever was signed in must sign in again.")

"""Drawing pages: one environment of templates, and the words that all pages share."""

from __future__ import annotations

import re
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse

from service.gate.drawings import drawing
from service.store.types import Piece
from service.web.guard import context

#: Further pages of a piece: last part of the address -> words in the menu.
STEPS_OF_PIECE = (("aisle", "Beside it"), ("plan", "Plan"), ("sell", "Sale"), ("ledger", "Ledger"))


def _drawn(name: str, prefix: str) -> Markup:
    """A line drawing, made by this program and so not escaped."""
    return Markup(drawing(name, prefix))


def thumb(piece: str, photo: str) -> str:
    """Address of a small copy of a photo."""
    return f"/api/v1/pieces/{piece}/photos/{photo}/picture?longest=256"


def _environment() -> Environment:
    env = Environment(loader=PackageLoader("service", "templates"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
                      lstrip_blocks=True)  # fmt: skip
    env.globals.update(drawing=_drawn, here="", piece=None, said="", steps_of_piece=STEPS_OF_PIECE, thumb=thumb)
    return env


templates = _environment()


def page(request: Request, name: str, *, status: int = 200, piece: Piece | None = None, **values: Any) -> HTMLResponse:
    """A page from web/NAME.html.j2."""
    text = templates.get_template(f"web/{name}.html.j2").render(**context(request), piece=piece, **values)
    # A number never parts from its per cent sign at the end of a line.
    return HTMLResponse(re.sub(r"(?<=\d) %", "\N{NO-BREAK SPACE}%", text), status)

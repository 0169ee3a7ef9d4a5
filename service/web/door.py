"""The page where the access key is given."""

from __future__ import annotations

import html
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import HTMLResponse

from service.web.guard import context

router = APIRouter()


@router.get("/key")
def key(
    request: Request, next_: Annotated[str, Query(alias="next", max_length=300)] = "/",
    wrong: Annotated[str, Query(max_length=10)] = "",
) -> HTMLResponse:
    """A form that leads on to the page asked for; without templates a bare one."""
    values = {**context(request), "next": next_, "wrong": bool(wrong)}
    templates = request.app.state.templates
    if templates is not None:
        return HTMLResponse(templates.get_template("web/key.html.j2").render(**values))
    csrf, onward = html.escape(values["csrf"]), html.escape(next_)
    return HTMLResponse(
        f'<!doctype html><html lang="en"><meta charset="utf-8"><title>Access key</title><main><h1>Access key</h1>'
        f'<form method="post" action="/api/v1/access"><input type="hidden" name="csrf" value="{csrf}">'
        f'<input type="hidden" name="next" value="{onward}"><label>Key <input name="key" type="password"></label>'
        f"<button>Sign in</button></form></main></html>"
    )  # fmt: skip

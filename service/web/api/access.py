"""Signing in and out with the access key, and the token that forms carry."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, RedirectResponse, Response

from service.web import tokens
from service.web.errors import WebError
from service.web.guard import SESSION, VISIT, Guard, context

router = APIRouter(tags=["access"])


def _inside(path: str) -> str:
    """A path of this service and nothing else, for going on after signing in."""
    fits = path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable() and path.isascii()
    return path if fits else "/"


@router.post("/access", status_code=303, summary="Sign in with the access key",
             responses={303: {"description": "Signed in; goes on to the page asked for."}}, response_class=RedirectResponse)
async def sign_in(
    request: Request, key: Annotated[str, Form(max_length=1000)], next_: Annotated[str, Form(alias="next")] = "/",
) -> Response:
    """Takes a form; sets a cookie that lasts until the key is changed or its time is over."""
    guard: Guard = request.app.state.guard
    client = request.client.host if request.client else "?"
    if not await run_in_threadpool(guard.try_key, key, client):
        if "text/html" in request.headers.get("accept", ""):
            return RedirectResponse("/key?wrong=1&next=" + quote(_inside(next_)), 303)
        raise WebError(401, "The access key", "This is not the key.", "Try again; `grainassay key` sets a new one.")
    kept, seconds = await run_in_threadpool(tokens.key_hash, guard.store), guard.settings.session_s
    out = RedirectResponse(_inside(next_), 303)
    out.set_cookie(SESSION, guard.sessions.begin(str(kept), seconds), max_age=seconds, httponly=True, samesite="strict",
                   secure=request.url.scheme == "https")  # fmt: skip
    return out


@router.delete("/access", status_code=204, summary="Sign out")
def sign_out() -> Response:
    """Forgets this browser's sign-in."""
    out = Response(status_code=204)
    out.delete_cookie(SESSION)
    return out


@router.get("/token", summary="The token that requests of this browser carry")
def token(request: Request, fresh: Annotated[bool, Query(description="Also set the cookie it belongs to.")] = True) -> Any:
    """For pages that were kept for use without a signal: what they send later needs the token of today."""
    given = context(request)
    out = JSONResponse({"csrf": given["csrf"], "header": given["csrf_header"]})
    if fresh:
        out.set_cookie(VISIT, request.state.visit, httponly=True, samesite="strict", secure=request.url.scheme == "https")
    return out

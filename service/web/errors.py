"""One shape for everything that goes wrong: subject, cause and remedy with a fitting HTTP status, as JSON or as a page."""

from __future__ import annotations

import html
import logging
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, JSONResponse, Response

from service.store.errors import JobLost, NotThere, StoreBusy, StoreFull
from vision.errors import GrainassayError, NothingUsable, PhotoError, UsageError

API = "/api/"
AGAIN_S = "2"
log = logging.getLogger("grainassay.web")


class ErrorBody(BaseModel):
    """What went wrong: about what, why, and what to do."""

    subject: str = Field(description="What it is about.")
    cause: str = Field(description="Why, in a plain sentence.")
    remedy: str = Field(description="What to do.")


class ErrorShape(BaseModel):
    """The one shape of every error."""

    error: ErrorBody


#: For the description of every handler.
RESPONSES: dict[int | str, dict[str, Any]] = {
    code: {"model": ErrorShape, "description": words} for code, words in {
        400: "The request cannot be read.", 401: "The access key is demanded.", 403: "The request came from another site.",
        404: "Nothing of that id is kept.", 409: "It does not fit what is there now.", 413: "Too large.",
        422: "The request makes no sense.", 429: "Too many requests.", 503: "Busy; try again.", 507: "The disk is full.",
    }.items()
}


class WebError(GrainassayError):
    """A failure that belongs to the web only. `status`: of HTTP."""

    def __init__(self, status: int, subject: str, cause: str, remedy: str) -> None:
        super().__init__(subject, cause, remedy)
        self.status = status


def status_of(err: GrainassayError) -> int:
    """HTTP status of an expected failure."""
    if isinstance(err, WebError):
        return err.status
    for kind, status in ((NotThere, 404), (StoreBusy, 503), (StoreFull, 507), (JobLost, 409), (NothingUsable, 422),
                         (PhotoError, 422), (UsageError, 422)):  # fmt: skip
        if isinstance(err, kind):
            return status
    return 422 if err.exit_code == 2 else 500


def body(err: GrainassayError) -> dict[str, Any]:
    """The one shape, as JSON types; half characters from outside are shown as their codes."""
    texts = {"subject": err.subject, "cause": err.cause, "remedy": err.remedy}
    return {"error": {k: t.encode("utf-8", "backslashreplace").decode() for k, t in texts.items()}}


def answer(err: GrainassayError, path: str, *, templates: Any = None, context: dict[str, Any] | None = None) -> Response:
    """The response: JSON under /api/, a page elsewhere (template web/error.html.j2 where there is one)."""
    status = status_of(err)
    headers = {"Retry-After": AGAIN_S} if status in (429, 503) else {}
    if path.startswith(API):
        return JSONResponse(body(err), status, headers)
    return HTMLResponse(_page(err, status, templates, context or {}), status, headers)


def _page(err: GrainassayError, status: int, templates: Any, context: dict[str, Any]) -> str:
    if templates is not None:
        try:
            text: str = templates.get_template("web/error.html.j2").render(**context, status=status, **body(err))
            return text
        except Exception:  # the page of an error must not fail: the bare one below says the same
            log.exception("the page for errors cannot be drawn")
    subject, cause, remedy = (html.escape(t) for t in body(err)["error"].values())
    return (f'<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
            f"<title>{subject}</title><main><h1>{subject}</h1><p>{cause}</p><p>{remedy}</p>"
            f'<p><a href="/">Back to your pieces</a></p></main></html>')


def _of_http(exc: HTTPException) -> WebError:
    if exc.status_code == 404:
        return WebError(404, "This address", "Nothing is here.", "Go back to the list of pieces.")
    if exc.status_code == 405:
        return WebError(405, "This address", "It does not take this kind of request.", "Go back to the list of pieces.")
    return WebError(exc.status_code, "The request", f"It cannot be read ({exc.detail}).", "Send it again.")


def _of_validation(exc: RequestValidationError) -> WebError:
    first = exc.errors()[0] if exc.errors() else {"loc": ("request",), "msg": "it makes no sense"}
    where = ".".join(str(p) for p in first["loc"] if p not in ("body", "query", "path")) or "The request"
    cause = str(first["msg"])
    return WebError(422, where, f"{cause[:1].upper()}{cause[1:]}.", "Correct it and send it again.")


def install(app: FastAPI) -> None:
    """Gives the app its handlers: whatever fails, the answer has the one shape."""
    from service.web.guard import HEADERS, context

    def told(request: Request, err: GrainassayError) -> Response:
        return answer(err, request.url.path, templates=getattr(request.app.state, "templates", None), context=context(request))

    async def expected(request: Request, exc: Exception) -> Response:
        assert isinstance(exc, GrainassayError)
        if status_of(exc) >= 500:
            log.error("%s %s: %s", request.method, request.url.path, exc)
        return told(request, exc)

    async def http(request: Request, exc: Exception) -> Response:
        assert isinstance(exc, HTTPException)
        refused = getattr(request.state, "refused", None)
        out = told(request, refused if isinstance(refused, WebError) else _of_http(exc))
        for name, value in (exc.headers or {}).items():
            out.headers[name] = value
        return out

    async def invalid(request: Request, exc: Exception) -> Response:
        assert isinstance(exc, RequestValidationError)
        return told(request, _of_validation(exc))

    async def bug(request: Request, exc: Exception) -> Response:
        cause = "Something in the program failed that should not have; what was kept before is untouched."
        out = told(request, WebError(500, "The program", cause, "Try again; if it stays so, look at what the program printed."))
        out.headers.update(HEADERS)  # this answer is given outside of what adds them
        return out

    app.add_exception_handler(GrainassayError, expected)
    app.add_exception_handler(HTTPException, http)
    app.add_exception_handler(RequestValidationError, invalid)
    app.add_exception_handler(Exception, bug)

"""What every request passes: host, sizes, rates, access key, same-site check; and the headers every response carries.

Plain ASGI, so that streams flow through. The token against forged requests stands in forms as the hidden field CSRF_FIELD or in
the header CSRF_HEADER; templates get it through `context`.
"""

from __future__ import annotations

import hmac
import re
import secrets
from collections.abc import Iterable
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs, quote, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.store import Store
from service.version import PROGRAM
from service.web import tokens
from service.web.errors import API, WebError, answer
from service.web.hosts import allowed
from service.web.rate import Rate
from service.web.settings import WebSettings
from vision.errors import GrainassayError

CSRF_FIELD, CSRF_HEADER = "csrf", "X-Bench-Token"
VISIT, SESSION = "bench-visit", "bench-session"
CSP = ("default-src 'self'; img-src 'self' blob:; object-src 'none'; base-uri 'none'; form-action 'self'; "
       "frame-ancestors 'none'")
#: For a report that is one file with its style and pictures inside; it can run nothing.
REPORT_CSP = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; sandbox; frame-ancestors 'none'"
HEADERS = {
    "Content-Security-Policy": CSP, "X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin", "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=(), payment=(), usb=()", "Cache-Control": "no-store",
}
SAFE = ("GET", "HEAD", "OPTIONS")
#: Reached without the access key.
OPEN = ("/key", "/api/v1/access")
STATIC = "/static/"
PHOTOS = re.compile(r"/api/v1/pieces/[^/]+/photos/?")
#: How far into a form sent as parts the token is looked for: it is the first field.
_AHEAD = 8192


def context(request: Request) -> dict[str, Any]:
    """What every template gets: `csrf` (token), `csrf_field`, `csrf_header`, `key_demanded`, `program`."""
    guard: Guard | None = getattr(request.app.state, "guard", None)
    visit = getattr(request.state, "visit", "")
    settings: WebSettings | None = getattr(request.app.state, "settings", None)
    return {
        "csrf": guard.token(visit) if guard is not None and visit else "", "csrf_field": CSRF_FIELD, "csrf_header": CSRF_HEADER,
        "key_demanded": settings is not None and settings.key_demanded, "program": PROGRAM,
    }


class Guard:
    """The decisions, apart from the traffic."""

    def __init__(self, store: Store, settings: WebSettings) -> None:
        self.store, self.settings = store, settings
        self._secret = tokens.secret(store)
        self.sessions = tokens.Sessions(self._secret)
        self.requests, self.uploads = Rate(settings.requests_a_minute), Rate(settings.uploads_a_minute)
        self.tries = Rate(settings.tries_a_minute)
        self._known = ""  # signature of the key that programs last sent rightly: hashing it for every request would be slow

    def token(self, visit: str) -> str:
        """The token that fits the cookie of a visit."""
        return tokens.signed(self._secret, "form", visit)

    def token_fits(self, visit: str, token: str) -> bool:
        """Whether a token was given out to this visit."""
        return bool(visit) and hmac.compare_digest(self.token(visit).encode(), token.encode("utf-8", "replace"))

    def signed_in(self, session: str, bearer: str, client: str) -> bool:
        """Whether the cookie or the key in the Authorization header opens the door; trying keys is slow and counted."""
        kept = tokens.key_hash(self.store)
        if session and self.sessions.holds(session, kept):
            return True
        if not bearer or kept is None:
            return False
        mark = tokens.signed(self._secret, "bearer", bearer + kept)
        if hmac.compare_digest(mark, self._known):
            return True
        if not self.try_key(bearer, client, kept):
            return False
        self._known = mark
        return True

    def try_key(self, key: str, client: str, kept: str | None = None) -> bool:
        """Whether this is the key. Raises WebError (429) for a client that tries too often; a right key costs nothing."""
        if not self.tries.allows(client):
            raise WebError(429, "The access key", "Too many keys were tried.", "Wait a minute, then try again.")
        fits = tokens.key_fits(kept or tokens.key_hash(self.store), key)
        if fits:
            self.tries.forgive(client)
        return fits


def cookies(headers: Headers) -> dict[str, str]:
    """Cookies of a request; none where they cannot be read."""
    try:
        return {k: m.value for k, m in SimpleCookie(headers.get("cookie", "")).items()}
    except CookieError:
        return {}


def same_site(headers: Headers, scheme: str) -> bool:
    """What the browser says of where a request comes from: not from another site. True for programs that say nothing."""
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = headers.get("origin")
    if origin is None:
        return True
    parts = urlsplit(origin)
    return parts.scheme in ("http", "https") and parts.netloc.casefold() == headers.get("host", "").casefold()


def from_browser(headers: Headers) -> bool:
    """Whether a browser sent it: browsers name the origin of what they send, and bring cookies unasked."""
    return any(h in headers for h in ("origin", "sec-fetch-site", "cookie", "referer"))


class GuardMiddleware:
    """Puts Guard before the app."""

    def __init__(self, app: ASGIApp, guard: Guard) -> None:
        self.app, self.guard = app, guard

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return  # nothing here speaks over web sockets
        headers, visit = Headers(scope=scope), ""
        found = cookies(headers).get(VISIT, "")
        visit = found if re.fullmatch(r"[A-Za-z0-9_-]{22}", found) else secrets.token_urlsafe(16)
        scope.setdefault("state", {})["visit"] = visit
        secure = "; Secure" if scope.get("scheme") == "https" else ""
        fresh = None if visit == found else f"{VISIT}={visit}; Path=/; HttpOnly; SameSite=Strict{secure}"

        async def answered(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                if scope["path"].startswith(STATIC):
                    out.setdefault("Cache-Control", "no-cache")  # kept, and asked for again each time
                    # A page that is kept for use without a signal may be any of ours.
                    out.setdefault("Service-Worker-Allowed", "/")
                for name, value in HEADERS.items():
                    out.setdefault(name, value)
                page = not scope["path"].startswith(API) and out.get("content-type", "").startswith("text/html")
                if fresh is not None and scope["method"] in SAFE and page:
                    out.append("Set-Cookie", fresh)
            await send(message)

        try:
            receive = await self._passed(scope, headers, receive, visit if visit == found else "")
        except GrainassayError as err:
            await self._refused(err, scope, receive, answered)
            return
        await self.app(scope, receive, answered)

    async def _refused(self, err: GrainassayError, scope: Scope, receive: Receive, send: Send) -> None:
        from starlette.responses import RedirectResponse, Response

        path, out = scope["path"], None
        if isinstance(err, WebError) and err.status == 401 and scope["method"] in SAFE and not path.startswith(API):
            out = RedirectResponse(f"/key?next={quote(path)}", 303)
        templates = getattr(scope["app"].state, "templates", None) if "app" in scope else None
        response: Response = out or answer(err, path, templates=templates, context={"csrf": "", "program": PROGRAM})
        await response(scope, receive, send)

    async def _passed(self, scope: Scope, headers: Headers, receive: Receive, visit: str) -> Receive:
        """What the app reads from. Raises WebError for what is not let through."""
        from anyio import to_thread

        guard, settings, path = self.guard, self.guard.settings, scope["path"]
        client = (scope.get("client") or ("?",))[0]
        if not allowed(headers.get("host", ""), settings):
            raise WebError(421, "The address", "This name is not one of this service's own.",
                           "Open it by its address, or start it with --name and the name.")
        uploads = scope["method"] == "POST" and bool(PHOTOS.fullmatch(path))
        if settings.key_demanded and not path.startswith(STATIC):
            self._rated(client, uploads)
            if path not in OPEN:
                kind, _, bearer = headers.get("authorization", "").partition(" ")
                bearer = bearer if kind.casefold() == "bearer" else ""
                session = cookies(headers).get(SESSION, "")
                if not await to_thread.run_sync(guard.signed_in, session, bearer, client):
                    raise WebError(401, "This service", "It is opened with the access key.", "Sign in at /key.")
        most = self.guard.store.limits.photo.max_bytes + 64 * 1024 if uploads else settings.form_bytes
        receive = limited(receive, headers, most, scope["state"])
        if scope["method"] in SAFE:
            return receive
        if not same_site(headers, scope.get("scheme", "http")):
            raise WebError(403, "The request", "It was sent by a page of another site.", "Send it from this service's own pages.")
        if not from_browser(headers) or guard.token_fits(visit, headers.get(CSRF_HEADER, "")):
            return receive
        return await self._form_token(headers, receive, visit)

    def _rated(self, client: str, uploads: bool) -> None:
        if not (self.guard.uploads if uploads else self.guard.requests).allows(client):
            raise WebError(429, "This service", "Too many requests came from here.", "Wait a minute, then go on.")

    async def _form_token(self, headers: Headers, receive: Receive, visit: str) -> Receive:
        """Looks for the token at the beginning of a form and hands everything on."""
        kind = headers.get("content-type", "").partition(";")[0].strip().casefold()
        if kind in ("application/x-www-form-urlencoded", "multipart/form-data"):
            whole = kind != "multipart/form-data"
            seen, ahead = bytearray(), []
            while whole or len(seen) < _AHEAD:
                message = await receive()
                ahead.append(message)
                seen += message.get("body", b"")
                if whole and len(seen) > self.guard.settings.form_bytes:
                    raise WebError(413, "The form", "It is too large.", "Send photos as a form with parts.")
                if message["type"] != "http.request" or not message.get("more_body", False):
                    break
            if self.guard.token_fits(visit, _form_value(bytes(seen), whole)):
                return replayed(ahead, receive)
        raise WebError(403, "The request", "It does not carry the token of this page, or the page is too old.",
                       "Load the page again and send it once more.")


def _form_value(seen: bytes, whole: bool) -> str:
    if whole:
        return parse_qs(seen.decode("utf-8", "replace"), max_num_fields=1000).get(CSRF_FIELD, [""])[0]
    found = re.search(rb'name="?' + CSRF_FIELD.encode() + rb'"?\r\n\r\n([A-Za-z0-9_-]{43})\r\n', seen[:_AHEAD])
    return "" if found is None else found[1].decode()


def replayed(ahead: Iterable[Message], receive: Receive) -> Receive:
    """Reads what was read ahead, then the rest."""
    waiting = iter(list(ahead))

    async def read() -> Message:
        for message in waiting:
            return message
        return await receive()

    return read


def limited(receive: Receive, headers: Headers, most: int, state: dict[str, Any]) -> Receive:
    """Reads no more than `most` bytes; WebError (413) at the header that announces more, or as soon as more has come. It is noted
    in `state` too, since what reads a form calls every failure a broken form."""
    told = headers.get("content-length", "0")
    too_large = WebError(413, "The request", f"It is larger than {most / 2**20:.0f} MB.", "Send less at once.")
    if not (told.isascii() and told.isdigit()):
        raise WebError(400, "The request", "It does not say its length rightly.", "Send it again.")
    if len(told) > 15 or int(told) > most:
        raise too_large
    come = 0

    async def read() -> Message:
        nonlocal come
        message = await receive()
        come += len(message.get("body", b""))
        if come > most:
            state["refused"] = too_large
            raise too_large
        return message

    return read

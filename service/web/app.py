"""The web service put together: store, guard, API, pages, static files."""

from __future__ import annotations

import importlib
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from types import ModuleType

from anyio import CapacityLimiter
from fastapi import FastAPI
from starlette.staticfiles import StaticFiles

from service.engine import Engine
from service.store import Store
from service.version import version
from service.web import api, door, errors
from service.web.guard import Guard, GuardMiddleware
from service.web.settings import WebSettings

STATIC = Path(__file__).resolve().parent.parent / "static"
ABOUT = ("Photos of one piece of used furniture in, a second opinion on every panel out, with its evidence. Every error has one "
         "shape: what it is about, why, what to do. Figures are estimates wherever they are called so.")


def create_app(store: Store, engine: Engine | None = None, settings: WebSettings | None = None) -> FastAPI:
    """The service over an open store.

    `engine`: assesses photos in a thread of this program, as tests and small machines want it; None: workers of their own process
    do (see service.web.worker). Handlers find `store`, `settings`, `guard` in `request.app.state`.
    """
    settings = settings or WebSettings()

    @asynccontextmanager
    async def life(app: FastAPI) -> AsyncIterator[None]:
        app.state.uploading = CapacityLimiter(settings.uploads_at_once)
        app.state.stopping = False
        helper = None
        if engine is not None:
            from service.web.worker import Helper

            helper = Helper(store, engine, settings.lease_s)
            helper.start()
        try:
            yield
        finally:
            app.state.stopping = True
            if helper is not None:
                helper.stop()

    app = FastAPI(
        title="Grainassay", version=version(), description=ABOUT, lifespan=life, docs_url=None, redoc_url=None,
        openapi_url="/api/v1/openapi.json", responses=errors.RESPONSES,
    )  # fmt: skip
    guard = Guard(store, settings)
    app.state.store, app.state.settings, app.state.guard, app.state.engine = store, settings, guard, engine
    app.state.uploading, app.state.stopping = None, False
    errors.install(app)
    app.include_router(api.router)
    pages = _pages()
    #: What the page of an error is drawn with.
    app.state.templates = getattr(pages, "templates", None)
    for router in (*getattr(pages, "routers", ()), door.router):
        app.include_router(router, include_in_schema=False)
    if STATIC.is_dir():
        app.mount("/static", StaticFiles(directory=STATIC), name="static")
    app.add_middleware(GuardMiddleware, guard=guard)
    return app


def _pages() -> ModuleType | None:
    """The pages; None in an install that brings the API alone."""
    try:
        return importlib.import_module("service.web.pages")
    except ModuleNotFoundError as err:
        if err.name != "service.web.pages":
            raise
        return None

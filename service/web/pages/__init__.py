"""Pages: server-rendered, readable without scripts; scripts add what a phone makes easier."""

from __future__ import annotations

from service.web.pages import pieces, result
from service.web.pages.drawn import templates

routers = (pieces.router, result.router)

__all__ = ["routers", "templates"]

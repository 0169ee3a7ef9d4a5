"""Pages: server-rendered, readable without scripts; scripts add what a phone makes easier."""

from __future__ import annotations

from service.web.pages import by_hand, pieces, result, work
from service.web.pages.drawn import templates

routers = (pieces.router, result.router, by_hand.router, work.router)

__all__ = ["routers", "templates"]

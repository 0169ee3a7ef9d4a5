"""Pages: server-rendered, readable without scripts; scripts add what a phone makes easier."""

from __future__ import annotations

from service.web.pages import by_hand, pieces, plan, result, sell
from service.web.pages.drawn import templates

routers = (pieces.router, result.router, by_hand.router, plan.router, sell.router)

__all__ = ["routers", "templates"]

"""What handlers share: the store of the request."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Request

from service.store import Store


def the_store(request: Request) -> Store:
    """The open store."""
    store: Store = request.app.state.store
    return store


Kept = Annotated[Store, Depends(the_store)]

"""The API, version 1: everything the pages can do, for other programs."""

from fastapi import APIRouter

from service.web.api import access

router = APIRouter(prefix="/api/v1")
for _part in (access,):
    router.include_router(_part.router)

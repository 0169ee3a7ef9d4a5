"""The API, version 1: everything the pages can do, for other programs."""

from fastapi import APIRouter

from service.web.api import access, answers, jobs, pieces, work

router = APIRouter(prefix="/api/v1")
for _part in (access, pieces, jobs, answers, work):
    router.include_router(_part.router)

"""Assessments as jobs: begin, watch, cancel; the document they make."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator
from typing import Any

from anyio import sleep, to_thread
from fastapi import APIRouter, Request
from starlette.responses import Response, StreamingResponse

from service.store import Store
from service.store.errors import not_there
from service.store.types import Job
from service.web import queue
from service.web.api.deps import Kept
from service.web.api.shapes import Id, JobList, JobOut, NewAssessment
from service.web.errors import WebError
from service.web.guard import REPORT_CSP

router = APIRouter(tags=["assessments"])
LOOK_S, QUIET_S = 0.4, 15.0
DOCUMENT: dict[int | str, dict[str, Any]] = {
    200: {"content": {"application/json": {}}, "description": "The document that `grainassay look --json` prints."}}
EVENTS: dict[int | str, dict[str, Any]] = {
    200: {"content": {"text/event-stream": {}},
          "description": "Events named `job`, each with the job as JSON; the stream ends when the job has."}}


@router.post("/pieces/{piece}/assessments", status_code=202, summary="Assess the photos of a piece")
def begin(piece: Id, asked: NewAssessment, store: Kept, response: Response) -> JobOut:
    """Queues a job over all photos, with the outlines set so far. It stands in for jobs of the piece that have not ended; the
    same request again gives the job that waits already."""
    job = queue.ask(store, piece, details=asked.details, prior=asked.prior, scale=asked.scale, client_key=asked.client_key)
    response.headers["Location"] = f"/api/v1/jobs/{job.id}"
    return _out(store, job)


@router.get("/pieces/{piece}/jobs", summary="Jobs of a piece")
def jobs(piece: Id, store: Kept) -> JobList:
    """Newest first."""
    return JobList(jobs=[JobOut.of(j) for j in store.jobs.of_piece(piece)[:50]])


@router.get("/jobs/{job}", summary="One job")
def one(job: Id, store: Kept) -> JobOut:
    """State, stage, share done."""
    return _out(store, store.jobs.get(job))


@router.post("/jobs/{job}/cancel", summary="Stop a job")
def cancel(job: Id, store: Kept) -> JobOut:
    """At once while it waits, within seconds while it runs; no effect once it has ended."""
    return _out(store, store.jobs.cancel(job))


@router.get("/jobs/{job}/events", summary="Watch a job", responses=EVENTS, response_class=StreamingResponse)
async def events(job: Id, request: Request, store: Kept) -> StreamingResponse:
    """Server-sent events: the job at once, then whenever something of it changes."""
    state = request.app.state
    first = await to_thread.run_sync(store.jobs.get, job)
    open_now = getattr(state, "streams", 0)
    if open_now >= state.settings.streams:
        raise WebError(503, "The progress", "Too many pages watch at once.", "Ask for the job itself now and then.")

    async def told() -> AsyncIterator[bytes]:
        state.streams = getattr(state, "streams", 0) + 1
        try:
            quiet, said = 0.0, ""
            now: Job = first
            yield b"retry: 2000\n\n"
            while not state.stopping:
                out = await to_thread.run_sync(_out, store, now)
                news = out.model_dump_json(exclude={"changed"})  # every sign of life changes that
                if news != said:
                    yield f"event: job\ndata: {out.model_dump_json()}\n\n".encode()
                    quiet, said = 0.0, news
                elif quiet >= QUIET_S:
                    yield b": still here\n\n"
                    quiet = 0.0
                if now.ended or await request.is_disconnected():
                    return
                await sleep(LOOK_S)
                quiet += LOOK_S
                try:
                    now = await to_thread.run_sync(store.jobs.get, job)
                except Exception as err:  # deleted meanwhile, or the store is busy: said, and the browser asks again
                    yield f"event: gone\ndata: {json.dumps(str(err))}\n\n".encode()
                    return
        finally:
            state.streams -= 1

    return StreamingResponse(told(), media_type="text/event-stream", headers={"X-Accel-Buffering": "no"})


@router.get("/pieces/{piece}/assessment", summary="The newest assessment", responses=DOCUMENT, response_class=Response)
def assessment(piece: Id, store: Kept) -> Response:
    """Exactly as it was made, with the model that made it."""
    paper = store.papers.latest(piece, "assessment")
    if paper is None:
        raise not_there("assessment")
    return Response(paper.text, media_type="application/json", headers={"X-Assessment": paper.id})


@router.get("/pieces/{piece}/assessments", summary="All assessments of a piece")
def assessments(piece: Id, store: Kept) -> dict[str, Any]:
    """Newest first: id, time, schema and model; old ones stay as they were."""
    rows = store.papers.of_piece(piece, "assessment")
    return {"assessments": [{"id": p.id, "created": p.created, "schema": p.schema, "model": p.model} for p in rows]}


@router.get("/pieces/{piece}/assessments/{paper}", summary="One assessment", responses=DOCUMENT, response_class=Response)
def older(piece: Id, paper: Id, store: Kept) -> Response:
    """As it was made."""
    found = store.papers.get(paper)
    if found.piece != piece or found.kind != "assessment":
        raise not_there("assessment")
    return Response(found.text, media_type="application/json")


@router.get("/pieces/{piece}/report", summary="The newest assessment as one page", response_class=Response,
            responses={200: {"content": {"text/html": {}}, "description": "A file that needs nothing else."}})
def report(piece: Id, store: Kept) -> Response:
    """To save or print: pictures and style are inside."""
    return Response(queue.report(store, piece), media_type="text/html",
                    headers={"Content-Security-Policy": REPORT_CSP,
                             "Content-Disposition": 'inline; filename="grainassay-report.html"'})  # fmt: skip


def _out(store: Store, job: Job) -> JobOut:
    return JobOut.of(job, store.jobs.ahead(job.id) if job.state == "queued" else 0)

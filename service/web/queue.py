"""Asking for an assessment, and the report made from one."""

from __future__ import annotations

import json
from typing import Any

from service.store import Store
from service.store.errors import not_there
from service.store.types import Job
from service.web.assessing import NOTES, photo_key
from service.web.corrections import outlines_now
from service.web.told import document_of
from vision.errors import UsageError


def ask(
    store: Store, piece: str, *, details: bool = True, prior: str | None = None, scale: str = "none",
    client_key: str | None = None,
) -> Job:
    """Queues an assessment of all photos with the outlines set so far. Jobs of the piece that have not ended are cancelled; an
    equal one that waits is given instead. Raises NotThere, UsageError for a piece without photos."""
    if not store.photos.of_piece(piece):
        raise UsageError("The piece", "It has no photos yet.", "Add at least one photo of it.")
    request: dict[str, Any] = {"details": details, "prior": prior, "scale": scale, "outlines": outlines_now(store, piece)}
    before = store.jobs.of_piece(piece)
    open_jobs = [j for j in before if not j.ended and not j.cancel_asked]
    waiting = next((j for j in open_jobs if j.state == "queued" and j.request == request), None)
    if waiting is not None:
        return waiting
    job = store.jobs.add(piece, "assess", request, client_key=client_key)
    if all(j.id != job.id for j in before):  # not the answer to a request sent again
        for other in open_jobs:
            store.jobs.cancel(other.id)
    return job


def again(store: Store, piece: str) -> Job:
    """Queues an assessment as the newest one was asked for, with the outlines as they are now. Raises as `ask`."""
    last = next((j.request for j in store.jobs.of_piece(piece) if isinstance(j.request, dict)), {})
    return ask(store, piece, details=bool(last.get("details", True)), prior=last.get("prior"), scale=last.get("scale", "none"))


def notes_of(store: Store, piece: str) -> tuple[str, ...]:
    """Notes of the newest assessment: what was left out and why."""
    kept = store.derived.get(piece, NOTES, NOTES)
    return tuple(str(n) for n in json.loads(kept.data)) if kept is not None else ()


def report(store: Store, piece: str) -> str:
    """The newest assessment as one HTML page. Raises NotThere."""
    from service.report import report_html

    doc = document_of(store, piece)
    if doc is None:
        raise not_there("assessment")
    keys = {photo_key(p): p for p in store.photos.of_piece(piece)}
    pictures = {}
    for photo in doc.photos:
        kept = store.derived.get(piece, "evidence", photo.id) if photo.id in keys else None
        if kept is not None:
            pictures[photo.id] = kept.data
    return report_html(doc, pictures, notes_of(store, piece))

"""What the work showed, as labels: the highest trust there is, for teaching the program from pieces that were taken apart."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from service.contract import Document
from service.ledger.events import TRUST, Event

SCHEMA = "grainassay.labels/1.0"


def photos_of(doc: Document, part: str) -> tuple[tuple[str, str], ...]:
    """(sha256 of the photo, panel id) of every sighting of a part."""
    from service.hand.state import part_of

    digest = {p.id: p.sha256 for p in doc.photos}
    return tuple((digest[s.photo], s.panel) for s in part_of(doc, part).sightings)


def labels(events: Sequence[Event]) -> list[dict[str, Any]]:
    """One label for each part of each piece. Face and core each come from the most trusted event that names them, the later one
    among equals; a face and a core that cannot go together are both given, with `conflict` set."""
    from vision import registry

    best: dict[tuple[str, str], dict[str, Any]] = {}
    for e in events:
        if e.kind != "revealed":
            continue
        trust = TRUST[e.how][0]
        row = best.setdefault((e.piece, e.part), {"piece": e.piece, "part": e.part, "role": e.role, "face": None, "core": None,
                                                  "photos": []})
        for what in ("face", "core"):
            value = getattr(e, what)
            if value is not None and (row[what] is None or trust >= row[what]["trust"]):
                row[what] = {"key": value, "how": e.how, "trust": trust, "at": e.at, "event": e.id}
        row["role"] = e.role or row["role"]
        row["photos"] += [{"sha256": a, "panel": b} for a, b in e.photos if {"sha256": a, "panel": b} not in row["photos"]]
    for row in best.values():
        both = row["face"] is not None and row["core"] is not None
        row["conflict"] = both and (row["face"]["key"], row["core"]["key"]) not in registry.SUBSTRATE_OF
    return list(best.values())


def document(events: Sequence[Event]) -> dict[str, Any]:
    """JSON types."""
    return {"schema": SCHEMA, "trust": {k: {"level": n, "words": w} for k, (n, w) in TRUST.items()}, "labels": labels(events)}

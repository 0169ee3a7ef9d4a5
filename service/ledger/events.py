"""Events of the ledger, one line of JSON each, and the file they are added to.

Nothing is ever rewritten: a correction voids an earlier event and adds another. A line is on the disk before it counts. A torn
line, as a power cut leaves it, is reported and skipped, and the next event begins on a line of its own.
"""

from __future__ import annotations

import json
import math
import os
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any

from vision import registry
from vision.errors import GrainassayError, UsageError

VERSION = 1
#: Kind of event -> numbers that it must have.
KINDS: Mapping[str, tuple[str, ...]] = MappingProxyType({
    "asked": ("amount",), "paid": ("amount",), "planned": (), "worked": ("hours",), "spent": ("amount",), "sold": ("amount",),
    "returned": ("amount",), "revealed": (), "note": (), "void": (),
})
NUMBERS = ("amount", "hours", "materials", "sale", "fees", "days")
#: How a material became known -> trust, highest first; what the work showed outranks what anyone said.
TRUST: Mapping[str, tuple[int, str]] = MappingProxyType({
    "stripped": (4, "stripped, sanded or taken apart"), "edge": (3, "an edge, a hole or a chip seen"),
    "label": (2, "the maker's label"), "seller": (1, "the seller said so"),
})


class CannotKeep(GrainassayError):
    """The ledger cannot be written."""


@dataclass(frozen=True)
class Event:
    """`at`: local time in ISO form; `numbers`: money in the user's currency, hours, days; `part`, `face`, `core`, `how`: of a
    reveal; `photos`: (sha256, panel id) that show the part; `voids`: id of the event it takes back; `text`: a note."""

    piece: str
    kind: str
    at: str
    id: str = field(default_factory=lambda: secrets.token_urlsafe(9))
    numbers: Mapping[str, float] = field(default_factory=dict)
    part: str = ""
    role: str = ""
    face: str | None = None
    core: str | None = None
    how: str = ""
    photos: tuple[tuple[str, str], ...] = ()
    voids: str = ""
    text: str = ""

    def __post_init__(self) -> None:
        def need(ok: bool, cause: str, remedy: str) -> None:
            if not ok:
                raise UsageError("ledger", cause, remedy)

        need(bool(self.piece.strip()) and self.piece.isprintable() and len(self.piece) <= 120,
             f"{self.piece!r} names no piece.", "Name the piece in a few words, the same each time.")
        need(self.kind in KINDS, f"{self.kind!r} is no kind of event.", "Use one of: " + ", ".join(KINDS) + ".")
        need(set(self.numbers) <= set(NUMBERS), "holds numbers that are not known.", "Use: " + ", ".join(NUMBERS) + ".")
        need(all(math.isfinite(v) and v >= 0 for v in self.numbers.values()), "a number is below zero or none.",
             "Give money, hours and days from 0 on; a return has a kind of its own.")
        missing = [n for n in KINDS[self.kind] if n not in self.numbers]
        need(not missing, f"{self.kind} lacks {', '.join(missing)}.", "Add it.")
        if self.kind == "revealed":
            need(bool(self.part) and self.how in TRUST, "a reveal needs a part and how it became known.",
                 "Ways are: " + ", ".join(TRUST) + ".")
            need(self.face is not None or self.core is not None, "a reveal needs a face or a core.",
                 "Give --face, --core or both.")
            need(self.face in (None, *registry.FACES) and self.core in (None, *registry.CORES),
                 "that face or core is not known.",
                 "Faces: " + ", ".join(registry.FACES) + ". Cores: " + ", ".join(registry.CORES) + ".")
            need(self.face is None or self.core is None or (self.face, self.core) in registry.SUBSTRATE_OF,
                 f"a face of {self.face} does not lie on {self.core}.", "Correct one of them.")
        need((self.kind == "void") == bool(self.voids), "only a void names an event that it takes back.", "Give its id.")
        try:
            datetime.fromisoformat(self.at)
        except ValueError as err:
            raise UsageError("ledger", f"{self.at!r} is no time.", "Write it as 2026-03-02 or 2026-03-02T17:30.") from err
        object.__setattr__(self, "numbers", MappingProxyType(dict(self.numbers)))


def to_json(event: Event) -> dict[str, Any]:
    """JSON types; empty entries are left out."""
    rest = {"part": event.part, "role": event.role, "face": event.face, "core": event.core, "how": event.how,
            "photos": [list(p) for p in event.photos], "voids": event.voids, "text": event.text}
    return {"v": VERSION, "id": event.id, "at": event.at, "piece": event.piece, "kind": event.kind,
            "numbers": dict(event.numbers), **{k: v for k, v in rest.items() if v}}


def of_json(data: Mapping[str, Any]) -> Event:
    """An event from JSON types; unknown entries are ignored.

    Raises
    ------
    UsageError, KeyError, TypeError, ValueError
        where it is none.
    """
    return Event(
        str(data["piece"]), str(data["kind"]), str(data["at"]), str(data["id"]),
        {k: float(v) for k, v in data.get("numbers", {}).items()}, str(data.get("part", "")), str(data.get("role", "")),
        data.get("face"), data.get("core"), str(data.get("how", "")),
        tuple((str(a), str(b)) for a, b in data.get("photos", ())), str(data.get("voids", "")), str(data.get("text", "")),
    )


@dataclass(frozen=True)
class Read:
    """`events`: in the order of the file, voids among them; `torn`: (line number, what is wrong) of lines that were skipped."""

    events: tuple[Event, ...]
    torn: tuple[tuple[int, str], ...]

    @property
    def standing(self) -> tuple[Event, ...]:
        """Events that no later one has taken back."""
        gone = {e.voids for e in self.events if e.kind == "void"}
        return tuple(e for e in self.events if e.id not in gone and e.kind != "void")


def read(path: Path) -> Read:
    """All events of a file; an absent file has none."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return Read((), ())
    except OSError as err:
        raise CannotKeep(str(path), f"the ledger cannot be read ({err.strerror or err}).", "Check the name and that you may "
                         "read it.") from err
    events: list[Event] = []
    torn: list[tuple[int, str]] = []
    for n, line in enumerate(data.split(b"\n"), 1):
        if not line.strip():
            continue
        try:
            events.append(of_json(json.loads(line)))
        except (ValueError, KeyError, TypeError, AttributeError, UsageError) as err:
            torn.append((n, f"{type(err).__name__}: {err}"[:120]))
    return Read(tuple(events), tuple(torn))


def add(path: Path, events: Sequence[Event]) -> None:
    """Add events; when this returns they are on the disk.

    Raises
    ------
    CannotKeep
        where the file cannot be written; nothing that was there is lost then.
    """
    lines = b"".join(json.dumps(to_json(e), allow_nan=False, separators=(",", ":")).encode("ascii") + b"\n" for e in events)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        new = not path.exists()
        handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o600)
        try:
            size = os.fstat(handle).st_size
            if size and os.pread(handle, 1, size - 1) != b"\n":
                lines = b"\n" + lines  # a torn line stays alone on its own
            done = 0
            while done < len(lines):
                done += os.write(handle, lines[done:])
            os.fsync(handle)
        finally:
            os.close(handle)
        if new and hasattr(os, "O_DIRECTORY"):  # a new file's name must be on the disk too
            folder = os.open(path.parent, os.O_DIRECTORY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)
    except OSError as err:
        raise CannotKeep(str(path), f"the ledger cannot be written ({err.strerror or err}).",
                         "Make room, or name a file in a folder that you may write to; what stood there still does.") from err

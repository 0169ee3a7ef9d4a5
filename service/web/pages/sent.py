"""What comes with every form: a key of the sender's making, and when it was said, where it waited for a signal."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated

from fastapi import Depends, Form


@dataclass(frozen=True)
class Sent:
    """`client_key`: the same form sent again changes nothing; None where the form went straight out. `said`: in UTC, or None."""

    client_key: str | None = None
    said: datetime | None = None


def said_of(text: str) -> datetime | None:
    """The time of an ISO text with its zone; None for anything else, which counts as said now."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    if found.tzinfo is None or not 2000 < found.year < 9000:
        return None
    return found.astimezone(UTC)


def sent(
    client_key: Annotated[str, Form(max_length=120)] = "", said_at: Annotated[str, Form(max_length=40)] = "",
) -> Sent:
    """From the fields of a form."""
    return Sent(client_key or None, said_of(said_at))


Coming = Annotated[Sent, Depends(sent)]

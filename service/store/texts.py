"""Texts, keys and JSON on their way in: cleaned or refused; and random ids."""

from __future__ import annotations

import json
import re
import secrets
import unicodedata
from typing import Any, NoReturn

from service.store.errors import Refused, StoreDamaged

_ID = re.compile(r"[A-Za-z0-9_-]{22}")
_KEY = re.compile(r"[a-z][a-z0-9_-]{0,39}")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.:-]{0,119}")
#: Control characters that no text needs; line breaks and tabs stay.
_CONTROL = {code: None for code in (*range(32), *range(127, 160)) if code not in (9, 10)}


def new_id() -> str:
    """A random id of 22 URL-safe characters (128 bits): it cannot be guessed and says nothing."""
    made = secrets.token_urlsafe(16)
    while not made[0].isalnum():  # a leading dash is an option to a command line
        made = secrets.token_urlsafe(16)
    return made


def is_id(text: str) -> bool:
    """True when the text could be an id made here; anything else need not be looked up."""
    return bool(_ID.fullmatch(text))


def clean(text: str, longest: int, what: str) -> str:
    """The text without control characters, in composed form (NFC), trimmed at both ends; line breaks become newlines.

    Raises Refused when it is longer than `longest` characters or holds half a character (a lone surrogate).
    """
    if any(0xD800 <= ord(c) <= 0xDFFF for c in text):
        raise Refused(what.capitalize(), "The text is damaged: it holds half a character.", "Type it again.")
    text = unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\r", "\n").translate(_CONTROL)).strip()
    if len(text) > longest:
        raise Refused(what.capitalize(), f"The text has {len(text)} characters; the limit is {longest}.", "Shorten it.")
    return text


def folded(*texts: str) -> str:
    """What a search looks in and for: case and accents folded away, words kept."""
    plain = unicodedata.normalize("NFKD", "\n".join(texts).casefold())
    return "".join(c for c in plain if not unicodedata.combining(c))


def key(text: str, what: str) -> str:
    """The text if it is a short plain key (letters a-z, digits, _ and -); Refused otherwise."""
    if not _KEY.fullmatch(text):
        raise Refused(what.capitalize(), "This is not a key that the program uses.", "Reload the page and try again.")
    return text


def name(text: str, what: str) -> str:
    """The text if it is a short plain name (letters, digits and _ . : -), or ''; Refused otherwise."""
    if text and not _NAME.fullmatch(text):
        raise Refused(what.capitalize(), "This is not a name that the program uses.", "Reload the page and try again.")
    return text


def to_text(value: Any, most_bytes: int, what: str) -> str:
    """JSON text (ASCII, one line) of plain values; Refused when too large or not JSON (nan, bytes ...)."""
    try:
        text = json.dumps(value, allow_nan=False, separators=(",", ":"))
    except (TypeError, ValueError, RecursionError):
        raise Refused(what.capitalize(), "The data is not plain JSON.", "Reload the page and try again.") from None
    return _fits(text, most_bytes, what)


def document(text: str, most_bytes: int, what: str) -> dict[str, Any]:
    """A JSON document handed in as text, read; Refused when it is no JSON object, too large, or no clean text."""
    try:
        value = json.loads(text, parse_constant=_no_number)
        text.encode("utf-8")
    except (ValueError, RecursionError):
        raise Refused(what.capitalize(), "The document is not valid JSON.", "Make it anew.") from None
    if not isinstance(value, dict) or "\0" in text:
        raise Refused(what.capitalize(), "The document is not a JSON object.", "Make it anew.")
    _fits(text, most_bytes, what)
    return value


def from_text(text: str, what: str) -> Any:
    """Stored JSON read back; StoreDamaged when it no longer is JSON."""
    try:
        return json.loads(text)
    except ValueError:
        raise StoreDamaged(what.capitalize(), "The stored text is damaged.", "Put back a backup, or make it anew.") from None


def _fits(text: str, most_bytes: int, what: str) -> str:
    size = len(text.encode("utf-8", "surrogatepass"))
    if size > most_bytes:
        raise Refused(what.capitalize(), f"It holds {size} bytes; the limit is {most_bytes}.", "Send less at once.")
    return text


def _no_number(text: str) -> NoReturn:
    raise ValueError(text)

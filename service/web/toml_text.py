"""JSON values as TOML text, so that requests and price lists are read, and mistakes named, by the code that reads their files."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from typing import Any

from vision.errors import UsageError

_DAY = re.compile(r"\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])")
_DEPTH = 8


def toml_of(values: Mapping[str, Any], what: str) -> str:
    """TOML text of a JSON object; a text that is a day (2026-03-02) becomes one, null is left out.

    Raises
    ------
    UsageError
        for what TOML cannot carry (numbers without end, half characters), or nests too deep; `what` names it.
    """
    return "".join(f"{_text(k, what)} = {_value(v, what, 0)}\n" for k, v in values.items() if v is not None)


def _value(value: Any, what: str, depth: int) -> str:
    if depth > _DEPTH:
        raise UsageError(what, "It nests too deep.", "Send what the page sends.")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return value if _DAY.fullmatch(value) and _is_day(value) else _text(value, what)
    if isinstance(value, int) and abs(value) < 2**63:
        return str(value)
    if isinstance(value, float) and math.isfinite(value):
        return repr(value)
    if isinstance(value, list):
        return "[" + ", ".join(_value(v, what, depth + 1) for v in value) + "]"
    if isinstance(value, Mapping):
        rows = [f"{_text(k, what)} = {_value(v, what, depth + 1)}" for k, v in value.items() if v is not None]
        return "{" + ", ".join(rows) + "}"
    raise UsageError(what, "It holds something that is no number, text, list or table.", "Send what the page sends.")


def _is_day(text: str) -> bool:
    from datetime import date

    try:
        date.fromisoformat(text)
        return True
    except ValueError:
        return False


def _text(text: str, what: str) -> str:
    if any(0xD800 <= ord(c) <= 0xDFFF for c in text):
        raise UsageError(what, "A text holds half a character.", "Type it again.")
    # Every JSON string in this form is a TOML basic string, but for the control character that JSON leaves bare.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")

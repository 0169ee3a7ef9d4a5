"""Spot tests of an old finish as JSON types, for service/static/finish.js."""

from __future__ import annotations

from typing import Any

from service.finish.spot import BLEND, rules
from service.plan.types import OLD_FINISHES


def tables() -> dict[str, Any]:
    """Tests in order, their answers and what they mean."""
    return {
        "schema": "grainassay.spot-tests/1.0", "words": dict(OLD_FINISHES), "blend": BLEND,
        "tests": [{"key": t.key, "text": t.text, "how": t.how,
                   "answers": [{"key": a.key, "words": a.words, "means": a.means, "note": a.note} for a in t.answers]}
                  for t in rules().tests],
    }  # fmt: skip

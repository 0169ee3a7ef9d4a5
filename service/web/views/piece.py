"""A piece in a line, and two pieces part by part beside each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from service.words import class_words
from vision import registry

UNNAMED = "Without a name"


def standing(photos: int, running: bool, headline: str) -> str:
    """Where a piece stands, in a line. `headline`: of its newest assessment, empty where there is none."""
    if running:
        return "being looked at"
    if headline:
        return headline
    return "not looked at yet" if photos else "no photo yet"


def known_words(face: str | None, core: str | None) -> str:
    """What somebody said is known of a part, in words."""
    return " on ".join(class_words(k) for k in (face, core) if k)


def _cell(parts: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    return [{"name": p["name"], "call": p["call"], "open": p["open"], "sure": p["sure"], "core": p["core"]} for p in parts]


def side_by_side(views: Sequence[Mapping[str, Any] | None]) -> list[dict[str, Any]]:
    """Rows of a comparison: one for each kind of part that any of the pieces has, in the order of the registry.

    `views`: of result_view, None for a piece without an assessment. A row holds `name` and `cells`, one for each piece: the parts
    of that kind, none where no photo shows one (which does not mean that the piece has none).
    """
    rows = []
    for role in registry.ROLES:
        cells = [_cell([p for p in v["parts"] if p["role"] == role]) if v is not None else [] for v in views]
        if role == "unknown" or not any(cells):
            continue
        rows.append({"name": role.replace("_", " ").capitalize(), "cells": cells})
    return rows


def others_line(view: Mapping[str, Any] | None) -> str:
    """How many panels have no part, and how many of them can be told."""
    others = view["others"] if view is not None else ()
    if not others:
        return ""
    told = sum(not p["open"] for p in others)
    return f"{len(others)} panel{'s' if len(others) != 1 else ''} of no known part, {told or 'none'} of them told"

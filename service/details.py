"""Joints, fittings, damage and narrow sides in the order a reader wants them: what decides the work first."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath

from service.contract import Detail, Document
from service.words import panel_name, percent
from vision import registry

#: What the chances rest on; stands beside every list of them.
BASIS = ("Places to look at by hand: the rules were tried on made-up pictures and hardly yet on real furniture. Only the chances "
         "of narrow sides were checked on real ones.")
_LEVEL_ORDER = {level: n for n, level in enumerate(reversed(list(registry.LEVELS)))}
_GROUP_ORDER = {"damage": 0, "joint": 1, "edge": 2, "fitting": 3}
_GROUP_WORDS = {"damage": "Damage", "joint": "Joint", "edge": "Narrow side", "fitting": "Fitting"}


@dataclass(frozen=True)
class Line:
    """One detail for reading. `file`, `panel`: where; `head`: its group, level and chance in words."""

    file: str
    panel: str
    head: str
    text: str
    meaning: str


def _head(detail: Detail) -> str:
    more = []
    if detail.level is not None:
        more.append(detail.level)
    if detail.chance is not None:
        more.append(f"chance {percent(detail.chance)}")
    return _GROUP_WORDS[detail.group] + (f" ({', '.join(more)})" if more else "")


def detail_lines(doc: Document) -> list[Line]:
    """All details of a document, damage that matters most first."""
    every = [(p, q, d) for p in doc.photos for q in p.panels for d in q.details]
    every.sort(key=lambda e: (_GROUP_ORDER[e[2].group], _LEVEL_ORDER.get(e[2].level or "", 9), -(e[2].chance or 0.0)))
    return [Line(PurePath(p.file).name, panel_name(q.id), _head(d), d.text, d.meaning) for p, q, d in every]


def damage_kinds(doc: Document) -> set[str]:
    """Kinds of damage seen on any panel."""
    return {d.kind for p in doc.photos for q in p.panels for d in q.details if d.group == "damage"}

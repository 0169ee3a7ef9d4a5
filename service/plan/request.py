"""What the user wants and knows for a plan: goals, sizes, woods, climate, days, from a small file that is read and checked."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from service.files import text_of
from service.plan.steps import TOPCOATS
from service.plan.types import GOALS, OLD_FINISHES, Damage
from service.sanding.rules import read as sanding_rules
from service.units import quantity, sizes
from service.wood.movement import Climate
from vision import registry
from vision.errors import UsageError

MEND = "Mend the file; docs/plan.toml shows one."
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
FLAGS = ("patched", "sanded_through", "bonded", "printed_graining")


@dataclass(frozen=True)
class Wish:
    """What is wanted of one part and known of it; what is None is not known. `faces`, `cores`: seen by hand."""

    goal: str | None = None
    role: str | None = None
    size: tuple[float, float] | None = None
    count: int = 1
    wood: str | None = None
    face: str | None = None
    core: str | None = None
    face_mm: tuple[float, float] | None = None
    face_kind: str = "unknown"
    earlier: int = 0
    old_finish: str | None = None
    flags: Mapping[str, bool] = field(default_factory=dict)
    damage: tuple[Damage, ...] = ()


@dataclass(frozen=True)
class Request:
    """All of it. `hours`: of work by weekday, 0 Monday; `stored`, `home`: climates, both or none; `goal`: for parts that name
    none; `made_before_1978`: None: not known."""

    where: str = "other"
    us: bool = False
    goal: str | None = None
    topcoat: str = "water"
    start: date | None = None
    hours: Mapping[int, float] = field(default_factory=lambda: dict.fromkeys(range(7), 3.0))
    first_hour: float = 9.0
    made_before_1978: bool | None = None
    stored: Climate | None = None
    home: Climate | None = None
    parts: Mapping[str, Wish] = field(default_factory=dict)

    def of(self, part: str) -> Wish:
        """The wish for a part; an empty one where nothing is said."""
        return self.parts.get(part, Wish())


def _one_of(value: Any, allowed: Any, what: str) -> Any:
    if value is not None and value not in allowed:
        raise UsageError(what, f"{value!r} is not known.", "Use one of: " + ", ".join(allowed) + ".")
    return value


def face_of(text: str, what: str) -> tuple[tuple[float, float] | None, str]:
    """((least, most) mm or None, kind) of '0.6mm', '0.5-0.7mm' or a kind of sanding.toml."""
    if text in sanding_rules().faces:
        return None, text
    pieces = text.split("-")
    if len(pieces) not in (1, 2):
        raise UsageError(what, f"{text!r} is no thickness.", "Give '0.6mm', '0.5-0.7mm' or a kind: "
                         + ", ".join(sanding_rules().faces) + ".")
    unit = "".join(c for c in pieces[-1] if c.isalpha()) or "mm"
    both = [quantity(p if any(c.isalpha() for c in p) else p + unit, "length", what) for p in pieces]
    if not both[0] <= both[-1] <= 50:
        raise UsageError(what, f"{text!r} is no thickness of a face.", "Give the least first, in millimetres.")
    # A single figure is a rule laid on an edge: taken as right to a fifth.
    return ((both[0], both[1]) if len(both) == 2 else (0.8 * both[0], 1.2 * both[0])), "unknown"


def _damage(rows: Any, what: str) -> tuple[Damage, ...]:
    rank = list(registry.LEVELS)
    worst: dict[str, str] = {}
    for row in rows:
        kind, _, level = str(row).partition("/")
        _one_of(kind, registry.DETAILS["damage"], f"{what}: damage")
        level = _one_of(level or "medium", registry.LEVELS, f"{what}: level")
        worst[kind] = max(level, worst.get(kind, level), key=rank.index)
    return tuple(Damage(kind, level, sure=True) for kind, level in worst.items())


def _wish(key: str, row: Mapping[str, Any]) -> Wish:
    known = {"goal", "role", "size", "count", "wood", "face", "core", "face_thickness", "earlier", "old_finish", "damage", *FLAGS}
    if unknown := set(row) - known:
        raise UsageError(key, f"has unknown entries: {', '.join(sorted(unknown))}.", MEND)
    size = None
    if "size" in row:
        found = sizes(str(row["size"]), f"{key}: size")
        if len(found) < 2:
            raise UsageError(f"{key}: size", f"{row['size']!r} has one number.", "Give length x width, as in '1200x500mm'.")
        size = (max(found), sorted(found)[-2])
    face_mm, kind = face_of(str(row.get("face_thickness", "unknown")), f"{key}: face_thickness")
    count, earlier = row.get("count", 1), row.get("earlier", 0)
    if not isinstance(count, int) or not 1 <= count <= 100 or not isinstance(earlier, int) or not 0 <= earlier <= 10:
        raise UsageError(key, f"{count} pieces, {earlier} earlier refinishings.", "Give 1 to 100 pieces, 0 to 10 refinishings.")
    face = _one_of(row.get("face"), registry.FACES, f"{key}: face")
    core = _one_of(row.get("core"), registry.CORES, f"{key}: core")
    if face is not None and core is not None and (face, core) not in registry.SUBSTRATE_OF:
        raise UsageError(key, f"a face of {face} does not lie on {core}.", "Correct one of them.")
    return Wish(
        _one_of(row.get("goal"), GOALS, f"{key}: goal"), _one_of(row.get("role"), registry.ROLES, f"{key}: role"), size, count,
        row.get("wood"), face, core, face_mm, kind, earlier, _one_of(row.get("old_finish"), OLD_FINISHES, f"{key}: old_finish"),
        {f: bool(row[f]) for f in FLAGS if f in row}, _damage(row.get("damage", []), key),
    )


def _hours(value: Any) -> dict[int, float]:
    if isinstance(value, Mapping):
        for day in value:
            _one_of(day, WEEKDAYS, "hours")
        return {WEEKDAYS.index(day): float(h) for day, h in value.items()}
    return dict.fromkeys(range(7), float(value))


def _climate(found: Mapping[str, Any], name: str, celsius: float) -> Climate | None:
    row = found.get(name)
    if row is None:
        return None
    return Climate(float(row["humidity"]), float(row.get("celsius", celsius)))


def _json(text: str) -> dict[str, Any]:
    """The same as JSON: days are written as '2026-03-02', what is null is left out."""
    found = json.loads(text)
    if isinstance(found.get("start"), str):
        found["start"] = date.fromisoformat(found["start"])
    return {k: v for k, v in found.items() if v is not None and k != "schema"}


def parse(text: str, name: str) -> Request:
    """A request from the text of its file, TOML or JSON.

    Raises
    ------
    UsageError
        naming what is unknown, missing or of the wrong kind.
    """
    known = {"where", "units", "goal", "topcoat", "start", "hours", "first_hour", "made_before_1978", "stored", "home", "parts"}
    try:
        found = _json(text) if text.lstrip().startswith("{") else tomllib.loads(text)
        if unknown := set(found) - known:
            raise UsageError(name, f"has unknown entries: {', '.join(sorted(unknown))}.", MEND)
        start = found.get("start")
        if start is not None and type(start) is not date:
            raise UsageError(name, f"start is no day: {start!r}.", "Write it like: start = 2026-03-02")
        old = found.get("made_before_1978")
        if old is not None and not isinstance(old, bool):
            raise UsageError(name, "made_before_1978 is neither true nor false.", "Leave it out where it is not known.")
        stored, home = _climate(found, "stored", 15.0), _climate(found, "home", 21.0)
        if (stored is None) != (home is None):
            raise UsageError(name, "names one climate of two.", "Give both [stored] and [home], or none.")
        return Request(
            _one_of(found.get("where", "other"), ("us", "eu", "other"), "where"),
            _one_of(found.get("units", "metric"), ("metric", "us"), "units") == "us",
            _one_of(found.get("goal"), GOALS, "goal"), _one_of(found.get("topcoat", "water"), TOPCOATS, "topcoat"), start,
            _hours(found.get("hours", 3.0)), float(found.get("first_hour", 9)), old, stored, home,
            {str(k): _wish(str(k), row) for k, row in found.get("parts", {}).items()},
        )
    except (tomllib.TOMLDecodeError, json.JSONDecodeError) as err:
        raise UsageError(name, f"cannot be read: {err}.", MEND) from err
    except (KeyError, TypeError, ValueError, AttributeError) as err:
        raise UsageError(name, f"holds something of the wrong kind ({type(err).__name__}: {err}).", MEND) from err


def read(path: Path) -> Request:
    """A request from a file."""
    return parse(text_of(path, "Name a text file; docs/plan.toml shows one."), path.name)

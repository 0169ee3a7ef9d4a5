"""What the user believes about a deal, read from a small file; nothing of it is guessed by the program."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from service.files import text_of
from vision import registry
from vision.errors import UsageError

Three = tuple[float, float, float]
MEND = "Mend the file; docs/deal.toml shows one."


@dataclass(frozen=True)
class Outcome:
    """What the piece may turn out to be. `hours`, `materials`, `sale`: least, likeliest, most; `faces`: keys of registry.FACES
    that it stands for, so that a part's verdict can give its chance."""

    name: str
    chance: float
    hours: Three
    materials: Three
    sale: Three
    faces: tuple[str, ...] = ()


@dataclass(frozen=True)
class Check:
    """Something to look at before paying. `finds`: outcome -> chance that it turns up positive; `minutes`: what it takes."""

    name: str
    minutes: float
    finds: dict[str, float]


@dataclass(frozen=True)
class Deal:
    """All of it. Money in the user's currency; shares 0..1; `unsold_value`: what an unsold piece still brings;
    `holding`: what a day of keeping it costs; `days`: until it is sold, least, likeliest, most."""

    currency: str
    asked: float
    travel: float
    travel_hours: float
    rate: float
    fees: float
    delivery: float
    returns: float
    unsold: float
    unsold_value: float
    outcomes: tuple[Outcome, ...]
    checks: tuple[Check, ...]
    holding: float = 0.0
    days: Three = (0.0, 0.0, 0.0)

    def __post_init__(self) -> None:
        def need(ok: bool, subject: str, cause: str) -> None:
            if not ok:
                raise UsageError(subject, cause, MEND)

        for name in ("asked", "travel", "travel_hours", "rate", "delivery", "unsold_value", "holding"):
            need(math.isfinite(getattr(self, name)) and getattr(self, name) >= 0, name, "is below zero or no number.")
        for name in ("fees", "returns", "unsold"):
            need(0 <= getattr(self, name) <= 1, f"{name}_percent", "lies outside 0 to 100.")
        low, mode, high = self.days
        need(math.isfinite(high) and 0 <= low <= mode <= high, "days_held", "are not least, likeliest, most.")
        need(bool(self.outcomes), "outcomes", "none is given.")
        names = [o.name for o in self.outcomes]
        need(len(set(names)) == len(names), "outcomes", "two have the same name.")
        need(abs(sum(o.chance for o in self.outcomes) - 1) < 1e-6, "chances", "of the outcomes do not add up to 1.")
        faces = [f for o in self.outcomes for f in o.faces]
        need(set(faces) <= set(registry.FACES), "faces", "are among " + ", ".join(registry.FACES) + "; others are not known.")
        need(len(set(faces)) == len(faces), "faces", "stand under two outcomes.")
        for o in self.outcomes:
            need(0 <= o.chance <= 1, o.name, "has a chance outside 0 to 1.")
            for what in ("hours", "materials", "sale"):
                low, mode, high = getattr(o, what)
                need(math.isfinite(high) and 0 <= low <= mode <= high, o.name, f"{what} are not least, likeliest, most.")
        for c in self.checks:
            need(set(c.finds) == set(names), c.name, "does not say how often it turns up for each outcome.")
            need(all(0 <= v <= 1 for v in c.finds.values()) and c.minutes >= 0, c.name, "has a chance outside 0 to 1.")


def _three(value: Any, subject: str) -> Three:
    numbers = [value] * 3 if isinstance(value, int | float) else value
    if not isinstance(numbers, list) or len(numbers) not in (2, 3) or not all(isinstance(v, int | float) for v in numbers):
        raise UsageError(subject, f"{value!r} is not one number, nor least and most, nor least, likeliest and most.", MEND)
    low, high = float(numbers[0]), float(numbers[-1])
    return low, float(numbers[1]) if len(numbers) == 3 else (low + high) / 2, high


def _outcome(row: Mapping[str, Any]) -> Outcome:
    hours, materials, sale = (_three(row[k], f"{row['name']}: {k}") for k in ("hours", "materials", "sale"))
    return Outcome(row["name"], float(row["chance"]), hours, materials, sale, tuple(row.get("faces", ())))


def parse(text: str, name: str) -> Deal:
    """A deal from the text of its file.

    Raises
    ------
    UsageError
        naming what is missing or makes no sense.
    """
    try:
        found = tomllib.loads(text)
        outcomes = tuple(_outcome(o) for o in found.get("outcomes", []))
        checks = tuple(Check(c["name"], float(c.get("minutes", 0)), {k: float(v) for k, v in c["finds"].items()})
                       for c in found.get("checks", []))
        percent = {k: float(found.get(f"{k}_percent", 0)) / 100 for k in ("fees", "returns", "unsold")}
        money = {k: float(found.get(k, 0)) for k in ("travel", "travel_hours", "delivery", "unsold_value")}
        money["holding"] = float(found.get("holding_a_day", 0))
        days = _three(found.get("days_held", 0), "days_held")
        return Deal(str(found.get("currency", "")), float(found["asked"]), rate=float(found["rate"]), outcomes=outcomes,
                    checks=checks, days=days, **percent, **money)
    except tomllib.TOMLDecodeError as err:
        raise UsageError(name, f"cannot be read: {err}.", MEND) from err
    except KeyError as err:
        raise UsageError(name, f"lacks {err.args[0]!r}.", MEND) from err
    except (TypeError, ValueError, AttributeError) as err:
        raise UsageError(name, f"holds something that is no number where one belongs ({err}).", MEND) from err


def read(path: Path) -> Deal:
    """A deal from a file."""
    return parse(text_of(path, "Name a text file; docs/deal.toml shows one."), path.name)

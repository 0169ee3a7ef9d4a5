"""Quantities as people write them: '18 mm', '3/4 in', '2 ft 6 in', '5.9 kg', '13 lb 4 oz'; the units are pint's."""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import TYPE_CHECKING

from vision.errors import UsageError

if TYPE_CHECKING:
    import pint

#: Unit that a kind of quantity is worked in, and the one a bare number is taken in.
KINDS = {"length": "millimeter", "mass": "kilogram"}
SIGNS = {'"': " inch ", "”": " inch ", "″": " inch ", "'": " foot ", "’": " foot ", "′": " foot ", ",": "."}
_PART = re.compile(r"\s*(?:(\d+)\s*[-\s]\s*(\d+)/(\d+)|(\d+)/(\d+)|(\d+(?:\.\d+)?))\s*([a-zA-Z]*)")


@lru_cache(maxsize=1)
def registry() -> pint.UnitRegistry:
    """pint's units, loaded once."""
    import pint

    return pint.UnitRegistry(cache_folder=None)


def quantity(text: str, kind: str, what: str) -> float:
    """A length in mm or a mass in kg.

    Raises
    ------
    UsageError
        if the text is no quantity of that kind above zero.
    """
    import pint

    clear = text.strip()
    for sign, word in SIGNS.items():
        clear = clear.replace(sign, word)
    total, at = 0.0, 0
    example = "18 mm, 3/4 in or 2 ft 6 in" if kind == "length" else "5.9 kg or 13 lb 4 oz"
    try:
        while at < len(clear.rstrip()):
            part = _PART.match(clear, at)
            if part is None or part.end() == at:
                raise ValueError("no number")
            whole, above, below, top, bottom, plain, unit = part.groups()
            value = (float(whole) + int(above) / int(below) if whole else int(top) / int(bottom) if top else float(plain))
            total += float((value * registry().Unit(unit or KINDS[kind])).to(KINDS[kind]).magnitude)
            at = part.end()
    except (ValueError, ZeroDivisionError, AttributeError, pint.PintError) as err:
        raise UsageError(what, f"{text!r} is no {kind} that can be read.", f"Give it like {example}.") from err
    if not math.isfinite(total) or total <= 0:
        raise UsageError(what, f"{text!r} is not above zero.", f"Give it like {example}.")
    return total


def sizes(text: str, what: str) -> tuple[float, ...]:
    """Lengths in mm of 'L x W x T'; a unit at the end counts for the numbers before it that have none."""
    parts = [p.strip() for p in re.split(r"\s*[x×*]\s*", text.strip()) if p.strip()]
    unit = ""
    found = []
    for part in reversed(parts):
        named = re.search(r"[a-zA-Z\"”″'’′]+\s*$", part)
        unit = named.group().strip() if named else unit
        found.append(quantity(part if named else f"{part} {unit}", "length", what))
    return tuple(reversed(found))


def mass_words(kg: float, us: bool) -> str:
    """'5.9 kg' or '13.0 lb'."""
    return f"{(kg * registry().kilogram).to('pound').magnitude:.1f} lb" if us else f"{kg:.1f} kg"


def length_words(mm: float, us: bool) -> str:
    """'18 mm', '7.5 mm' or '0.71 in': to the millimetre or a tenth, to a hundredth of an inch."""
    if us:
        return f"{(mm * registry().millimeter).to('inch').magnitude:.2f}".rstrip("0").rstrip(".") + " in"
    return f"{mm:.0f} mm" if mm >= 100 or abs(mm - round(mm)) < 0.05 else f"{mm:.1f} mm"

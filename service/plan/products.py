"""Kinds of products as types, from service/rules/products.toml: coverage, waiting times, sizes of cans, hazards."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from service.plan.types import HAZARDS
from service.rulebook import BrokenRules, Rulebook, Source, rulebook
from service.units import registry as units

MEND = "Mend the file, or install the program again."
WAITS = ("touch", "recoat", "topcoat", "use", "cure", "stains")
SYSTEMS = ("metric", "us")
#: Source of figures that a row calls estimated.
ESTIMATE = "estimate"
#: Waits of which the first is never the longer one.
NEVER_LONGER = (("touch", "recoat"), ("touch", "topcoat"), ("use", "cure"))
#: A volume as on a can. Read this narrowly because the unit library works out any expression.
_VOLUME = re.compile(r"\s*(?:(\d{1,6}(?:[.,]\d{1,6})?)|(\d{1,3})/(\d{1,3}))\s*([A-Za-z]+(?: [A-Za-z]+)?)\s*")
_KNOWN = {"key", "words", "coverage", "by_wood", "hours", "cans", "each", "each_m2", "hazards", "estimated", "source"}


@dataclass(frozen=True)
class Product:
    """`coverage`: square metres that a litre covers with one coat, (least, most), None where it is not sold by volume; `by_wood`:
    the same by wood; `hours`: wait -> hours, keys of WAITS; `cans`: system -> litres of the cans sold, smallest first, with the
    words on them; `each`: the piece it is sold by, for `each_m2` square metres; `figures`: "coverage" or wait -> its source;
    `hazards`: keys of HAZARDS."""

    key: str
    words: str
    coverage: tuple[float, float] | None
    hours: Mapping[str, float]
    cans: Mapping[str, tuple[tuple[float, str], ...]]
    sources: tuple[Source, ...]
    by_wood: Mapping[str, float] = field(default_factory=dict)
    each: str = ""
    each_m2: float = 0.0
    figures: Mapping[str, Source] = field(default_factory=dict)
    hazards: tuple[str, ...] = ()

    @property
    def estimated(self) -> tuple[str, ...]:
        """Figures that no source states."""
        return tuple(name for name, source in self.figures.items() if source.status == "estimate")

    def wait(self, name: str) -> float:
        """Hours of a wait; where the row has none, the next longer one it has, else none."""
        order = WAITS[WAITS.index(name):]
        return next((self.hours[n] for n in order if n in self.hours), 0.0)

    def covers(self, wood: str | None) -> tuple[float, float]:
        """Square metres a litre, least and most, on a wood where the row says so."""
        assert self.coverage is not None
        for name, value in self.by_wood.items():
            if wood is not None and re.search(rf"\b{re.escape(name)}\b", wood.lower()):
                return value, value
        return self.coverage


def litres(text: str) -> float:
    """Of '1 qt', '0.75 L', '0,75 L', '1/2 pt' or '8 fl oz', as on a can.

    Raises
    ------
    ValueError or pint.PintError
        if it is no number with a unit of volume.
    """
    found = _VOLUME.fullmatch(text)
    if found is None:
        raise ValueError(f"{text!r} is no number and unit")
    plain, top, bottom, unit = found.groups()
    number = float(plain.replace(",", ".")) if plain else int(top) / int(bottom) if int(bottom) else 0.0
    unit = "fluid_ounce" if unit.lower() in ("fl oz", "floz") else unit
    return number * float(units().Quantity(1, unit).to("litre").magnitude)


def m2_a_litre(text: str) -> float:
    """Of '400 ft^2/gal'."""
    return float(units().Quantity(text).to("meter**2 / litre").magnitude)


def _positive(book: Rulebook, key: str, what: str, *values: float) -> None:
    if not all(math.isfinite(v) and v > 0 for v in values):
        raise BrokenRules(book.name, f"{key}: {what} is not above zero.", MEND)


def _hours(book: Rulebook, row: Mapping[str, Any]) -> dict[str, float]:
    key = row["key"]
    hours = {k: float(v) for k, v in row.get("hours", {}).items()}
    if unknown := set(hours) - set(WAITS):
        raise BrokenRules(book.name, f"{key} has unknown waits: {', '.join(sorted(unknown))}.", MEND)
    _positive(book, key, "a wait", *hours.values())
    for a, b in NEVER_LONGER:
        if a in hours and b in hours and hours[a] > hours[b]:
            raise BrokenRules(book.name, f"{key}: {a} takes longer than {b}.", MEND)
    return hours


def _figures(book: Rulebook, row: Mapping[str, Any], names: list[str]) -> dict[str, Source]:
    """Figure -> its source."""
    own = {k.removesuffix("_source"): v for k, v in row.items() if k.endswith("_source")}
    estimated = set(row.get("estimated", ()))
    if strange := (set(own) | estimated) - set(names):
        raise BrokenRules(book.name, f"{row['key']} speaks of figures it lacks: {', '.join(sorted(strange))}.", MEND)
    return {n: book.sources[ESTIMATE if n in estimated else own.get(n, row["source"])] for n in names}


def _product(book: Rulebook, row: Mapping[str, Any]) -> Product:
    key, hours = row["key"], _hours(book, row)
    if extra := {k for k in row if not k.endswith("_source")} - _KNOWN:
        raise BrokenRules(book.name, f"{key} has unknown entries: {', '.join(sorted(extra))}.", MEND)
    if unknown := set(row.get("hazards", ())) - set(HAZARDS):
        raise BrokenRules(book.name, f"{key} has unknown hazards: {', '.join(sorted(unknown))}.", MEND)
    coverage = None
    if "coverage" in row:
        low, high = (m2_a_litre(t) for t in row["coverage"])
        if not 0 < low <= high:
            raise BrokenRules(book.name, f"{key}: coverage is not least and most, above zero.", MEND)
        coverage = low, high
    cans = {s: tuple(sorted((litres(t), t) for t in sizes)) for s, sizes in row.get("cans", {}).items()}
    whole = set(cans) == set(SYSTEMS) and all(cans.values())
    if (coverage is None) == ("each" not in row) or (coverage is not None and not whole):
        raise BrokenRules(book.name, f"{key} is sold either by volume with cans in both systems, or by the piece.", MEND)
    by_wood = {w: m2_a_litre(t) for w, t in row.get("by_wood", {}).items()}
    _positive(book, key, "coverage on a wood", *by_wood.values())
    _positive(book, key, "a can", *(size for sizes in cans.values() for size, _ in sizes))
    each_m2 = float(row.get("each_m2", 0))
    if coverage is None:
        _positive(book, key, "what a piece serves", each_m2)
    figures = _figures(book, row, ["coverage", *hours])
    return Product(key, row["words"], coverage, hours, cans, tuple(dict.fromkeys(figures.values())), by_wood,
                   row.get("each", ""), each_m2, figures, tuple(row.get("hazards", ())))


@dataclass(frozen=True)
class Products:
    """All of the file. `waste`: share added, (least, most)."""

    kinds: Mapping[str, Product]
    waste: tuple[float, float]
    waste_source: Source


def read(book: Rulebook | None = None) -> Products:
    """The rules of a file, checked.

    Raises
    ------
    BrokenRules
        where something is missing, of the wrong kind, in a unit that is none, or a number that cannot be.
    """
    import pint

    book = rulebook("products") if book is None else book
    try:
        low, high = (float(v) for v in book.tables["waste"]["share"])
        if not 0 <= low <= high < 1:
            raise BrokenRules(book.name, "waste is not least and most, as shares.", MEND)
        found = [_product(book, r) for r in book.tables["products"]]
        if twice := sorted(k for k, g in itertools.groupby(sorted(p.key for p in found)) if len(list(g)) > 1):
            raise BrokenRules(book.name, f"lists twice: {', '.join(twice)}.", MEND)
        return Products({p.key: p for p in found}, (low, high), book.source(book.tables["waste"]))
    except (KeyError, TypeError, ValueError, AttributeError, pint.PintError) as err:
        raise BrokenRules(book.name, f"something is missing or of the wrong kind ({type(err).__name__}: {err}).", MEND) from err


@lru_cache(maxsize=1)
def products() -> Products:
    """The packaged rules."""
    return read()

"""Kinds of products as types, from service/rules/products.toml: coverage, waiting times, sizes of cans."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from service.rulebook import BrokenRules, Rulebook, Source, rulebook
from service.units import registry as units

MEND = "Mend the file, or install the program again."
WAITS = ("touch", "recoat", "topcoat", "use", "cure", "stains")
SYSTEMS = ("metric", "us")


@dataclass(frozen=True)
class Product:
    """`coverage`: square metres that a litre covers with one coat, (least, most), None where it is not sold by volume; `by_wood`:
    the same by wood; `hours`: wait -> hours, keys of WAITS; `cans`: system -> litres of the cans sold, smallest first, with the
    words on them; `each`: the piece it is sold by, for `each_m2` square metres."""

    key: str
    words: str
    coverage: tuple[float, float] | None
    hours: Mapping[str, float]
    cans: Mapping[str, tuple[tuple[float, str], ...]]
    sources: tuple[Source, ...]
    by_wood: Mapping[str, float] = field(default_factory=dict)
    each: str = ""
    each_m2: float = 0.0

    def wait(self, name: str) -> float:
        """Hours of a wait; where the row has none, the next longer one it has, else none."""
        order = WAITS[WAITS.index(name):]
        return next((self.hours[n] for n in order if n in self.hours), 0.0)

    def covers(self, wood: str | None) -> tuple[float, float]:
        """Square metres a litre, least and most, on a wood where the row says so."""
        assert self.coverage is not None
        for name, value in self.by_wood.items():
            if wood is not None and name in wood.lower():
                return value, value
        return self.coverage


def litres(text: str) -> float:
    """Of '1 qt' or '0.75 L'."""
    return float(units().Quantity(text).to("litre").magnitude)


def m2_a_litre(text: str) -> float:
    """Of '400 ft^2/gal'."""
    return float(units().Quantity(text).to("meter**2 / litre").magnitude)


def _product(book: Rulebook, row: Mapping[str, Any]) -> Product:
    key = row["key"]
    hours = {k: float(v) for k, v in row.get("hours", {}).items()}
    if unknown := set(hours) - set(WAITS):
        raise BrokenRules(book.name, f"{key} has unknown waits: {', '.join(sorted(unknown))}.", MEND)
    coverage = None
    if "coverage" in row:
        low, high = (m2_a_litre(t) for t in row["coverage"])
        if not 0 < low <= high:
            raise BrokenRules(book.name, f"{key}: coverage is not least and most, above zero.", MEND)
        coverage = low, high
    cans = {s: tuple(sorted((litres(t), t) for t in sizes)) for s, sizes in row.get("cans", {}).items()}
    if (coverage is None) == ("each" not in row) or (coverage is not None and set(cans) != set(SYSTEMS)):
        raise BrokenRules(book.name, f"{key} is sold either by volume with cans in both systems, or by the piece.", MEND)
    named = [row[k] for k in ("coverage_source", "source", "use_source") if k in row]
    by_wood = {w: m2_a_litre(t) for w, t in row.get("by_wood", {}).items()}
    return Product(key, row["words"], coverage, hours, cans, tuple(book.sources[n] for n in named), by_wood,
                   row.get("each", ""), float(row.get("each_m2", 0)))


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
        where something is missing, of the wrong kind, or in a unit that is none.
    """
    import pint

    book = rulebook("products") if book is None else book
    try:
        low, high = book.tables["waste"]["share"]
        return Products({r["key"]: _product(book, r) for r in book.tables["products"]}, (float(low), float(high)),
                        book.source(book.tables["waste"]))
    except (KeyError, TypeError, ValueError, AttributeError, pint.PintError) as err:
        raise BrokenRules(book.name, f"something is missing or of the wrong kind ({type(err).__name__}: {err}).", MEND) from err


@lru_cache(maxsize=1)
def products() -> Products:
    """The packaged rules."""
    return read()

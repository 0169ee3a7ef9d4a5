"""The user's own price list: what a can of each kind costs, and what is on the shelf. The program knows no prices."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pint

from service.files import text_of
from service.plan.products import Product, Products, litres, products
from vision.errors import UsageError

MEND = "Mend the file; docs/prices.toml shows one."
#: Litres of the smallest and the largest can taken.
LEAST_L, MOST_L = 0.005, 200.0


@dataclass(frozen=True)
class Prices:
    """`cans`: product -> (litres, price, words on the can), smallest first; `pieces`: product -> price of one piece; `on_hand`:
    product -> litres or pieces that are there already."""

    currency: str = ""
    cans: Mapping[str, tuple[tuple[float, float, str], ...]] = field(default_factory=dict)
    pieces: Mapping[str, float] = field(default_factory=dict)
    on_hand: Mapping[str, float] = field(default_factory=dict)


def _money(value: Any, what: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value) or value < 0:
        raise UsageError(what, f"{value!r} is no price.", MEND)
    return float(value)


def _volume(text: str, what: str) -> float:
    try:
        found = litres(text)
    except (pint.PintError, ValueError, AttributeError, TypeError) as err:
        raise UsageError(what, f"{text!r} is no volume.", "Write it like '0.75 L', '1 qt', '8 fl oz' or '1 gal'.") from err
    if not math.isfinite(found) or found <= 0:
        raise UsageError(what, f"{text!r} is not above zero.", "Write it like '0.75 L'.")
    if not LEAST_L <= found <= MOST_L:
        raise UsageError(what, f"{text!r} is no size of a can.", "Write it like '0.75 L'; 5 mL to 200 L are taken.")
    return found


def _known(product: str, name: str, kinds: Products) -> Product:
    if product not in kinds.kinds:
        raise UsageError(name, f"{product!r} is no kind of product.", "Kinds are: " + ", ".join(kinds.kinds) + ".")
    return kinds.kinds[product]


def parse(text: str, name: str, kinds: Products | None = None) -> Prices:
    """A price list from the text of its file.

    Raises
    ------
    UsageError
        naming what cannot be read.
    """
    kinds = kinds or products()
    try:
        found = tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        raise UsageError(name, f"cannot be read: {err}.", MEND) from err
    if unknown := set(found) - {"currency", "prices", "on_hand"}:
        raise UsageError(name, f"has unknown entries: {', '.join(sorted(unknown))}.", MEND)
    if not isinstance(found.get("currency", ""), str):
        raise UsageError(name, "currency is no word.", "Write it like currency = \"EUR\".")
    cans: dict[str, tuple[tuple[float, float, str], ...]] = {}
    pieces: dict[str, float] = {}
    on_hand: dict[str, float] = {}
    for table in ("prices", "on_hand"):
        if not isinstance(found.get(table, {}), dict):
            raise UsageError(name, f"{table} is no table of products.", MEND)
    for key, row in found.get("prices", {}).items():
        product = _known(key, name, kinds)
        if product.coverage is None:
            pieces[key] = _money(row, f"{name}: {key}")
        elif isinstance(row, dict) and row:
            where = f"{name}: {key}"
            cans[key] = tuple(sorted((_volume(size, where), _money(price, where), size) for size, price in row.items()))
        else:
            raise UsageError(f"{name}: {key}", "needs the sizes of its cans with their prices.", MEND)
    for key, row in found.get("on_hand", {}).items():
        product = _known(key, name, kinds)
        on_hand[key] = _money(row, f"{name}: {key}") if product.coverage is None else _volume(str(row), f"{name}: {key}")
    return Prices(found.get("currency", ""), cans, pieces, on_hand)


def read(path: Path) -> Prices:
    """A price list from a file."""
    return parse(text_of(path, "Name a text file; docs/prices.toml shows one."), path.name)

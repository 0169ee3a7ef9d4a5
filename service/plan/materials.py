"""What to buy: litres of each product over all panels, whole cans, and their cost from the user's price list.

Litres are area times coats over coverage, and a share for waste on top. Several panels share a can. What has no area is named,
never guessed; what has no price is named too.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from service.plan.prices import Prices
from service.plan.products import Product, Products, products
from service.plan.steps import area_of
from service.plan.types import Step, Subject

#: Without prices a can is taken to cost its litres to this power: large cans are dearer, but not by the litre.
LARGER_IS_CHEAPER = 0.8
#: Millilitres that count for nothing beside rounding.
TINY = 1e-6
#: Litres up to which every choice of cans is looked at.
MOST_TABLED_L = 50.0


@dataclass(frozen=True)
class Need:
    """One product. `low`, `high`: litres, or square metres to be served where it is sold by the piece; `cans`: (words on the can,
    how many); `left`: litres or square metres left over of what is bought after the high need; `cost`: None without a price;
    `on_hand`: litres or pieces there already; `parts`: who uses it; `no_area`: parts whose size is not known and which are not
    in the amounts."""

    product: Product
    low: float
    high: float
    cans: tuple[tuple[str, int], ...]
    left: float
    cost: float | None
    on_hand: float
    parts: tuple[str, ...]
    no_area: tuple[str, ...]


def amounts(product: Product, uses: Sequence[tuple[Step, Subject]], kinds: Products) -> tuple[float, float]:
    """(least, most) litres over all uses with a known area, waste included; square metres for what is sold by the piece."""
    low = high = 0.0
    for step, subject in uses:
        area = step.spot_m2 if step.spot_m2 is not None else area_of(subject, step.key == "edge_seal")
        if area is None:
            continue
        spread = area * max(1, step.coats)
        if product.coverage is None:
            low, high = low + spread, high + spread
        else:
            least, most = product.covers(subject.wood)
            low += spread / most * (1 + kinds.waste[0])
            high += spread / least * (1 + kinds.waste[1])
    return low, high


def cheapest(need: float, sizes: Sequence[tuple[float, float, str]]) -> tuple[tuple[str, int], ...]:
    """Cans of (litres, price, words) that hold `need` at the least price, fewer cans and less left over among equals.

    By dynamic programming over whole millilitres (the unbounded covering knapsack): the need rounded up and cans rounded down, so
    that they always hold it. Of a need beyond MOST_TABLED_L the first litres come in the size that is cheapest a litre.
    """
    if need <= 0:
        return ()
    counts = [0] * len(sizes)
    bulk = min(range(len(sizes)), key=lambda k: (sizes[k][1] / sizes[k][0], -sizes[k][0]))
    counts[bulk] = max(0, math.ceil((need - MOST_TABLED_L) / sizes[bulk][0]))
    whole = max(0, math.ceil((need - counts[bulk] * sizes[bulk][0]) * 1000 - TINY))
    # Money in whole millionths: sums of the same cans are then equal whatever their order.
    cans = [(max(1, math.floor(size * 1000 + TINY)), round(price * 1e6)) for size, price, _ in sizes]
    best = [(0, 0, 0, -1)]  # by millilitres still needed: (price, cans, millilitres bought, last can)
    for rest in range(1, whole + 1):
        best.append(min((best[max(0, rest - ml)][0] + price, best[max(0, rest - ml)][1] + 1, best[max(0, rest - ml)][2] + ml, k)
                        for k, (ml, price) in enumerate(cans)))
    while whole > 0:
        counts[best[whole][3]] += 1
        whole -= cans[best[whole][3]][0]
    return tuple((s[2], n) for s, n in zip(sizes, counts, strict=True) if n)


def _bought(product: Product, high: float, us: bool, prices: Prices) -> tuple[tuple[tuple[str, int], ...], float, float | None]:
    """(cans, left over, cost) for a need above what is on hand."""
    if product.coverage is None:
        number = math.ceil(high / product.each_m2 - 1e-9)
        price = prices.pieces.get(product.key)
        pieces = ((product.each.removeprefix("1 "), number),) if number else ()
        return pieces, number * product.each_m2 - high, None if price is None else price * number
    priced = prices.cans.get(product.key)
    sold = priced or [(size, size**LARGER_IS_CHEAPER, words) for size, words in product.cans["us" if us else "metric"]]
    cans = cheapest(high, sold)
    held = {words: size for size, _, words in sold}
    price_of = {words: price for _, price, words in sold}
    cost = None if priced is None else sum(price_of[w] * n for w, n in cans)
    return cans, sum(held[w] * n for w, n in cans) - high, cost


def needs(
    steps: Sequence[Step], subjects: Mapping[str, Subject], *, us: bool = False, prices: Prices | None = None,
    kinds: Products | None = None,
) -> tuple[Need, ...]:
    """Every product of these steps, in the order of its first use. `subjects`: id -> part."""
    kinds, prices = kinds or products(), prices or Prices()
    uses: dict[str, list[tuple[Step, Subject]]] = {}
    for step in steps:
        if step.product is not None:
            uses.setdefault(step.product, []).append((step, subjects[step.part]))
    out = []
    for key, rows in uses.items():
        product = kinds.kinds[key]
        low, high = amounts(product, rows, kinds)
        have = prices.on_hand.get(key, 0.0)
        there = have if product.coverage is not None else have * product.each_m2
        cans, left, cost = _bought(product, max(0.0, high - there), us, prices)
        out.append(Need(product, low, high, cans, left, cost, have, tuple(dict.fromkeys(s.part for s, _ in rows)),
                        tuple(dict.fromkeys(s.part for s, p in rows if p.area_m2 is None))))
    return tuple(out)


def total(found: Sequence[Need]) -> tuple[float, tuple[str, ...]]:
    """(cost of what has a price, words of what has none although it must be bought)."""
    return (sum(n.cost for n in found if n.cost is not None),
            tuple(n.product.words for n in found if n.cost is None and n.cans))

"""Litres, cans and cost: the trade's formula, cans that always hold, amounts that never shrink as work grows."""

import itertools
import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.plan.materials import cheapest, needs, total
from service.plan.prices import parse, read
from service.plan.products import litres, m2_a_litre
from service.plan.steps import steps_of
from tests.service.plan.parts import subject

EXAMPLE = Path(__file__).parents[3] / "docs/prices.toml"
PRICES = read(EXAMPLE)
TOP = subject("printed", cores=("particle_board",))
SIDE = subject("solid_wood", id="side", name="Side", role="side", length_mm=700.0, width_mm=400.0, count=2)


def need(key, *parts, goal="paint", prices=PRICES, us=False):
    steps = [s for p in parts for s in steps_of(p, goal)]
    return next(n for n in needs(steps, {p.id: p for p in parts}, us=us, prices=prices) if n.product.key == key)


def test_litres_are_area_times_coats_over_coverage_and_waste():
    """Trade pages: litres = area x coats / coverage, 10 to 15 % more for waste."""
    found = need("enamel", TOP)
    area, coats = 1.2 * 0.5, 2
    assert found.low == pytest.approx(area * coats / m2_a_litre("400 ft^2/gal") * 1.10)
    assert found.high == pytest.approx(area * coats / m2_a_litre("300 ft^2/gal") * 1.15)


def test_panels_share_a_can():
    alone, both = need("enamel", TOP), need("enamel", TOP, SIDE)
    assert both.high == pytest.approx(alone.high + need("enamel", SIDE).high)
    assert both.cans == alone.cans == (("0.75 L", 1),) and both.parts == ("top", "side")


def test_without_prices_there_are_cans_and_no_cost():
    found = need("enamel", TOP, prices=None)
    assert found.cost is None and found.cans == (("0.75 L", 1),)
    assert need("enamel", TOP, prices=None, us=True).cans == (("1 qt", 1),)


def test_what_is_on_hand_is_not_bought():
    prices = parse('[on_hand]\nenamel = "1 L"\n[prices]\nenamel = { "0.75 L" = 20 }', "p.toml")
    found = need("enamel", TOP, prices=prices)
    assert found.cans == () and found.cost == 0


def test_a_part_without_a_size_is_named_and_not_guessed():
    found = need("enamel", TOP, replace(SIDE, length_mm=None))
    assert found.no_area == ("side",) and found.high == pytest.approx(need("enamel", TOP).high)


def test_what_has_no_price_is_named():
    cost, missing = total(needs(steps_of(TOP, "paint"), {"top": TOP}, prices=parse("[prices]\nsoap = 2", "p.toml")))
    assert cost == 2 and "furniture enamel" in missing


def test_the_wood_sets_the_coverage_of_a_stain():
    pine = subject("solid_wood", wood="pine")
    assert need("wiping_stain", pine, goal="restain").high == pytest.approx(0.6 / m2_a_litre("125 ft^2/qt") * 1.15)


def brute(need, sizes):
    """(price, cans) of the best choice, by trying all."""
    counts = itertools.product(*(range(math.ceil(need / s[0]) + 1) for s in sizes))
    return min((round(sum(n * s[1] for n, s in zip(c, sizes, strict=True)), 6), sum(c)) for c in counts
               if sum(n * s[0] for n, s in zip(c, sizes, strict=True)) >= need - 1e-9)


CANS = st.tuples(st.sampled_from([0.25, 0.473, 0.75, 0.946, 2.5]), st.integers(0, 30))


@given(st.integers(10, 4000), st.lists(CANS, min_size=1, max_size=3))
@settings(max_examples=100, deadline=None)
def test_no_choice_of_cans_is_cheaper_or_as_cheap_with_fewer(millilitres, sizes):
    need = millilitres / 1000
    sold = [(size, float(price), f"{k}") for k, (size, price) in enumerate(sizes)]
    cans = dict(cheapest(need, sold))
    assert (round(sum(p * cans.get(w, 0) for _, p, w in sold), 6), sum(cans.values())) == brute(need, sold)


@pytest.mark.parametrize("price", [lambda size: 20 * size, lambda size: 0.0, lambda size: 5 + 18 * size])
def test_long_lists_of_sizes_are_no_trouble(price):
    """Trying all would take 10^13 choices here."""
    sold = [(size, price(size), f"{size}") for size in (0.125, 0.25, 0.375, 0.5, 0.75, 1, 2.5, 5)]
    cans = dict(cheapest(30.1, sold))
    assert 30.1 <= sum(size * cans.get(words, 0) for size, _, words in sold) <= 35.1


@given(st.floats(0.01, 12), st.lists(st.tuples(st.floats(0.2, 5), st.floats(0.5, 80)), min_size=1, max_size=3))
@settings(max_examples=80, deadline=None)
def test_cans_hold_the_need_and_no_single_size_is_cheaper(litres, sizes):
    sold = sorted((size, price, f"{k}") for k, (size, price) in enumerate(sizes))
    cans = dict(cheapest(litres, sold))
    held = sum(size * cans.get(words, 0) for size, _, words in sold)
    paid = sum(price * cans.get(words, 0) for _, price, words in sold)
    assert held >= litres - 1e-6
    for size, price, _ in sold:
        # Cans are counted in whole millilitres.
        assert paid <= price * math.ceil((litres + 0.001) / (size - 0.001)) + 1e-4


@given(st.floats(1.0, 4.0), st.sampled_from(["paint", "restain", "clear", "refresh", "gel_stain"]))
@settings(max_examples=60, deadline=None)
def test_amounts_and_cost_grow_with_the_area(times, goal):
    larger = replace(SIDE, length_mm=SIDE.length_mm * times)
    small, large = (needs(steps_of(p, goal), {"side": p}, prices=PRICES) for p in (SIDE, larger))
    for a, b in zip(small, large, strict=True):
        assert b.low >= a.low and b.high >= a.high and (a.cost is None or b.cost >= a.cost)


@given(st.integers(1, 6), st.floats(0.05, 3.0))
@settings(max_examples=60, deadline=None)
def test_amounts_and_cost_grow_with_the_coats(coats, length):
    part = replace(SIDE, length_mm=1000 * length)
    one, more = ([replace(s, coats=n) for s in steps_of(part, "paint") if s.product == "enamel"] for n in (coats, coats + 1))
    (a,), (b,) = (needs(steps, {"side": part}, prices=PRICES) for steps in (one, more))
    assert b.high / a.high == pytest.approx((coats + 1) / coats) and b.low > a.low and b.cost >= a.cost


@given(st.lists(st.floats(0.05, 3.0), min_size=1, max_size=4), st.booleans(), st.booleans())
@settings(max_examples=60, deadline=None)
def test_a_further_panel_never_lowers_anything_and_cans_always_hold(lengths, us, priced):
    parts = {f"p{k}": replace(SIDE, id=f"p{k}", length_mm=1000 * x) for k, x in enumerate(lengths)}
    steps = [s for p in parts.values() for s in steps_of(p, "restain")]
    prices = PRICES if priced else None
    fewer = needs([s for s in steps if s.part != f"p{len(parts) - 1}"], parts, us=us, prices=prices)
    found = {n.product.key: n for n in needs(steps, parts, us=us, prices=prices)}
    for n in fewer:
        assert found[n.product.key].high > n.high and (n.cost is None or found[n.product.key].cost >= n.cost)
    for n in found.values():
        held = n.high + n.left
        if n.product.coverage is not None:
            assert held + n.on_hand >= n.high - 1e-9
            assert held == pytest.approx(sum(litres(words) * k for words, k in n.cans) + (n.high if not n.cans else 0) + (
                min(n.on_hand, n.high) if n.cans else 0), abs=1e-6)
        assert n.left >= -1e-9


def test_a_hall_of_panels_takes_the_can_that_is_cheapest_a_litre():
    sold = [(1.0, 10.0, "1 L"), (5.0, 40.0, "5 L")]
    cans = dict(cheapest(100_000.5, sold))
    assert 100_000.5 <= cans["5 L"] * 5 + cans.get("1 L", 0) <= 100_002 and cans["5 L"] >= 19_999


@given(st.floats(0.01, 120), st.floats(0, 30), st.lists(st.tuples(st.floats(0.2, 5), st.floats(0.5, 80)), min_size=1, max_size=3))
@settings(max_examples=25, deadline=None)
def test_a_larger_need_is_never_cheaper(need, more, sizes):
    sold = [(size, price, f"{k}") for k, (size, price) in enumerate(sizes)]
    small, large = (sum(sold[int(w)][1] * n for w, n in cheapest(x, sold)) for x in (need, need + more))
    assert small <= large + 1e-4


def test_another_panel_never_makes_it_cheaper():
    one, two = total(needs(steps_of(TOP, "paint"), {"top": TOP}, prices=PRICES))[0], total(needs(
        [*steps_of(TOP, "paint"), *steps_of(SIDE, "paint")], {"top": TOP, "side": SIDE}, prices=PRICES))[0]
    assert two >= one > 0

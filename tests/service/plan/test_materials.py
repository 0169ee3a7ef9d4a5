"""Litres, cans and cost: the trade's formula, cans that always hold, amounts that never shrink as work grows."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.plan.materials import cheapest, needs, total
from service.plan.prices import parse, read
from service.plan.products import m2_a_litre, products
from service.plan.steps import steps_of
from tests.service.plan.parts import subject
from vision.errors import UsageError

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


@given(st.floats(0.01, 12), st.lists(st.tuples(st.floats(0.2, 5), st.floats(0.5, 80)), min_size=1, max_size=3))
@settings(max_examples=80, deadline=None)
def test_cans_hold_the_need_and_no_single_size_is_cheaper(litres, sizes):
    sold = sorted((size, price, f"{k}") for k, (size, price) in enumerate(sizes))
    cans = dict(cheapest(litres, sold))
    held = sum(size * cans.get(words, 0) for size, _, words in sold)
    paid = sum(price * cans.get(words, 0) for _, price, words in sold)
    assert held >= litres - 1e-6
    for size, price, _ in sold:
        number = -(-litres // size)
        if number <= 40:
            assert paid <= price * number + 1e-6


@given(st.floats(1.0, 4.0), st.sampled_from(["paint", "restain", "clear", "refresh", "gel_stain"]))
@settings(max_examples=60, deadline=None)
def test_amounts_and_cost_grow_with_the_area(times, goal):
    larger = replace(SIDE, length_mm=SIDE.length_mm * times)
    small, large = (needs(steps_of(p, goal), {"side": p}, prices=PRICES) for p in (SIDE, larger))
    for a, b in zip(small, large, strict=True):
        assert b.low >= a.low and b.high >= a.high and (a.cost is None or b.cost >= a.cost)


def test_another_panel_never_makes_it_cheaper():
    one, two = total(needs(steps_of(TOP, "paint"), {"top": TOP}, prices=PRICES))[0], total(needs(
        [*steps_of(TOP, "paint"), *steps_of(SIDE, "paint")], {"top": TOP, "side": SIDE}, prices=PRICES))[0]
    assert two >= one > 0


@pytest.mark.parametrize(("text", "says"), [
    ("[prices", "cannot be read"), ("[prices]\nlye = 3", "no kind of product"), ("[prices]\nenamel = 3", "needs the sizes"),
    ('[prices]\nenamel = { "big" = 3 }', "no volume"), ('[prices]\nenamel = { "1 L" = -3 }', "no price"),
    ("[prices]\nsoap = true", "no price"), ("prices = 3", "no table"), ("cost = 3", "unknown entries"),
    ('[on_hand]\nenamel = "0 L"', "not above zero"), ('[on_hand]\nenamel = 3', "no volume|not above zero"),
])
def test_a_price_list_that_cannot_be_is_refused_by_name(text, says):
    with pytest.raises(UsageError, match=says):
        parse(text, "p.toml")


def test_the_example_prices_every_kind_it_names_and_the_file_is_named_when_missing():
    assert set(PRICES.cans) | set(PRICES.pieces) <= set(products().kinds) and PRICES.currency == "EUR"
    with pytest.raises(UsageError, match="cannot be read"):
        read(EXAMPLE.with_name("none.toml"))

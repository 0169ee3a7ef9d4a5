"""Forms of money read, and read back; what the pages say of deals, carrying and the ledger."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.deal.inputs import parse
from service.web.toml_text import toml_of
from service.web.views import sale
from service.web.views.plan import prices_from, tick_key
from vision.errors import UsageError

FORM = {"currency": "EUR", "asked": "60", "rate": "18", "fees_percent": "8", "days_held": "7-21-60",
        "solid|sale": "300-480", "solid|hours": "4-5-8", "solid|materials": "15-40", "solid|chance": "40",
        "print|sale": "50,5-110", "print|hours": "3", "print|materials": "20-45", "print|chance": "60"}  # fmt: skip
whole = st.integers(0, 5000)


@given(st.lists(whole, min_size=1, max_size=3).map(sorted), st.sampled_from(["-", " - ", " to "]))
def test_ranges_are_read(numbers, between):
    low, likeliest, high = sale.three(between.join(map(str, numbers)), "hours")
    assert (low, high) == (numbers[0], numbers[-1]) and low <= likeliest <= high
    assert len(numbers) != 3 or likeliest == numbers[1]


@pytest.mark.parametrize("text", ["", "7-3", "1-2-3-4", "much", "3-", "nan-1"])
def test_what_is_no_range_is_refused(text):
    with pytest.raises(UsageError):
        sale.three(text, "hours")


def test_a_form_becomes_a_deal_that_the_command_takes():
    found = sale.deal_from(FORM)
    deal = parse(toml_of(found["deal"], "the deal"), "the deal")
    assert (deal.asked, deal.rate, deal.fees, deal.days) == (60, 18, 0.08, (7, 21, 60))
    assert [(o.name, o.chance, o.faces) for o in deal.outcomes] == [
        ("solid wood", 0.4, ("solid_wood",)), ("printed surface", 0.6, ("printed",))]  # fmt: skip
    assert deal.outcomes[0].hours == (4, 5, 8) and deal.outcomes[1].sale == (50.5, 80.25, 110)


def test_the_form_shows_what_was_written():
    back = sale.deal_fields(sale.deal_from(FORM))
    assert {k: back[k] for k in FORM} == {**FORM, "print|sale": "50.5-110"}


@pytest.mark.parametrize("change", [{"solid|chance": "90"}, {"solid|chance": "0", "print|chance": "0"}, {"asked": "cheap"},
                                    {"solid|sale": "", "print|sale": ""}])  # fmt: skip
def test_what_makes_no_deal_is_said(change):
    with pytest.raises(UsageError):
        sale.deal_from(FORM | change)


def test_prices_of_a_form_and_what_it_does_not_name():
    before = {"currency": "EUR", "prices": {"soap": 3.5, "enamel": {"1 L": 30}}, "on_hand": {"enamel": "0.2 L"}}
    new = prices_from({"price|enamel": "0.75 L = 28; 2.5 L=71", "hand|enamel": "", "currency": "EUR"}, before)
    assert new == {"currency": "EUR", "prices": {"soap": 3.5, "enamel": {"0.75 L": 28, "2.5 L": 71}}, "on_hand": {}}
    assert prices_from({"price|soap": ""}, before)["prices"] == {"enamel": {"1 L": 30}}
    for wrong in ({"price|enamel": "28"}, {"price|soap": "dear"}, {"price|enamel": "0.75 L = much"}):
        with pytest.raises(UsageError):
            prices_from(wrong, before)


def test_a_tick_holds_to_what_it_says():
    assert tick_key("top", "step", "a") == tick_key("top", "step", "a")
    assert len({tick_key(p, k, t) for p in ("top", "side") for k in ("if", "step") for t in ("a", "b")}) == 8

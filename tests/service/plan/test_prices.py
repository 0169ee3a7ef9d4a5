"""A price list of one's own: read as people write it, refused by name where it cannot be."""

from pathlib import Path

import pytest

from service.plan.prices import parse, read
from service.plan.products import products
from vision.errors import UsageError

EXAMPLE = Path(__file__).parents[3] / "docs/prices.toml"
PRICES = read(EXAMPLE)


def test_sizes_are_read_as_on_the_can():
    """1 US gallon = 231 cubic inches = 3.785411784 L; a quart is its quarter, a pint its eighth, a fluid ounce its 128th."""
    sizes = '"1 gal" = 48, "8 fl oz" = 9, "1/2 pt" = 9, "0,75 L" = 20, "1 qt" = 21.5'
    found = parse(f'currency = "USD"\n[prices]\nenamel = {{ {sizes} }}', "p.toml")
    gallon = 231 * 0.0254**3 * 1000
    assert found.currency == "USD"
    assert [size for size, _, _ in found.cans["enamel"]] == pytest.approx([gallon / 16, gallon / 16, 0.75, gallon / 4, gallon])
    assert {words: price for _, price, words in found.cans["enamel"]}["1 qt"] == 21.5


def test_an_empty_list_prices_nothing():
    found = parse("", "p.toml")
    assert not found.cans and not found.pieces and not found.on_hand and found.currency == ""


def test_every_refusal_names_file_cause_and_remedy():
    with pytest.raises(UsageError) as caught:
        parse('[prices]\nenamel = { "big" = 3 }', "mine.toml")
    said = str(caught.value)
    assert "mine.toml: enamel" in said and "'big' is no volume" in said and "0.75 L" in said


@pytest.mark.parametrize(("text", "says"), [
    ("[prices", "cannot be read"), ("[prices]\nlye = 3", "no kind of product"), ("[prices]\nenamel = 3", "needs the sizes"),
    ('[prices]\nenamel = { "big" = 3 }', "no volume"), ('[prices]\nenamel = { "1 L" = -3 }', "no price"),
    ("[prices]\nsoap = true", "no price"), ("prices = 3", "no table"), ("cost = 3", "unknown entries"),
    ('[on_hand]\nenamel = "0 L"', "not above zero"), ('[on_hand]\nenamel = 3', "no volume|not above zero"),
    ('[prices]\nenamel = { "2**40 L" = 3 }', "no volume"), ('[prices]\nenamel = { "3 m" = 3 }', "no volume"),
    ('[prices]\nenamel = { "1 uL" = 3 }', "no size of a can"), ("[prices]\nsoap = nan", "no price"), ("currency = 3", "no word"),
    ("[prices]\nenamel = {}", "needs the sizes"),
])
def test_a_price_list_that_cannot_be_is_refused_by_name(text, says):
    with pytest.raises(UsageError, match=says):
        parse(text, "p.toml")


def test_the_example_prices_every_kind_it_names_and_the_file_is_named_when_missing():
    assert set(PRICES.cans) | set(PRICES.pieces) <= set(products().kinds) and PRICES.currency == "EUR"
    with pytest.raises(UsageError, match="cannot be read"):
        read(EXAMPLE.with_name("none.toml"))

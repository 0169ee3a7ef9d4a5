"""Quantities as people write them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.units import length_words, mass_words, quantity, sizes
from vision.errors import UsageError


@pytest.mark.parametrize(("text", "mm"), [("18 mm", 18), ("18", 18), ("1.8cm", 18), ("1,8 cm", 18), ("3/4 in", 19.05),
                                          ('3/4"', 19.05), ("1 1/2 in", 38.1), ("2 ft 6 in", 762), ("2' 6\"", 762),
                                          ("0.5 m", 500)])
def test_lengths(text, mm):
    """One inch is 25.4 mm and a foot 12 inches, by definition."""
    assert quantity(text, "length", "size") == pytest.approx(mm)


@pytest.mark.parametrize(("text", "kg"), [("5.9 kg", 5.9), ("5.9", 5.9), ("13 lb 4 oz", 6.0101), ("900 g", 0.9)])
def test_masses(text, kg):
    """A pound is 0.45359237 kg and 16 ounces, by definition."""
    assert quantity(text, "mass", "mass") == pytest.approx(kg, abs=1e-4)


def test_sizes_share_a_unit():
    assert sizes("1000x500x18 mm", "size") == pytest.approx((1000, 500, 18))
    assert sizes("39 x 20 x 3/4 in", "size") == pytest.approx((990.6, 508, 19.05))
    assert sizes("1 m x 50 cm x 18 mm", "size") == pytest.approx((1000, 500, 18))


@pytest.mark.parametrize("text", ["", "wide", "5 kg", "-3 mm", "3/0 in", "5 parsnips", "0 mm", "1e400 mm"])
def test_what_is_no_length_is_refused_by_name(text):
    with pytest.raises(UsageError, match="width"):
        quantity(text, "length", "width")


@given(st.floats(0.2, 500))
def test_words_say_the_same_in_both_systems(kg):
    assert float(mass_words(kg, True).split()[0]) * 0.45359237 == pytest.approx(float(mass_words(kg, False).split()[0]), abs=0.08)
    assert length_words(25.4, True) == "1 in" and length_words(18, False) == "18 mm"
    assert (length_words(1000, False), length_words(7.52, False), length_words(5.9, True)) == ("1000 mm", "7.5 mm", "0.23 in")

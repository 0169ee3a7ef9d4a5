"""The strongest repeat speaks for a panel, one surface seen twice does not, and nothing found is all zeros."""

import numpy as np
import pytest

from vision.inference.located import SHARES
from vision.repeats.numbers import FEATURES, HYPOTHESIS_OF, numbers, strongest
from vision.repeats.repeat import HYPOTHESES, Repeat

SQUARE = ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0))


def repeat(a, b, same=False, **nats):
    told = {h: nats.get(h, -5.0) for h in HYPOTHESES}
    return Repeat(a, b, np.eye(3), "shift", SQUARE, SQUARE, 9, np.eye(2), 1.0, {}, told, same_surface=same)


def test_the_clearest_one_is_chosen_for_both_of_its_sheets():
    weak, strong = repeat(0, 1, exact_copy=1.0), repeat(1, 2, slip=4.0)
    assert strongest([weak, strong], 4) == [weak, strong, strong, None]


def test_one_surface_seen_twice_and_coincidence_are_no_repeat():
    assert strongest([repeat(0, 1, same=True, exact_copy=9.0), repeat(0, 1, coincidence=3.0)], 2) == [None, None]


def test_numbers_are_ratios_against_coincidence():
    found = numbers(repeat(0, 1, exact_copy=3.0, slip=1.0, coincidence=-1.0))
    assert found == pytest.approx(
        {"repeat_log_copy": 4.0, "repeat_log_slip": 2.0, "repeat_log_book": -4.0, "repeat_log_rotary": -4.0})
    assert set(numbers(None).values()) == {0.0}


def test_every_hypothesis_but_coincidence_has_a_feature_and_a_share():
    assert set(HYPOTHESIS_OF.values()) == set(HYPOTHESES) - {"coincidence"}
    assert [f.name for f in FEATURES] == list(HYPOTHESIS_OF)
    assert set(HYPOTHESIS_OF) == set(SHARES["figure_repeat"])

"""A layout as evidence: ratios of group means by hand, never below nothing."""

import math

import pytest

from vision.layouts import LAYOUTS, Layout
from vision.layouts.odds import FEATURES, MATCHED, PLAIN, odds, ratio


def layout(name="unclear", **shares):
    left = (1 - sum(shares.values())) / (len(LAYOUTS) - len(shares))
    return Layout(name, {n: shares.get(n, left) for n in LAYOUTS}, (), (), (), (), None, None, None, "", None)


def test_ratio_of_group_means_by_hand():
    assert ratio({"a": 0.3, "b": 0.1, "c": 0.05}, ("a", "b"), ("c",)) == pytest.approx(math.log(0.2 / 0.05))


def test_a_book_is_evidence_and_a_single_sheet_none():
    assert odds(layout("book", book=0.9))["layout_log_matched"] > 2
    assert set(odds(layout("single", single=0.9)).values()) == {0.0}
    assert odds(layout("boards", boards=0.8, single=0.1))["layout_log_boards"] == pytest.approx(math.log(8))


def test_without_grain_nothing_is_said():
    assert set(odds(layout("none", book=0.9)).values()) == {0.0}


def test_groups_name_known_layouts_and_do_not_meet():
    assert set(MATCHED) | set(PLAIN) <= set(LAYOUTS) and not set(MATCHED) & set(PLAIN)
    assert [f.name for f in FEATURES] == list(odds(layout()))


def test_no_ratio_counts_for_more_than_was_checked():
    found = odds(layout("book", book=0.9999))["layout_log_matched"]
    # none wrong of 45: the share p with (1 - p)^45 = 0.05
    assert found == pytest.approx(math.log(1 / (1 - 0.05 ** (1 / 45))), abs=0.01)


def test_a_name_that_measurements_speak_against_says_nothing():
    assert set(odds(layout("unclear", slip=0.9)).values()) == {0.0}
    assert odds(layout("unclear", slip=0.4, book=0.3))["layout_log_matched"] > 1

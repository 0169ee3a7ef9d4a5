"""Weights of evidence against worked examples."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.findings.weigh import question, weigh


def test_ten_to_one_is_ten_decibans():
    """Source: I. J. Good, Weighing Evidence: a likelihood ratio of 10 is 1 ban = 10 decibans, of 2 about 3."""
    w = weigh({"a": math.log(10.0), "b": 0.0}, ("a", "b"))
    assert (w.supports, w.against) == ("a", "b") and w.decibans == pytest.approx(10.0)
    assert weigh({"a": math.log(2.0), "b": 0.0}, ("a", "b")).decibans == pytest.approx(3.0103, abs=1e-4)


def test_evidence_against_the_leader_is_turned_round():
    w = weigh({"a": -1.0, "b": 0.5}, ("a", "b"))
    assert (w.supports, w.against) == ("b", "a") and w.decibans > 0


def test_question_is_the_two_likeliest_and_ties_do_not_depend_on_order():
    assert question({"x": 0.2, "y": 0.5, "z": 0.3}) == ("y", "z")
    assert question({"y": 0.5, "x": 0.5}) == question({"x": 0.5, "y": 0.5}) == ("x", "y")


@given(st.floats(-20, 20), st.floats(-20, 20), st.floats(-20, 20), st.floats(-20, 20))
def test_weights_add_up(a1, b1, a2, b2):
    """Two groups together weigh the sum of what they weigh apart, signs heeded."""
    def signed(a, b):
        w = weigh({"a": a, "b": b}, ("a", "b"))
        return w.decibans if w.supports == "a" else -w.decibans

    assert signed(a1 + a2, b1 + b2) == pytest.approx(signed(a1, b1) + signed(a2, b2), abs=1e-6)

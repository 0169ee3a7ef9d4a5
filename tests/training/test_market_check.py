"""The market check: distances from a known mix, on made-up panels whose truth is known."""

import numpy as np
import pytest

from tests.training.test_model_table import made_table
from training import market_check as check
from training.experts import log_softmax


def panels(sharp, n=600, seed=0):
    """Labels and probabilities exactly right under an even start."""
    rng = np.random.default_rng(seed)
    y = rng.integers(0, 6, n).astype(np.int8)
    x = rng.normal(0, 1, (n, 6))
    x[np.arange(n), y] += sharp
    return np.exp(log_softmax(sharp * x)), y


def test_distance_is_the_share_that_would_have_to_change():
    assert check.distance(np.array([0.5, 0.5, 0]), np.array([0.2, 0.5, 0.3])) == pytest.approx(0.3)


def test_a_right_classifier_gains_on_a_shifted_market_and_a_blind_one_does_not():
    start = np.full(6, 1 / 6)
    shift = np.array([0.2, 1, 6, 1, 1, 1])
    p, y = panels(2.0)
    estimated, plain, kept = check.misses(p, y, shift[y], start)
    assert estimated < 0.1 and estimated < 0.7 * plain and plain < kept
    blind, _ = panels(0.0)
    estimated, plain, kept = check.misses(blind, y, shift[y], start)
    assert estimated == pytest.approx(kept, abs=1e-6) and plain == pytest.approx(kept, abs=1e-6)


def test_the_printed_lines_name_every_market():
    table = made_table(480)
    p, y = panels(2.0, 480)
    p[np.arange(480), y], p[np.arange(480), table.face] = p[np.arange(480), table.face], p[np.arange(480), y]
    text = list(check.lines(table, p, np.full(6, 1 / 6), 10))
    assert len(text) == 1 + len(check.MARKETS) and "480 faces by 24 authors" in text[0]
    assert all(name in line for name, line in zip(check.MARKETS, text[1:], strict=True))

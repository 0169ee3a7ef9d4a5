"""The worth of single numbers, on tables whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from training.eye_cue_scores import QUESTIONS, _score, univariate
from training.tables import CUES, Table
from vision.inference.joint import FACES


def table(face):
    n = len(face)
    known = np.zeros(n, np.int8)
    names = np.array([f"a{k % 9}" for k in range(n)])
    values, looks = np.zeros((n, 1), np.float32), np.zeros((n, 3, 2), np.float16)
    each = np.arange(n).astype(str)
    return Table("s", np.array(["x"]), values, looks, np.array(face, np.int8), known, known, known, np.ones(n, np.float32),
                 np.ones(n, bool), np.zeros((n, len(CUES)), bool), names, each, each)


def test_a_number_that_tells_and_one_that_does_not():
    rng = np.random.default_rng(0)
    t = table(rng.integers(0, 2, 300))
    tells = (t.face == FACES.index("solid_wood")).astype(np.float32) + 0.1 * rng.normal(size=300).astype(np.float32)
    said = univariate(t, tells, np.ones(300), "solid/veneer")
    assert said.startswith("1.00 1.00-1.00")
    area = float(univariate(t, rng.normal(size=300).astype(np.float32), np.ones(300), "solid/veneer").split()[0])
    assert area == pytest.approx(0.5, abs=0.12)


def test_too_few_panels_tell_nothing_and_missing_ones_do_not_count():
    t = table([0, 1] * 20)
    column = np.full(40, np.nan, np.float32)
    column[:10] = 1.0
    assert univariate(t, column, np.ones(40), "solid/veneer") == "- (5/5)"


def test_scores_are_log_odds_of_the_two_sides():
    chances = np.array([[0.2, 0.3, 0.1, 0.2, 0.1, 0.1]])
    assert _score(np.log(chances), "print/wood")[0] == pytest.approx(np.log(0.1 / 0.5))
    assert _score(np.log(chances), "wood/rest")[0] == pytest.approx(np.log(0.5 / 0.4))
    assert {f for sides in QUESTIONS.values() for side in sides for f in side} == set(FACES)

"""Trees read from lists answer as the library that grew them does; damaged lists are refused."""

import numpy as np
import pytest
from sklearn.ensemble import HistGradientBoostingClassifier

from training.repeat_fit import nodes_of
from vision.repeats.trees import parse_trees, write_trees

STUMP = [(1, 0.5, 1, 2, 0.0), (-1, 0.0, 0, 0, -1.0), (-1, 0.0, 0, 0, 2.0)]


def test_a_stump_by_hand():
    trees = parse_trees(write_trees(0.25, [STUMP, STUMP]))
    assert trees.score(np.array([9.0, 0.5])) == pytest.approx(0.25 - 2)
    assert trees.score(np.array([9.0, 0.6])) == pytest.approx(0.25 + 4)


def test_no_trees_say_the_base():
    assert parse_trees(write_trees(0.7, [])).score(np.zeros(3)) == 0.7


def test_the_library_that_grew_them_agrees():
    rng = np.random.default_rng(0)
    x = rng.normal(size=(400, 5))
    y = (x[:, 0] * x[:, 1] + 0.5 * x[:, 2] + rng.normal(0, 0.3, 400)) > 0
    grown = HistGradientBoostingClassifier(max_depth=3, max_iter=40, random_state=0).fit(x, y)
    trees = parse_trees(nodes_of(grown))
    np.testing.assert_allclose([trees.score(v) for v in x[:100]], grown.decision_function(x[:100]), atol=2e-3)


@pytest.mark.parametrize("key, value", [("left", 0), ("right", 99), ("feature", 1.5), ("threshold", float("nan"))])
def test_damaged_lists_are_refused(key, value):
    raw = write_trees(0.0, [STUMP])
    raw[key][0] = value
    if key == "feature":
        raw["value"] = raw["value"][:-1]
    with pytest.raises(ValueError, match="tree"):
        parse_trees(raw)


def test_an_input_that_is_not_there():
    with pytest.raises(ValueError, match="input"):
        parse_trees(write_trees(0.0, [STUMP])).score(np.zeros(1))

"""Trials of nets: joined to the real table by what the shipped nets said, and compared by the same draws of authors."""

import numpy as np
import pytest

from training import net_trials
from training.model_table_figures import Draws
from training.tables import REAL, Table


@pytest.fixture(scope="module")
def table():
    return Table.load(REAL)


def test_kept_trials_belong_to_the_table(table):
    with np.load(net_trials.STORE) as d:
        assert np.array_equal(d["author"], table.author)
        assert set(net_trials.ABOUT) <= set(d.files)
        for name in net_trials.ABOUT:
            assert d[name].shape == (len(table), len(net_trials.columns(table))) and np.isfinite(d[name]).all()
        kept = d[net_trials.SHIPPED].astype(float)
        fold = d["fold"]
    assert np.abs(kept - table.values[:, net_trials.columns(table)]).max() < 0.02  # what the classifier was given
    for author in np.unique(table.author):  # no author is split
        assert len(set(fold[table.author == author].tolist())) == 1


def test_rows_are_found_again_and_strangers_refused(table):
    shipped = table.values[:, net_trials.columns(table)].astype(float)
    order = np.random.default_rng(0).permutation(len(table))
    assert np.abs(shipped[order][net_trials.rows_of(table, shipped[order])] - shipped).max() < 1e-6
    with pytest.raises(ValueError, match="not those"):
        net_trials.rows_of(table, shipped[order][:100])


def test_a_net_that_knows_is_better_and_one_that_guesses_is_at_chance(table):
    use = table.headline & (table.face >= 0) & (table.view == 0)
    draws = Draws.of(table.author, table.specimen, 50)
    said = np.zeros((len(table), len(net_trials.columns(table))))
    guess = net_trials.alone(table, said, use, draws)
    assert guess["log loss"][0] == pytest.approx(np.log(6)) and guess["solid/veneer"][0] == pytest.approx(0.5)
    said[np.arange(len(table)), np.maximum(table.face, 0)] = 3.0
    knows = net_trials.alone(table, said, use, draws)
    assert knows["log loss"].max() < 0.3 and knows["balanced"][0] == 1.0 and knows["wood/print"][0] == 1.0

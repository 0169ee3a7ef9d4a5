"""Rates and areas against scikit-learn, SciPy and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binomtest
from sklearn.metrics import roc_auc_score

from training.composites.statistics import auc, group_bootstrap, mean_of, ratio_cost, threshold_at, wilson


def test_auc_is_that_of_scikit_learn() -> None:
    rng = np.random.default_rng(0)
    p, n = np.round(rng.normal(1, 1, 80), 1), np.round(rng.normal(0, 1, 120), 1)
    assert auc(p, n) == pytest.approx(roc_auc_score(np.r_[np.ones(80), np.zeros(120)], np.r_[p, n]))
    assert np.isnan(auc(p, np.array([])))


@pytest.mark.parametrize(("hits", "n"), [(0, 300), (3, 306), (40, 50), (7, 7)])
def test_wilson_is_that_of_scipy(hits: int, n: int) -> None:
    interval = binomtest(hits, n).proportion_ci(method="wilson")
    assert wilson(hits, n) == pytest.approx((interval.low, interval.high), abs=1e-6)


def test_threshold_lets_through_no_more_than_the_rate() -> None:
    scores = np.random.default_rng(1).normal(0, 1, 300)
    for rate in (0.01, 0.1):
        t = threshold_at(scores, rate)
        assert (scores > t).mean() <= rate < (scores >= t).mean() + 1e-9
    assert threshold_at(np.arange(50.0), 0.01) == 49


def test_groups_widen_the_interval() -> None:
    values = np.repeat(np.random.default_rng(2).integers(0, 2, 20), 25).astype(float)
    alone = group_bootstrap([str(k) for k in range(500)], mean_of(values), times=300)
    together = group_bootstrap([str(k // 25) for k in range(500)], mean_of(values), times=300)
    assert together[1] - together[0] > 2.5 * (alone[1] - alone[0])


def test_cost_of_likelihood_ratios() -> None:
    # closed form: for two unit normals at +-d/2 the log likelihood ratio of x is d x
    rng = np.random.default_rng(3)
    d = 2.0
    p, n = d * rng.normal(d / 2, 1, 4000), d * rng.normal(-d / 2, 1, 4000)
    cost, least = ratio_cost(p, n)
    assert cost == pytest.approx(least, abs=0.02)
    assert ratio_cost(np.zeros(10), np.zeros(10))[0] == pytest.approx(1.0)
    overconfident, same = ratio_cost(4 * p, 4 * n)
    assert overconfident > cost + 0.1
    assert same == pytest.approx(least, abs=1e-6)

"""Experts and their weights, against scikit-learn and closed forms."""

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression

from training.experts import Preparation, balanced, fit_expert, fit_logistic, log_softmax, mixed_weight
from training.stacking import author_folds, centred, fit_weights


def blobs(n=300, k=5, classes=3, seed=0):
    rng = np.random.default_rng(seed)
    y = rng.integers(0, classes, n).astype(np.int8)
    centres = rng.normal(0, 1.2, (classes, k))
    return (centres[y] + rng.normal(0, 1, (n, k))).astype(np.float32), y


def test_logistic_regression_agrees_with_scikit_learn():
    x, y = blobs()
    w = np.random.default_rng(1).uniform(0.2, 1, len(y))
    w /= w.sum()
    penalty = 0.05
    coef, bias = fit_logistic(x.astype(float), y, w, 3, penalty)
    # scikit-learn minimises C * sum(w * loss) + 1/2 |coef|^2 and does not penalise the intercept.
    other = LogisticRegression(C=1 / penalty, tol=1e-10, max_iter=5000).fit(x, y, sample_weight=w)
    ours = np.exp(log_softmax(x @ coef + bias))
    assert np.abs(ours - other.predict_proba(x)).max() < 2e-3


def test_a_class_that_never_occurs_gets_a_finite_small_probability():
    x, y = blobs(classes=2)
    e = fit_expert(x, y, np.full(len(y), 1 / len(y)), 3, penalty=0.1, prepare=True)
    p = np.exp(e.log_probs(x))
    assert np.isfinite(p).all() and p[:, 2].max() < 0.05


def test_start_changes_nothing_but_time():
    x, y = blobs()
    w = np.full(len(y), 1 / len(y))
    a = fit_expert(x, y, w, 3, penalty=0.1, prepare=True)
    b = fit_expert(x, y, w, 3, penalty=0.1, prepare=True, near=fit_expert(x[:100], y[:100], w[:100], 3, penalty=1, prepare=True))
    assert np.abs(np.exp(a.log_probs(x)) - np.exp(b.log_probs(x))).max() < 1e-4


def test_missing_numbers_sit_at_the_median_and_are_marked():
    x = np.arange(20, dtype=np.float32).reshape(10, 2)
    x[3, 0] = np.nan
    p = Preparation.fit(x, np.ones(10))
    design = p(x)
    assert p.marked.tolist() == [0] and design.shape == (10, 5)
    assert design[3, 0] == 0 and design[:, 4].tolist() == [0, 0, 0, 1] + [0] * 6
    assert np.abs(design[:, :2]).max() <= 4


def test_a_feature_never_measured_is_harmless():
    x, y = blobs()
    x = np.hstack([x, np.full((len(x), 1), np.nan, np.float32)])
    assert np.isfinite(fit_expert(x, y, np.full(len(y), 1 / len(y)), 3, penalty=0.1, prepare=True).log_probs(x)).all()


def test_classes_and_tables_get_their_shares():
    y = np.array([0, 0, 0, 1, 2, 2], dtype=np.int8)
    w = balanced(y, np.array([1, 1, 2, 5.0, 1, 0]), 3)
    assert [w[y == c].sum() for c in range(3)] == pytest.approx([1 / 3] * 3)
    both = mixed_weight([y, y], [np.ones(6), np.ones(6)], [1.0, 0.25], 3)
    assert both[:6].sum() == pytest.approx(1) and both[6:].sum() == pytest.approx(0.25)


def test_folds_split_no_author():
    rng = np.random.default_rng(0)
    author = np.array([f"a{i}" for i in rng.integers(0, 20, 200)])
    masks = list(author_folds(author, rng.integers(0, 3, 200).astype(np.int8), 5, 1))
    assert np.sum(masks, axis=0).tolist() == [1] * 200
    for m in masks:
        assert not set(author[m]) & set(author[~m])


def test_weights_find_the_informative_expert_and_ignore_noise():
    rng = np.random.default_rng(2)
    y = rng.integers(0, 3, 600).astype(np.int8)
    good = log_softmax(2.0 * np.eye(3)[y] + rng.normal(0, 1.0, (600, 3)))
    noise = log_softmax(rng.normal(0, 1.0, (600, 3)))
    w = fit_weights(np.stack([good, noise], 1), y, np.ones(600), np.zeros((600, 3)), strength=1e-3, start=0.0)
    assert w[0] > 0.5 and 0 <= w[1] < 0.15


def test_true_posteriors_get_weight_one():
    """Experts that report the true class probabilities under an even prior need no rescaling."""
    rng = np.random.default_rng(3)
    x = rng.normal(0, 1, (6000, 1)) + np.array([[-1.0]])
    y = np.zeros(6000, np.int8)
    y[3000:] = 1
    x[3000:] += 2.0
    truth = log_softmax(np.hstack([-x, x]))  # log ratio of N(1, 1) to N(-1, 1) is 2 x
    w = fit_weights(truth[:, None], y, np.ones(6000), np.zeros((6000, 2)), strength=0.0, start=0.0)
    assert w[0] == pytest.approx(1, abs=0.06)


def test_centred_terms_sum_to_zero():
    lp = log_softmax(np.random.default_rng(0).normal(size=(4, 2, 3)))
    assert np.allclose(centred(lp).sum(axis=-1), 0)

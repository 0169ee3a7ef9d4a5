"""Temperature, tables, decision limits and conformal sets, against closed forms, simulation and MAPIE."""

import numpy as np
import pytest

from training import calibration, conformal
from training.experts import log_softmax
from training.figures import auc
from vision.inference import joint


def simulate(n, seed, temperature=1.0):
    """Evidence whose true temperature is known: labels drawn from softmax(evidence / temperature)."""
    rng = np.random.default_rng(seed)
    e = rng.normal(0, 2, (n, 4))
    p = np.exp(log_softmax(e / temperature))
    y = (rng.random((n, 1)) > np.cumsum(p, axis=1)).sum(axis=1).astype(np.int8)
    return e, p, np.minimum(y, 3)


def test_temperature_is_recovered():
    e, _, y = simulate(8000, 0, 1.7)
    assert calibration.temperature(e, y, np.ones(8000), np.zeros((8000, 4))) == pytest.approx(1.7, rel=0.06)


@pytest.mark.parametrize("level", [0.8, 0.9])
def test_quantile_is_the_split_conformal_one(level):
    rng = np.random.default_rng(1)
    for n in (9, 19, 50):
        s = rng.random(n)
        at = int(np.ceil((n + 1) * level))
        expected = np.sort(s)[at - 1] if at <= n else np.inf
        assert conformal.quantile(s, np.full(n, 0.7), level) == expected


def test_too_few_rows_promise_nothing_and_exclude_nothing():
    p = np.full((3, 2), 0.5)
    assert conformal.thresholds(p, np.array([0, 0, 0], np.int8), np.ones(3), ("a", "b"), 0.9) == {"a": 0.0, "b": 0.0}


def test_sets_cover_each_class_as_promised():
    """Simulated truth: over many draws of calibration and test rows, every class is covered at the level."""
    hits = np.zeros((40, 4))
    for i in range(40):
        _, p, y = simulate(1200, 100 + i)
        limits = conformal.thresholds(p[:400], y[:400], np.ones(400), tuple("abcd"), 0.9)
        kept = conformal.in_sets(p[400:], [limits[c] for c in "abcd"])
        hits[i] = [kept[y[400:] == c, c].mean() for c in range(4)]
    # Mean coverage lies between level and level + 1 / (n + 1), n about 100 rows a class; 3 standard errors of slack.
    error = hits.std(axis=0).max() / np.sqrt(40)
    assert (hits.mean(axis=0) > 0.9 - 3 * error).all() and (hits.mean(axis=0) < 0.9 + 0.012 + 3 * error).all()


def test_sets_agree_with_mapie():
    """One threshold for all classes is the LAC score of MAPIE's split conformal classifier."""
    from mapie.classification import SplitConformalClassifier
    from sklearn.linear_model import LogisticRegression

    rng = np.random.default_rng(5)
    y = rng.integers(0, 3, 900)
    x = rng.normal(0, 1, (900, 2)) + 1.2 * np.array([[0, 0], [1, 0], [0, 1]])[y]
    fitted = LogisticRegression().fit(x[:300], y[:300])
    other = SplitConformalClassifier(fitted, confidence_level=0.9, conformity_score="lac", prefit=True)
    other.conformalize(x[300:600], y[300:600])
    theirs = other.predict_set(x[600:])[1][:, :, 0]
    p = fitted.predict_proba(x)
    limits = conformal.thresholds(p[300:600], y[300:600].astype(np.int8), np.ones(300), tuple("abc"), 0.9, pooled=np.inf)
    ours = conformal.in_sets(p[600:], [limits[c] for c in "abc"])
    agree = (ours == theirs).all(axis=1)
    empty = ~theirs.any(axis=1)  # ours always keep the likeliest class
    assert (agree | empty).mean() > 0.995


def test_pooling_moves_a_threshold_towards_the_common_one():
    _, p, y = simulate(500, 7)
    names = tuple("abcd")
    w = np.where(y == 0, (np.arange(500) % 10 == 0), 1.0)
    alone, some, all_one = (conformal.thresholds(p, y, w, names, 0.9, pooled=m) for m in (0.0, 30.0, np.inf))
    low, high = sorted((alone["a"], all_one["a"]))
    assert low <= some["a"] <= high and len(set(all_one.values())) == 1


def test_decision_limit_reaches_its_target_where_it_can():
    _, p, y = simulate(4000, 3)
    top, right = p.max(axis=1), p.argmax(axis=1) == y
    limit, accuracy, _ = calibration.least_probability(top, right, np.ones(4000), target=0.85)
    assert accuracy >= 0.85 and right[top >= limit].mean() == pytest.approx(accuracy)
    assert right[top >= limit - 0.05].mean() < 0.86
    never = calibration.least_probability(top[:5], right[:5], np.ones(5), target=0.85)
    assert never[0] > 1


def test_table_of_cores_counts_and_smooths():
    face = np.array([1, 1, 1, 5, 0, -1], np.int8)
    core = np.array([1, 1, 2, 3, 0, 2], np.int8)
    t = calibration.core_table(face, core, np.ones(6))
    s = calibration.CORE_SMOOTHING
    assert t[1].tolist() == pytest.approx([s / (3 + 4 * s), (2 + s) / (3 + 4 * s), (1 + s) / (3 + 4 * s), s / (3 + 4 * s)])
    assert t[0].tolist() == [1, 0, 0, 0] and t[5].tolist() == [0.25] * 4
    joint.log_table(t)


def test_reliability_bins_compare_promise_and_truth():
    rng = np.random.default_rng(0)
    p = rng.random(5000)
    rows = calibration.reliability(p, rng.random(5000) < p, np.ones(5000), np.linspace(0, 1, 6).tolist())
    assert len(rows) == 5 and all(abs(r[2] - r[3]) < 0.05 for r in rows)


def test_auc_counts_pairs():
    rng = np.random.default_rng(1)
    s, y, w = rng.integers(0, 6, 60).astype(float), rng.random(60) < 0.4, rng.random(60)
    pairs = [(w[i] * w[j], (s[i] > s[j]) + 0.5 * (s[i] == s[j])) for i in range(60) for j in range(60) if y[i] and not y[j]]
    assert auc(s, y, w) == pytest.approx(sum(a * b for a, b in pairs) / sum(a for a, _ in pairs))

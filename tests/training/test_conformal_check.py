"""Prediction sets: coverage in simulation with known truth, few specimens, agreement with MAPIE, lines of the report."""

from dataclasses import dataclass

import numpy as np
import pytest

from training import conformal
from training import conformal_check as check


@pytest.mark.parametrize(("per_class", "pooled"), [(100, 0.0), (20, 0.0)])
def test_every_class_is_covered_nine_times_in_ten(per_class, pooled):
    t = check.simulate(per_class, 0, pooled, 60)
    assert abs(t.overall - 0.9) < 0.02
    assert (np.abs(t.coverage - 0.9) < 0.03).all()  # 2 % and the error of 60 rounds


def test_as_shipped_the_mix_is_covered_and_rare_classes_nearly():
    shipped, one = (check.simulate(None, 320, pooled, 40) for pooled in (30.0, np.inf))
    assert abs(shipped.overall - 0.9) < 0.02 and shipped.coverage.min() > 0.84
    # One threshold for all keeps the promise on average only, by giving up on rare classes.
    assert abs(one.overall - 0.9) < 0.02 and one.coverage.min() < shipped.coverage.min() - 0.02


def test_few_specimens_give_near_full_sets_and_never_too_small_ones():
    two, eight, hundred = (check.simulate(n, 0, 0.0, 40) for n in (2, 8, 100))
    assert two.full > 0.8 and two.size > 5.5 and two.coverage.min() > 0.97
    assert two.size > eight.size > hundred.size and eight.coverage.min() > 0.87


def test_a_threshold_learnt_on_other_panels_breaks_the_promise():
    """The check can fail: sets that were calibrated where the classifier is better cover too little."""
    rng = np.random.default_rng(0)
    labels = np.repeat(np.arange(6), 60).astype(np.int8)
    known, new = check.make(labels, rng), check.make(labels, rng)
    names = list("abcdef")
    limits = conformal.thresholds(known.face**2 / (known.face**2).sum(1, keepdims=True), known.label, known.weight, names, 0.9)
    held = conformal.in_sets(new.face, [max(v, 0.2) for v in limits.values()])[np.arange(len(new.label)), new.label]
    assert np.average(held, weights=new.weight) < 0.86


@pytest.mark.parametrize("by_class", [False, True])
@pytest.mark.parametrize("seed", range(3))
def test_sets_are_those_of_mapie(by_class, seed):
    rng = np.random.default_rng(seed)
    known, new = (check.make(rng.integers(0, 6, n).astype(np.int8), rng) for n in (120, 150))
    assert check.agreement(known.face, known.label, new.face, 0.9, by_class) > 0.995


def test_agreement_sees_a_difference():
    rng = np.random.default_rng(4)
    made = check.make(rng.integers(0, 6, 200).astype(np.int8), rng)
    theirs = check.mapie_sets(made.face, made.label, made.face, 0.9)
    other = check.mapie_sets(made.face, made.label, made.face, 0.6)
    assert (theirs == other).all(axis=1).mean() < 0.8 and theirs.sum() > other.sum()


@dataclass
class Rows:
    """As much of a table as counting needs."""

    author: np.ndarray
    specimen: np.ndarray


def test_coverage_counts_specimens_not_panels():
    """Two authors; one specimen of nine panels that are all missed counts as one of four."""
    specimen = np.array(["a"] * 9 + ["b", "c", "d"])
    author = np.array(["x"] * 10 + ["y"] * 2)
    labels = np.zeros(12, np.int8)
    sets = np.zeros((12, 2), bool)
    sets[9:, 0], sets[:9, 1] = True, True
    found = list(check.coverage_rows(Rows(author, specimen), np.ones(12, bool), labels, sets, ("one", "two"), 50))
    assert len(found) == 2 and found[0].split()[:6] == ["all", "4", "specimens", "in", "set", "0.750"]
    assert found[0].split()[1:] == found[1].split()[1:]  # the other class has no panel and no line
    assert "exact [0.19, 0.99]" in found[0]


def test_thresholds_of_one_half_cover_the_other():
    rng = np.random.default_rng(2)
    made = check.make(rng.choice(6, 1500, p=check.MIX).astype(np.int8), rng)
    table = Rows(made.specimen, made.specimen)
    use = np.ones(len(made.label), bool)
    new, sets = check.from_other_half(table, use, made.label, made.face, tuple("abcdef"), 0.9)
    assert not set(made.specimen[new]) & set(made.specimen[~new]) and 0.4 < new.mean() < 0.6
    assert abs(sets[np.arange(len(sets)), made.label][new].mean() - 0.9) < 0.03
    shift = check.from_other_half(table, use, made.label, np.where(new[:, None], 1 / 6, made.face), tuple("abcdef"), 0.9)[1]
    assert shift[new].sum(axis=1).mean() != pytest.approx(sets[new].sum(axis=1).mean(), abs=0.1)

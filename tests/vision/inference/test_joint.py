"""Face and core judged together: against plain enumeration, and shares that add up."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision import registry
from vision.inference import joint


def random_case(seed):
    rng = np.random.default_rng(seed)
    table = np.where(joint.POSSIBLE, rng.gamma(1.0, 1.0, (6, 4)) + 0.01, 0)
    table /= table.sum(axis=1, keepdims=True)
    prior = rng.dirichlet(np.full(6, 2.0))
    return prior, table, rng.normal(0, 1.5, (5, 6)), rng.normal(0, 1.5, (5, 4))


@pytest.mark.parametrize("seed", range(5))
def test_margins_and_substrates_equal_enumeration(seed):
    prior, table, face_terms, core_terms = random_case(seed)
    f, c = face_terms.sum(axis=0), core_terms.sum(axis=0)
    weights = joint.joint_log(np.log(prior), joint.log_table(table), f, c)
    expected = {(i, j): prior[i] * np.exp(f[i]) * table[i, j] * np.exp(c[j]) for i in range(6) for j in range(4)}
    total = sum(expected.values())
    face, core = joint.margins(weights)
    assert np.allclose(face, [sum(expected[i, j] for j in range(4)) / total for i in range(6)], atol=1e-12)
    assert np.allclose(core, [sum(expected[i, j] for i in range(6)) / total for j in range(4)], atol=1e-12)
    found = dict(zip(joint.SUBSTRATES, joint.substrates(weights), strict=True))
    for name in registry.SUBSTRATES:
        pairs = [k for k, v in registry.SUBSTRATE_OF.items() if v == name]
        mass = sum(expected[joint.FACES.index(a), joint.CORES.index(b)] for a, b in pairs) / total
        assert found[name] == pytest.approx(mass, abs=1e-12)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_shares_add_up_to_the_log_posterior(seed):
    prior, table, face_terms, core_terms = random_case(seed)
    lt = joint.log_table(table)
    face_shares, core_shares = joint.shares(np.log(prior), lt, face_terms, core_terms)
    weights = joint.joint_log(np.log(prior), lt, face_terms.sum(axis=0), core_terms.sum(axis=0))
    start = joint.joint_log(np.log(prior), lt, np.zeros(6), np.zeros(4))
    face, core = joint.margins(weights)
    assert np.allclose(joint.normalise(joint.log_sum(start, -1) + face_shares.sum(axis=0)), face, atol=1e-12)
    assert np.allclose(joint.normalise(joint.log_sum(start, -2) + core_shares.sum(axis=0)), core, atol=1e-12)


def test_the_path_integral_is_exact_before_the_rest_is_shared_out():
    prior, table, face_terms, core_terms = random_case(3)
    lt = joint.log_table(table)
    nodes, w = np.polynomial.legendre.leggauss(200)
    f, c = face_terms.sum(0), core_terms.sum(0)
    path = [joint.normalise(joint.joint_log(np.log(prior), lt, t * f, t * c)) for t in (nodes + 1) / 2]
    given_face = np.tensordot(w / 2, np.array(path), axes=1)
    face_shares, _ = joint.shares(np.log(prior), lt, face_terms, core_terms)
    assert np.allclose(face_shares, face_terms + core_terms @ given_face.T, atol=1e-6)


def test_without_core_evidence_face_shares_are_the_face_terms():
    prior, table, face_terms, _ = random_case(1)
    face_shares, _ = joint.shares(np.log(prior), joint.log_table(table), face_terms, np.zeros((5, 4)))
    assert np.allclose(face_shares, face_terms, atol=1e-9)


def test_solid_wood_never_lies_on_another_core():
    prior, table, face_terms, core_terms = random_case(2)
    weights = joint.joint_log(np.log(prior), joint.log_table(table), face_terms[0], 20 * core_terms[0])
    flat = joint.normalise(weights.reshape(-1)).reshape(6, 4)
    assert flat[~joint.POSSIBLE].max() == 0.0


def test_a_table_that_allows_the_impossible_is_refused():
    bad = np.full((6, 4), 0.25)
    with pytest.raises(ValueError):
        joint.log_table(bad)

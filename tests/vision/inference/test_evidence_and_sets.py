"""Evidence terms, trust, sets and the decision."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision import registry
from vision.inference import evidence, sets
from vision.inference.decide import Case, Rule, reason_to_wait
from vision.types import Problem

RULE = Rule(face=0.7, core=0.7, unlike=0.98, short_px=40)


def spread(keys, **given_values):
    rest = (1 - sum(given_values.values())) / (len(keys) - len(given_values))
    return {k: given_values.get(k, rest) for k in keys}


def case(**changes):
    base = dict(view="face", face=spread(registry.FACES, veneer=0.9), core=spread(registry.CORES, plywood=0.9), core_visible=0.1,
                face_set=("veneer",), core_set=("plywood",), unlikeness=0.5, short_px=300.0)
    return Case(**{**base, **changes})


def test_terms_are_centred_and_scaled():
    lp = np.log(np.array([[0.7, 0.2, 0.1], [1 / 3, 1 / 3, 1 / 3]]))
    t = evidence.terms(lp, np.array([0.5, 2.0]))
    assert np.allclose(t.sum(axis=1), 0) and np.allclose(t[1], 0)
    assert t[0, 0] - t[0, 1] == pytest.approx(0.5 * np.log(3.5))


def test_kinds_gather_their_experts():
    t = np.array([[1.0, -1.0], [0.5, -0.5], [2.0, -2.0]])
    kinds = evidence.by_kind(t, ["a", "b", "c"], {"a": "x", "b": "y", "c": "x"}, ["x", "y", "z"])
    assert kinds.tolist() == [[3.0, -3.0], [0.5, -0.5], [0.0, 0.0]]


def test_trust_falls_off_beyond_the_limit_only():
    assert evidence.trust(np.array([0.1, 2.0, 4.0]), 2.0).tolist() == [1.0, 1.0, 0.5]
    assert evidence.unlikeness(5.0, [1.0, 2.0, 3.0]) == 1.0 and evidence.unlikeness(2.5, [1.0, 2.0, 3.0]) == 0.75


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(0.001, 1), min_size=6, max_size=6), st.floats(0, 1))
def test_sets_are_never_empty_and_hold_the_likeliest(weights, limit):
    p = dict(zip(registry.FACES, np.array(weights) / sum(weights), strict=True))
    found = sets.chosen(p, dict.fromkeys(p, limit))
    assert found and p[found[0]] == max(p.values())
    assert set(found[1:]) == {k for k in p if k != found[0] and p[k] + 1e-9 >= limit}


def test_substrates_agree_with_the_sets_of_face_and_core():
    p = spread(registry.SUBSTRATES, print_on_lumber=0.5, solid_lumber=0.3)
    allowed = {k: k == "solid_lumber" for k in p}
    assert sets.substrates_within(p, dict.fromkeys(p, 0.2), allowed) == ("solid_lumber",)


def test_decided_needs_one_class_and_enough_probability():
    assert reason_to_wait(case(), RULE, ()) is None
    assert reason_to_wait(case(face=spread(registry.FACES, veneer=0.6)), RULE, ()) == "weak_evidence"
    assert reason_to_wait(case(face_set=("veneer", "solid_wood")), RULE, ()) == "plain_face"
    assert reason_to_wait(case(face_set=("veneer", "printed")), RULE, ()) == "print_or_wood"
    assert reason_to_wait(case(face_set=tuple(registry.FACES)), RULE, ()) == "weak_evidence"


def test_an_edge_that_shows_its_core_is_decided_by_its_core():
    edge = case(view="edge", core_visible=0.9, face_set=tuple(registry.FACES))
    assert reason_to_wait(edge, RULE, ()) is None
    hidden = case(view="edge", core_visible=0.2, face_set=tuple(registry.FACES))
    assert reason_to_wait(hidden, RULE, ()) == "core_hidden"


def test_what_blocks_a_decision_and_what_only_explains_it():
    blur = (Problem("focus_blur", "Hold still."),)
    assert reason_to_wait(case(), RULE, blur) is None
    assert reason_to_wait(case(face_set=("veneer", "solid_wood")), RULE, blur) == "photo_problem"
    assert reason_to_wait(case(short_px=20.0), RULE, ()) == "too_small"
    assert reason_to_wait(case(unlikeness=0.99), RULE, ()) == "unlike_training"


def test_every_reason_can_be_given():
    seen = {reason_to_wait(c, RULE, p) for c, p in (
        (case(short_px=1), ()), (case(unlikeness=1), ()), (case(face_set=("veneer", "solid_wood")), ()),
        (case(face_set=("veneer", "printed")), ()), (case(face_set=tuple(registry.FACES)), ()),
        (case(face_set=tuple(registry.FACES)), (Problem("glare", "Move."),)),
        (case(view="end", face_set=tuple(registry.FACES)), ()))}
    assert seen == set(registry.REASONS)


def test_rule_out_of_range_is_refused():
    with pytest.raises(ValueError):
        Rule(face=1.5, core=0.5, unlike=0.5, short_px=40)

"""Expected information of the asks, against closed forms of information theory."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision import registry
from vision.assessment import Part
from vision.next_steps import ASKS, MIN_BITS, REPEAT_SHARE, asks_for, entropy, gain, next_steps
from vision.parts.fuse import core_margin, face_margin
from vision.types import Verdict

SUBSTRATES = tuple(registry.SUBSTRATES)


def part(belief, role="top", cues=("none",), name=None):
    verdict = Verdict(
        face=face_margin(belief), core=core_margin(belief), core_visible=0.1, substrate=belief, face_set=(), core_set=(),
        substrate_set=(), level=0.9, undecided=True, reason="weak_evidence", cues=cues,
    )
    return Part(name or role, role, (("p1", name or role),), verdict)


def between(**p):
    return {k: p.get(k, 0.0) for k in SUBSTRATES}


EVEN = between(solid_lumber=0.5, veneer_on_plywood=0.5)


def test_a_perfect_test_of_an_even_choice_is_worth_one_bit():
    assert gain({"a": 0.5, "b": 0.5}, {"a": {"x": 1.0}, "b": {"y": 1.0}}) == pytest.approx(1)


def test_a_test_blind_to_the_class_is_worth_nothing():
    assert gain({"a": 0.3, "b": 0.7}, {"a": {"x": 0.4, "y": 0.6}, "b": {"x": 0.4, "y": 0.6}}) == pytest.approx(0)


@pytest.mark.parametrize("flip", [0.0, 0.05, 0.11, 0.3, 0.5])
def test_binary_symmetric_channel(flip):
    """Capacity of the binary symmetric channel with an even input: 1 - H(flip) (Shannon 1948)."""
    rows = {"a": {"x": 1 - flip, "y": flip}, "b": {"x": flip, "y": 1 - flip}}
    assert gain({"a": 0.5, "b": 0.5}, rows) == pytest.approx(1 - entropy([flip, 1 - flip]))


def test_erasure_channel():
    """A test that answers truly with probability q and else not at all is worth q H(class)."""
    rows = {"a": {"x": 0.6, "none": 0.4}, "b": {"y": 0.6, "none": 0.4}}
    assert gain({"a": 0.2, "b": 0.8}, rows) == pytest.approx(0.6 * entropy([0.2, 0.8]))


@given(st.lists(st.floats(0, 1), min_size=16, max_size=16).filter(lambda v: sum(v) > 0.1))
@settings(max_examples=60, deadline=None)
def test_no_ask_tells_more_than_there_is_to_know(weights):
    belief = {k: w / sum(weights) for k, w in zip(SUBSTRATES, weights, strict=True)}
    for ask in ASKS:
        assert -1e-9 <= gain(belief, ask.rows) <= entropy(list(belief.values())) + 1e-9


def test_nothing_left_to_learn_asks_nothing():
    assert next_steps([part(between(solid_lumber=1.0))]) == ()


def test_sorted_with_text_for_people():
    steps = next_steps([part(EVEN), part(EVEN, "drawer_front"), part(EVEN, "unknown", name="part-1")])
    bits = [s.gain_bits for s in steps]
    assert bits == sorted(bits, reverse=True) and min(bits) >= MIN_BITS
    assert {s.kind for s in steps} == {"photo", "check"}
    for s in steps:
        assert "{" not in s.text and s.text.endswith((".", "?"))


def test_a_plain_wood_face_is_sent_to_the_edge_and_a_doubtful_print_to_the_face():
    best = asks_for(part(between(solid_lumber=0.5, veneer_on_lumber=0.5)))[0]
    assert best.ask in ("top_end", "edge_close")
    doubt = between(veneer_on_particle_board=0.5, print_on_particle_board=0.5)
    assert next(s for s in asks_for(part(doubt)) if s.kind == "photo").ask == "macro"


def test_a_cue_already_in_view_is_worth_less():
    plain = {s.ask: s.gain_bits for s in asks_for(part(EVEN))}
    again = {s.ask: s.gain_bits for s in asks_for(part(EVEN, cues=("end",)))}
    assert again["top_end"] == pytest.approx(REPEAT_SHARE * plain["top_end"])
    assert again["edge_close"] == pytest.approx(plain["edge_close"])


def test_one_ask_is_made_once_for_one_role():
    steps = next_steps([part(EVEN, "side", name="side"), part(EVEN, "side", name="side-2")], limit=20)
    assert len({s.ask for s in steps}) == len(steps)


def test_no_part_asks_for_a_better_photo():
    (step,) = next_steps([])
    assert (step.ask, step.part, step.gain_bits) == ("whole_piece", None, 0.0)


def test_every_ask_of_the_registry_has_a_table_and_every_role_an_ask():
    assert {a.key for a in ASKS} | {"whole_piece"} == set(registry.ASKS)
    for role in registry.ROLES:
        kinds = {a.kind for a in ASKS if role in a.roles}
        assert kinds == {"photo", "check"}


def test_entropy():
    assert entropy([0.5, 0.5, 0.0]) == pytest.approx(1)
    assert entropy([1 / 8] * 8) == pytest.approx(math.log2(8))


def test_a_damaged_spot_in_view_is_asked_for_only_where_one_was_seen():
    without = {s.ask: s for s in asks_for(part(EVEN))}
    worn = {s.ask: s for s in asks_for(part(EVEN, cues=("wear",)))}
    assert "spot_seen" not in without
    assert worn["spot_seen"].gain_bits > without["worn_spot"].gain_bits > worn["worn_spot"].gain_bits

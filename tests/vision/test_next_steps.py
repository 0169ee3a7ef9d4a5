"""Expected information of the asks, against closed forms of information theory."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision import registry
from vision.assessment import Part
from vision.next_reading import KINDS, Reading, Readings, shipped_readings
from vision.next_steps import (
    ASKS,
    CARRIED,
    MIN_BITS,
    REPEAT_SHARE,
    asks_for,
    entropy,
    gain,
    next_steps,
    prospect,
    prospects,
    read_rows,
)
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
    plain = asks_for(part(between(solid_lumber=0.5, veneer_on_lumber=0.5)))
    assert next(s for s in plain if s.kind == "photo").ask in ("top_end", "edge_close")
    # Where a sheet may lie on solid staves the classifier reads little at the edge: a fingernail tells more.
    assert plain[0].ask == "arris"
    doubt = between(veneer_on_particle_board=0.5, print_on_particle_board=0.5)
    assert next(s for s in asks_for(part(doubt)) if s.kind == "photo").ask == "macro"


def test_a_cue_already_in_view_is_worth_less():
    plain = {s.ask: s.gain_bits for s in asks_for(part(EVEN))}
    again = {s.ask: s.gain_bits for s in asks_for(part(EVEN, cues=("end",)))}
    assert again["top_end"] == pytest.approx(shipped_readings().again * plain["top_end"])
    assert again["edge_close"] == pytest.approx(plain["edge_close"])
    worn = {s.ask: s.gain_bits for s in asks_for(part(EVEN, cues=("wear",)))}
    assert worn["worn_spot"] == pytest.approx(REPEAT_SHARE * plain["worn_spot"])


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


# -- a made world in which gains are known in closed form -------------------------------------------------------------
def world(flip, *, specimens=1e12, worth=1.0, by_hand=0.0, again=0.5, lean=20.0):
    """Every kind of photo says solid or not and errs with probability `flip` (kind -> flip), whatever the rest."""
    def reading(kind):
        solid = np.array([s == "solid_lumber" for s in SUBSTRATES])
        right = np.where(solid[:, None], [1 - flip[kind], flip[kind]], [flip[kind], 1 - flip[kind]])
        # a covered side says the same in both cases: an erasure
        shown = np.c_[right, np.zeros(len(SUBSTRATES))]
        return Reading(shown, np.array([0.0, 0.0, 1.0]), specimens, worth)

    return Readings({k: reading(k) for k in KINDS}, by_hand, again, lean)


def ask(key):
    return next(a for a in ASKS if a.key == key)


@pytest.mark.parametrize("flip", [0.0, 0.05, 0.2, 0.5])
def test_a_photo_that_errs_so_often_is_worth_the_capacity_of_that_channel(flip, monkeypatch):
    monkeypatch.delitem(CARRIED, "macro")
    found = prospect(part(EVEN), ask("macro"), world({"edge": 0.5, "end": 0.5, "face": flip}))
    assert found.bits == pytest.approx(1 - entropy([flip, 1 - flip]), abs=1e-9)
    # Bayes: the likelier answer reaches 1 - flip, and the level is 0.9.
    assert found.settles == pytest.approx(float(flip <= 0.1), abs=1e-9)
    assert found.measured == pytest.approx(1)


def test_an_edge_that_is_covered_so_often_is_an_erasure():
    """Solid sides are covered with c1, plywood sides with c2, and read without error else: H(outcome) less the covering's."""
    readings = world({"edge": 0.0, "end": 0.0, "face": 0.0})
    a = ask("edge_close")
    c1, c2 = a.rows["solid_lumber"]["hidden"], a.rows["veneer_on_plywood"]["hidden"]
    outcomes = [0.5 * (1 - c1), 0.5 * (1 - c2), 0.5 * (c1 + c2)]
    expected = entropy(outcomes) - 0.5 * entropy([c1, 1 - c1]) - 0.5 * entropy([c2, 1 - c2])
    assert prospect(part(EVEN), a, readings).bits == pytest.approx(expected, abs=1e-6)


def test_the_ranking_follows_what_photos_really_tell():
    for better, worse in (("edge", "end"), ("end", "edge")):
        readings = world({better: 0.02, worse: 0.4, "face": 0.4})
        order = [f.ask.key for f in prospects(part(EVEN), readings) if f.ask.kind == "photo"]
        expected = {"edge": "edge_close", "end": "top_end"}
        assert order.index(expected[better]) < order.index(expected[worse])
        assert order[0] == expected[better]


def test_few_specimens_lean_on_common_practice_by_the_stated_weight():
    a = ask("top_end")
    full = prospect(part(EVEN), a, world({"edge": 0.1, "end": 0.1, "face": 0.1})).bits
    hand = 0.4 * gain(EVEN, a.rows)
    some = prospect(part(EVEN), a, world({"edge": 0.1, "end": 0.1, "face": 0.1}, specimens=10.0, by_hand=0.4, lean=30.0))
    assert some.measured == pytest.approx(0.25)
    assert some.bits == pytest.approx(0.25 * full + 0.75 * hand, abs=1e-9)
    none = prospect(part(EVEN), a, world({"edge": 0.1, "end": 0.1, "face": 0.1}, specimens=0.0, by_hand=0.4))
    assert (none.measured, none.bits) == (0.0, pytest.approx(hand))


def test_light_from_the_side_was_learnt_from_no_photo():
    found = prospect(part(EVEN), ask("side_light"), world({"edge": 0.0, "end": 0.0, "face": 0.0}, by_hand=0.5))
    assert found.measured == 0.0 and found.bits == pytest.approx(0.5 * gain(EVEN, ask("side_light").rows))


@given(st.lists(st.floats(0, 1), min_size=16, max_size=16).filter(lambda v: sum(v) > 0.1))
@settings(max_examples=40, deadline=None)
def test_shipped_gains_are_never_negative_nor_more_than_there_is_to_know(weights):
    belief = {k: w / sum(weights) for k, w in zip(SUBSTRATES, weights, strict=True)}
    for role in ("top", "door", "drawer_front"):
        for found in prospects(part(belief, role, cues=("wear", "edge"))):
            assert 0 <= found.bits <= entropy(list(belief.values())) + 1e-9
            assert -1e-9 <= found.settles <= 1 + 1e-9 and 0 <= found.measured < 1


@pytest.mark.parametrize("sure", ["solid_lumber", "print_on_particle_board", "not_wood"])
def test_no_ask_is_worth_anything_at_certainty(sure):
    for found in prospects(part(between(**{sure: 1.0}), "top", cues=("wear",))):
        assert found.bits == pytest.approx(0, abs=1e-9)
        assert found.settles == pytest.approx(1)


def test_every_photo_ask_is_read_and_no_hand_check_is():
    for a in ASKS:
        rows = read_rows(a, shipped_readings())
        assert (rows is None) == (a.kind == "check")
        if rows is not None:
            assert rows.shape[0] == len(SUBSTRATES) and np.allclose(rows.sum(axis=1), 1, atol=1e-3)

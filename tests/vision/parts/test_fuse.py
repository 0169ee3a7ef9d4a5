"""Fusion of sightings against closed forms: products of likelihoods, effective numbers, and bounds that must hold."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision import registry
from vision.parts.fuse import (
    COPY_NATS,
    DEPENDENCE,
    FLOOR,
    Dependence,
    Sighting,
    core_margin,
    effective_number,
    face_margin,
    fuse,
    information,
    substrate_prior,
)
from vision.types import Panel, Verdict

FLAT = substrate_prior(dict.fromkeys(registry.FACES, 1 / 6), dict.fromkeys(registry.CORES, 1 / 4))
SUBSTRATES = tuple(registry.SUBSTRATES)


def sighting(substrate, *, view="face", sets=None, undecided=True, seen=0.1, photo="p1", name="a", cues=("none",), findings=()):
    face, core = face_margin(substrate), core_margin(substrate)
    verdict = Verdict(
        face=face, core=core, core_visible=seen, substrate=substrate, face_set=tuple(sets or registry.FACES),
        core_set=tuple(registry.CORES), substrate_set=SUBSTRATES, level=0.9, undecided=undecided,
        reason="weak_evidence" if undecided else None, cues=cues, findings=findings,
    )
    return Sighting(photo, Panel(name, photo, ((0, 0), (9, 0), (9, 9))), view, verdict)


def normal(values):
    total = sum(values.values())
    return {k: v / total for k, v in values.items()}


#: All substrates between 0.01 and 1 before normalising: well above the floor.
beliefs = st.lists(st.floats(0.01, 1), min_size=len(SUBSTRATES), max_size=len(SUBSTRATES)).map(
    lambda v: normal(dict(zip(SUBSTRATES, v, strict=True)))
)


def test_prior_keeps_the_face_margin_and_forbids_what_cannot_be():
    face = {"solid_wood": 0.4, "veneer": 0.3, "printed": 0.1, "opaque": 0.1, "bare_board": 0.05, "not_wood": 0.05}
    core = {"lumber": 0.5, "plywood": 0.1, "particle_board": 0.3, "fibreboard": 0.1}
    prior = substrate_prior(face, core)
    assert face_margin(prior) == pytest.approx(face)
    assert prior["bare_particle_board"] / prior["bare_fibreboard"] == pytest.approx(3)
    assert prior["solid_lumber"] == pytest.approx(0.4)


@given(beliefs)
@settings(max_examples=40, deadline=None)
def test_one_sighting_keeps_its_verdict(belief):
    s = sighting(belief)
    assert fuse([s], prior=FLAT) is s.verdict


@given(beliefs, st.integers(2, 6), st.sampled_from(["face", "edge"]))
@settings(max_examples=60, deadline=None)
def test_copies_add_no_certainty(belief, copies, view):
    fused = fuse([sighting(belief, view=view, name=f"a{n}") for n in range(copies)], prior=FLAT)
    for key in SUBSTRATES:
        assert fused.substrate[key] == pytest.approx(belief[key], abs=1e-9)


@given(beliefs, st.integers(2, 6))
@settings(max_examples=40, deadline=None)
def test_a_photo_handed_in_twice_adds_no_certainty(belief, copies):
    fused = fuse([sighting(belief, photo=f"p{n}") for n in range(copies)], prior=FLAT, dependence=Dependence(0.0, 0.0, 0.0))
    for key in SUBSTRATES:
        assert fused.substrate[key] == pytest.approx(belief[key], abs=1e-9)


@given(beliefs, st.integers(2, 8), st.floats(0.3, 0.99))
@settings(max_examples=60, deadline=None)
def test_with_less_dependence_copies_grow_within_the_bound(belief, copies, dependence):
    """Closed form: log evidence of n copies is n / (1 + (n-1) r) times that of one, hence below 1 / r times."""
    fused = fuse([sighting(belief, name=f"a{n}") for n in range(copies)], prior=FLAT,
                 dependence=Dependence(dependence, 1.0, 1.0))
    worth = copies / (1 + (copies - 1) * dependence)
    expected = normal({k: FLAT[k] * (belief[k] / FLAT[k]) ** worth for k in SUBSTRATES})
    assert worth < 1 / dependence
    for key in SUBSTRATES:
        assert fused.substrate[key] == pytest.approx(expected[key], rel=1e-6, abs=1e-9)


def tilted(belief, factor):
    """The same with the first substrate's odds changed: another look, not a copy."""
    return normal({k: v * (factor if k == SUBSTRATES[0] else 1) for k, v in belief.items()})


@given(beliefs, st.floats(0.0, 1.0))
@settings(max_examples=60, deadline=None)
def test_two_photos_pool_to_the_mean_raised_to_their_effective_number(belief, r):
    other = tilted(belief, 3.0)
    if min(information(belief, FLAT), information(other, FLAT)) < 0.2:
        return
    fused = fuse([sighting(belief, photo="p1"), sighting(other, photo="p2")], prior=FLAT, dependence=Dependence(1.0, r, 1.0))
    expected = normal({k: FLAT[k] * (belief[k] * other[k] / FLAT[k] ** 2) ** (1 / (1 + r)) for k in SUBSTRATES})
    assert fused.substrate == pytest.approx(expected, abs=1e-9)


@given(beliefs, beliefs, st.floats(0.0, 1.0))
@settings(max_examples=60, deadline=None)
def test_face_and_edge_multiply_when_independent_and_average_when_copies(broad, narrow, r):
    """Log evidence of the two kinds adds up, divided by 1 + r: Bayes' rule at r = 0, their mean at r = 1."""
    if min(information(broad, FLAT), information(narrow, FLAT)) < 0.2:
        return
    fused = fuse([sighting(broad), sighting(narrow, view="edge", name="b")], prior=FLAT, dependence=Dependence(1.0, 1.0, r))
    expected = normal({k: FLAT[k] * (broad[k] * narrow[k] / FLAT[k] ** 2) ** (1 / (1 + r)) for k in SUBSTRATES})
    assert fused.substrate == pytest.approx(expected, abs=1e-9)


def test_many_panels_of_one_photo_weigh_no_more_than_one_of_another():
    """The photo with five like panels does not outvote the photo with one."""
    a, b = toward(solid_lumber=0.8), toward(print_on_fibreboard=0.8)
    many = [sighting(a, photo="p1", name=f"a{n}") for n in range(5)]
    fused = fuse([*many, sighting(b, photo="p2")], prior=FLAT)
    one_each = fuse([many[0], sighting(b, photo="p2")], prior=FLAT)
    assert fused.substrate == pytest.approx(one_each.substrate, abs=1e-9)


def test_a_second_photo_that_agrees_makes_surer_within_its_bound():
    a = toward(solid_lumber=0.7)
    b = tilted(a, 1.6)
    both = fuse([sighting(a, photo="p1"), sighting(b, photo="p2")], prior=FLAT)
    assert both.substrate["solid_lumber"] > max(a["solid_lumber"], b["solid_lumber"])
    most = normal({k: FLAT[k] * (max(a[k], b[k]) / FLAT[k]) ** (1 / DEPENDENCE.photos) for k in SUBSTRATES})
    assert both.substrate["solid_lumber"] < most["solid_lumber"]
    assert math.log(1.6) > COPY_NATS


def test_dependence_lies_between_nothing_and_copies():
    with pytest.raises(ValueError, match="between 0 and 1"):
        Dependence(1.0, 1.2, 0.5)


@given(beliefs, beliefs)
@settings(max_examples=40, deadline=None)
def test_order_of_sightings_does_not_matter(a, b):
    one, two = sighting(a, name="a"), sighting(b, name="b")
    left, right = fuse([one, two], prior=FLAT), fuse([two, one], prior=FLAT)
    assert left.substrate == pytest.approx(right.substrate, abs=1e-12)
    assert left.face_set == right.face_set


@given(beliefs)
@settings(max_examples=40, deadline=None)
def test_a_sighting_that_says_nothing_hardly_waters_down_another(belief):
    s = sighting(belief)
    if information(belief, FLAT) < 0.2:
        return
    fused = fuse([s, sighting(FLAT, name="b")], prior=FLAT)
    gap = max(abs(math.log(fused.substrate[k] / belief[k])) for k in SUBSTRATES)
    reach = max(abs(math.log(belief[k] / FLAT[k])) for k in SUBSTRATES)
    assert gap <= 0.12 * reach


def test_no_sighting_rules_out_alone():
    sure = {k: 0.0 for k in SUBSTRATES} | {"solid_lumber": 1.0}
    other = {k: 0.0 for k in SUBSTRATES} | {"print_on_fibreboard": 1.0}
    fused = fuse([sighting(sure), sighting(other, name="b")], prior=FLAT)
    assert fused.substrate["solid_lumber"] > 0.01 and fused.substrate["print_on_fibreboard"] > 0.01
    assert fused.substrate["solid_lumber"] + fused.substrate["print_on_fibreboard"] > 0.9


def toward(**share):
    rest = 1 - sum(share.values())
    return {k: share.get(k, 0) + rest / len(SUBSTRATES) for k in SUBSTRATES}


def test_open_sightings_of_one_face_never_become_a_decision():
    belief = toward(solid_lumber=0.97)
    fused = fuse([sighting(belief, sets=["solid_wood"], name=f"a{n}") for n in range(3)], prior=FLAT)
    assert fused.face_set == ("solid_wood",)
    assert fused.undecided


def test_a_decided_sighting_carries_and_disagreement_opens():
    solid = toward(solid_lumber=0.97)
    prints = toward(print_on_fibreboard=0.97)
    a = sighting(solid, sets=["solid_wood"], undecided=False)
    b = sighting(solid, sets=["solid_wood"], undecided=True, name="b")
    c = sighting(prints, sets=["printed"], undecided=False, name="c")
    assert not fuse([a, b], prior=FLAT).undecided
    assert fuse([a, c], prior=FLAT).reason == "print_or_wood"


def test_an_edge_may_settle_an_open_face():
    face = toward(solid_lumber=0.5, veneer_on_particle_board=0.48)
    edge = toward(veneer_on_particle_board=0.98)
    broad = sighting(face, sets=["solid_wood", "veneer"])
    narrow = sighting(edge, view="edge", seen=0.95, undecided=False, name="b")
    narrow_sets = fuse([broad, narrow], prior=FLAT)
    assert 0.9 < narrow_sets.face["veneer"] <= narrow.verdict.face["veneer"] + 1e-6
    # The face set keeps what the face kept open, so it stays open: the edge moved the numbers, not the promise.
    assert narrow_sets.undecided
    sharp = sighting(face, sets=["veneer"])
    assert not fuse([sharp, narrow], prior=FLAT).undecided


def test_edges_alone_answer_for_the_core():
    belief = toward(veneer_on_plywood=0.5, print_on_plywood=0.48)
    kept = Verdict(**{**sighting(belief).verdict.__dict__, "core_set": ("plywood",), "undecided": False, "reason": None})
    seen = [Sighting("p1", Panel(n, "p1", ((0, 0), (9, 0), (9, 9))), "edge", kept) for n in "ab"]
    assert not fuse(seen, prior=FLAT).undecided


def test_cues_and_findings_are_joined_once():
    a = sighting(FLAT, cues=("figure",), findings=("f1", "f2"))
    b = sighting(FLAT, cues=("none",), findings=("f2", "f3"), name="b")
    fused = fuse([a, b], prior=FLAT)
    assert (fused.cues, fused.findings) == (("figure",), ("f1", "f2", "f3"))


def test_effective_number_and_information():
    assert effective_number([1, 1, 1, 1], 0.0) == pytest.approx(4)
    assert effective_number([1, 1, 1, 1], 1.0) == pytest.approx(1)
    assert effective_number([1, 1e-9], 0.0) == pytest.approx(1)
    with pytest.raises(ValueError, match="positive"):
        effective_number([1, 0], 0.5)
    # Kullback-Leibler divergence against scipy.
    entropy = pytest.importorskip("scipy.stats").entropy
    p = np.array(list(toward(solid_lumber=0.6).values()))
    q = np.maximum(np.array(list(FLAT.values())), FLOOR)
    expected = float(entropy(np.maximum(p, FLOOR), q, base=2))
    assert information(toward(solid_lumber=0.6), FLAT) == pytest.approx(expected, abs=1e-9)


def test_nothing_to_fuse():
    with pytest.raises(ValueError, match="nothing"):
        fuse([], prior=FLAT)

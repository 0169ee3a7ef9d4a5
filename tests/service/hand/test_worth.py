"""Which check comes next: information against scikit-learn, what is settled, what is never asked twice."""

import numpy as np
import pytest
from sklearn.metrics import mutual_info_score

from service.hand.belief import fuse
from service.hand.checks import SUBSTRATES, rules
from service.hand.state import start_of
from service.hand.worth import best_pair, expected_bits, next_checks, settled

BOOK = rules()
EVEN = start_of(None, "top")


def test_information_is_that_of_a_reference_library():
    check = BOOK.checks["end_of_part"]
    fused = fuse(EVEN, {}, BOOK)
    joint = np.array([fused.substrates[s] for s in SUBSTRATES])[:, None] * check.table
    nats = mutual_info_score(None, None, contingency=joint * 1e9)
    assert expected_bits(check, fused, BOOK) == pytest.approx(nats / np.log(2), rel=1e-6)


def test_the_edge_or_a_hole_comes_first_and_weak_checks_last():
    order = [w.check.key for w in next_checks(fuse(EVEN, {}, BOOK), "top", BOOK)]
    assert order[0] == "face_look" and set(order[1:3]) == {"end_of_part", "hole"} and "price" not in order[:6]


def test_a_named_material_ends_the_asking():
    fused = fuse(EVEN, {"end_of_part": "rings", "knot_through": "through"}, BOOK)
    assert fused.face == "solid_wood" and settled(fused) and next_checks(fused, "top", BOOK) == ()


def test_what_was_answered_or_cannot_be_done_is_not_asked_again():
    fused = fuse(EVEN, {"hole": "wood"}, BOOK)
    order = [w.check.key for w in next_checks(fused, "top", BOOK, answered=["hole", "end_of_part"], skip=["tap"])]
    assert not {"hole", "end_of_part", "tap"} & set(order)


def test_a_check_is_asked_only_of_parts_it_can_be_made_on():
    assert "drawer_top_edge" not in [w.check.key for w in next_checks(fuse(EVEN, {}, BOOK), "top", BOOK)]
    assert "drawer_top_edge" in [w.check.key for w in next_checks(fuse(EVEN, {}, BOOK), "drawer_front", BOOK)]


def test_a_group_that_has_spoken_is_worth_less():
    check = BOOK.checks["seam_felt"]
    before = expected_bits(check, fuse(EVEN, {}, BOOK), BOOK)
    after = expected_bits(check, fuse(EVEN, {"end_of_part": "covered"}, BOOK), BOOK)
    assert after < before


def test_the_part_that_everyone_looks_at_is_asked_first():
    parts = {"back": (fuse(EVEN, {}, BOOK), "back", ()), "top": (fuse(EVEN, {}, BOOK), "top", ())}
    found = best_pair(parts, {"top": 1.5}, BOOK)
    assert found is not None and found[0] == "top"
    assert best_pair({}, {}, BOOK) is None

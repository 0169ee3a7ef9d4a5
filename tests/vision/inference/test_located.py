"""Located evidence: nothing found says nothing, a find says what the shares allow, and never more than the cap."""

import numpy as np
import pytest

from vision import registry
from vision.inference.joint import FACES
from vision.inference.located import MOST_NATS, SHARES, face_terms


def at(terms, face):
    return terms[..., FACES.index(face)]


def test_nothing_found_says_exactly_nothing():
    for kind, names in SHARES.items():
        for nothing in (0.0, float("nan"), -3.0):
            np.testing.assert_array_equal(face_terms(dict.fromkeys(names, nothing))[kind], np.zeros(6))


def test_a_ratio_of_ten_worked_by_hand():
    """p(m | printed) / p(m | nothing) = 1 + 0.25 * (10 - 1) = 3.25; veneer: 1 + 0.004 * 9 = 1.036."""
    terms = face_terms({"repeat_log_copy": np.log(10.0)})["figure_repeat"]
    assert at(terms, "printed") - at(terms, "veneer") == pytest.approx(np.log(3.25 / 1.036))
    assert at(terms, "bare_board") - at(terms, "solid_wood") == pytest.approx(-np.log(1 + 0.0005 * 9))


def test_hypotheses_share_one_likelihood():
    """Copy and slip both likely: the two are added before the logarithm, as alternatives must be."""
    both = face_terms({"repeat_log_copy": np.log(50.0), "repeat_log_slip": np.log(20.0)})["figure_repeat"]
    veneer, printed = 1 + 0.004 * 49 + 0.08 * 19, 1 + 0.25 * 49 + 0.02 * 19
    assert at(both, "printed") - at(both, "veneer") == pytest.approx(np.log(printed / veneer))


def test_no_find_is_believed_beyond_what_was_tried():
    strong, absurd = (face_terms({"repeat_log_slip": v})["figure_repeat"] for v in (MOST_NATS, 1e6))
    np.testing.assert_array_equal(strong, absurd)
    assert 10 / np.log(10) * (at(absurd, "veneer") - at(absurd, "solid_wood")) < 15  # decibans


def test_arrays_and_numbers_agree():
    rows = np.array([0.0, 2.0, 9.0])
    many = face_terms({"repeat_log_slip": rows})["figure_repeat"]
    for row, value in zip(many, rows, strict=True):
        np.testing.assert_allclose(row, face_terms({"repeat_log_slip": float(value)})["figure_repeat"])


def test_shares_name_known_faces_and_leave_room():
    for kind, names in SHARES.items():
        assert kind in registry.FINDING_KINDS
        for face in registry.FACES:
            assert 0 <= sum(share.get(face, 0.0) for share in names.values()) < 0.5
        assert all(set(share) <= set(registry.FACES) for share in names.values())

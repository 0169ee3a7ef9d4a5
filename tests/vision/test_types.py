"""Types refuse what cannot be true."""

import numpy as np
import pytest

from vision import registry
from vision.types import Finding, Panel, Photo, Problem, Region, Verdict, WorkingView, distribution

SQUARE = ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0))


def even(keys):
    return {k: 1 / len(keys) for k in keys}


def verdict(**changes):
    fields = {
        "face": even(registry.FACES), "core": even(registry.CORES), "core_visible": 0.2,
        "substrate": even(registry.SUBSTRATES), "face_set": tuple(registry.FACES), "core_set": tuple(registry.CORES),
        "substrate_set": tuple(registry.SUBSTRATES), "level": 0.9, "undecided": True, "reason": "weak_evidence",
        "cues": ("none",),
    }
    return Verdict(**{**fields, **changes})


def test_distribution_is_renormalised_exactly():
    d = distribution({"lumber": 0.2502, "plywood": 0.25, "particle_board": 0.25, "fibreboard": 0.25}, registry.CORES)
    assert sum(d.values()) == pytest.approx(1, abs=1e-12)


@pytest.mark.parametrize("bad", [
    {"lumber": 1.0},
    {"lumber": 1.2, "plywood": -0.2, "particle_board": 0.0, "fibreboard": 0.0},
    {"lumber": 0.5, "plywood": 0.1, "particle_board": 0.1, "fibreboard": 0.1},
])
def test_distribution_refuses(bad):
    with pytest.raises(ValueError):
        distribution(bad, registry.CORES)


def test_photo_needs_rgb_bytes():
    Photo("p", "f", "0", np.zeros((2, 3, 3), np.uint8))
    for wrong in (np.zeros((2, 3), np.uint8), np.zeros((2, 3, 4), np.uint8), np.zeros((2, 3, 3), np.float32)):
        with pytest.raises(ValueError):
            Photo("p", "f", "0", wrong)


def test_unknown_keys_are_refused():
    with pytest.raises(ValueError):
        Problem("sparkle", "x")
    with pytest.raises(ValueError):
        Panel("a", "p", SQUARE, source="guess")
    with pytest.raises(ValueError):
        Panel(1, "p", SQUARE)
    with pytest.raises(ValueError):
        verdict(cues=("aura",))
    with pytest.raises(ValueError):
        verdict(reason="because")


def test_undecided_and_reason_go_together():
    verdict(undecided=False, reason=None)
    with pytest.raises(ValueError):
        verdict(undecided=False, reason="weak_evidence")
    with pytest.raises(ValueError):
        verdict(undecided=True, reason=None)


def test_finding_weight_is_never_negative():
    where = (Region("p", "a", "polygon", SQUARE),)
    Finding("f1", "colour", where, "veneer", "printed", 3.0, "x")
    for weight in (-1.0, float("nan"), float("inf")):
        with pytest.raises(ValueError):
            Finding("f1", "colour", where, "veneer", "printed", weight, "x")
    with pytest.raises(ValueError):
        Finding("f1", "colour", (), "veneer", "printed", 1.0, "x")


def test_region_needs_enough_points():
    with pytest.raises(ValueError):
        Region("p", "a", "line", ((0.0, 0.0),))


def test_working_view_maps_points_by_its_homography():
    to_photo = np.array([[2.0, 0, 5], [0, 3.0, 7], [0, 0, 1]])
    view = WorkingView(Panel("a", "p", SQUARE), np.zeros((4, 4, 3), np.uint8), np.ones((4, 4), bool), to_photo, 2.4,
                       np.zeros((9, 9, 3), np.uint8), np.ones((9, 9), bool), (5, 7))
    assert view.photo_points(np.array([[1.0, 1.0], [0.0, 0.0]])).tolist() == [[7.0, 10.0], [5.0, 7.0]]

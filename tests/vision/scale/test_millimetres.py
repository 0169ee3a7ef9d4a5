"""Scales as such: perspective, error bars, reach, refusals."""

import math

import numpy as np
import pytest
from skimage.transform import ProjectiveTransform

from vision.millimetres import Scale, mapped

SQUARE = ((0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0))
PLANE = np.array([[0.5, 0.02, 3.0], [-0.03, 0.6, 1.0], [2e-4, -1e-4, 1.0]])


def plane_scale(plane=PLANE, moves=None, **more):
    return Scale("card", SQUARE, "words", plane, None, np.zeros((0, 3, 3)) if moves is None else moves, **more)


def line_scale(along, **more):
    return Scale("ruler", ((0.0, 0.0), (100.0, 0.0)), "words", None, along, np.zeros((0, 2, 2)), **more)


def test_lengths_are_those_of_the_projective_transform():
    """Against skimage.transform.ProjectiveTransform."""
    outside = ProjectiveTransform(matrix=PLANE)
    rng = np.random.default_rng(1)
    for p, q in rng.uniform(0, 900, (40, 2, 2)):
        expected = np.linalg.norm(outside(p) - outside(q))
        assert plane_scale().length_mm(tuple(p), tuple(q))[0] == pytest.approx(expected, rel=1e-9)


def test_local_scale_is_the_limit_of_small_lengths():
    scale = plane_scale()
    h = 1e-3
    x = scale.length_mm((300 - h, 200), (300 + h, 200))[0] / (2 * h)
    y = scale.length_mm((300, 200 - h), (300, 200 + h))[0] / (2 * h)
    steps = mapped(PLANE, np.array([[300, 200], [300 + h, 200], [300, 200 + h]]))
    u, v = (steps[1] - steps[0]) / h, (steps[2] - steps[0]) / h
    area = abs(u[0] * v[1] - u[1] * v[0])
    assert scale.mm_per_px_at((300, 200))[0] == pytest.approx(math.sqrt(area), rel=1e-4)
    assert scale.px_per_mm_at((300, 200))[0] == pytest.approx(1 / math.sqrt(area), rel=1e-4)
    assert min(x, y) < math.sqrt(area) < max(x, y) * 1.01


def test_the_error_grows_away_from_the_object():
    tilted = PLANE.copy()
    tilted[2, 0] += 4e-5
    scale = plane_scale(moves=tilted[None])
    shares = []
    for x in (50, 400, 1500):
        length, error = scale.length_mm((x, 50), (x + 20, 50))
        shares.append(error / length)
    assert shares[0] < shares[1] < shares[2]


def test_a_bar_between_two_maps_holds_both():
    other = PLANE * np.array([[1.1], [1.1], [1.0]])
    scale = plane_scale(either=np.array([PLANE, other]))
    length, error = scale.length_mm((0, 0), (100, 0))
    lengths = [np.linalg.norm(np.diff(mapped(m, np.array([[0, 0], [100, 0]])), axis=0)) for m in (PLANE, other)]
    assert length - error == pytest.approx(min(lengths)) and length + error == pytest.approx(max(lengths))


@pytest.mark.parametrize("offset", [0.0, 0.5, 1.0, 4.0])
def test_the_bar_holds_95_in_100(offset):
    """Against a million drawn errors."""
    from vision.millimetres import _half_width

    rng = np.random.default_rng(3)
    error = rng.normal(0, 1, 1_000_000) + offset * rng.choice([-1, 1], 1_000_000)
    assert np.mean(np.abs(error) <= _half_width(1.0, offset)) == pytest.approx(0.95, abs=1e-3)


def test_nothing_is_measured_beyond_the_horizon():
    plane = np.array([[0.5, 0, 0], [0, 0.5, 0], [0, -0.01, 1.0]])
    scale = plane_scale(plane)
    assert scale.length_mm((0, 0), (50, 50)) is not None
    assert scale.length_mm((0, 0), (50, 150)) is None and scale.mm_per_px_at((0, 150)) is None


def test_a_line_measures_along_itself_only():
    scale = line_scale(np.array([[60.0, 0.0], [0.0, 1.0]]), share=0.01)
    length, error = scale.length_mm((10, 1), (60, -1))
    assert length == pytest.approx(30) and error == pytest.approx(1.96 * 0.3, rel=1e-3)
    assert scale.length_mm((10, 0), (60, 30)) is None
    assert scale.length_mm((10, 0), (200, 0)) is None
    assert scale.mm_per_px_at((50, 0))[0] == pytest.approx(0.6)
    assert scale.mm_per_px_at((50, 40)) is None


def test_set_points_add_their_own_error():
    scale = plane_scale(np.diag([0.5, 0.5, 1.0]))
    length, error = scale.length_mm((0, 0), (100, 0), point_px=2.0)
    assert length == pytest.approx(50) and error == pytest.approx(1.96 * 0.5 * 2 * math.sqrt(2), rel=1e-3)


@pytest.mark.parametrize("change", [
    {"source": "guess"}, {"plane": None}, {"along": np.eye(2)}, {"outline": SQUARE[:2]}, {"share": 1.0},
    {"plane": np.full((3, 3), np.nan)}, {"moves": np.zeros((1, 2, 2))},
])
def test_nonsense_is_refused(change):
    good = {"source": "card", "outline": SQUARE, "words": "w", "plane": PLANE, "along": None, "moves": np.zeros((0, 3, 3))}
    Scale(**good)
    with pytest.raises(ValueError):
        Scale(**{**good, **change})

"""Scores of unlikeness on made looks where the answer is known, and the pictures without furniture that are made."""

import numpy as np
import pytest

from training import refusal_sources as sources
from training.refusal_candidates import CANDIDATES, PLAIN, directions
from training.refusal_scores import areas, draws, ends_in
from training.robust_scores import Answer
from training.unlike_directions import leading

CROPS, DIMS = 3, 64


def looks(n: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Looks whose crops share what a panel is like, as real ones do, and face classes."""
    rng = np.random.default_rng(seed)
    shared = rng.standard_normal((n, 1, DIMS)) * np.linspace(2, 0.5, DIMS)
    z = shared + 0.5 * rng.standard_normal((n, CROPS, DIMS))
    return z, (np.arange(n) % 6).astype(np.int8)


@pytest.mark.parametrize("candidate", CANDIDATES, ids=lambda c: c.name)
def test_a_score_grows_with_distance_changes_smoothly_and_is_small(candidate):
    z, face = looks(400, 1)
    score, size = candidate.fit(z, face)
    fresh = looks(80, 2)[0]
    near, far = score(fresh), score(6 * fresh)
    assert near.shape == (80,) and np.isfinite(near).all()
    assert (far > near).mean() > 0.95
    assert np.abs(score(fresh + 1e-5) - near).max() < 1e-2
    assert size <= 300_000


def test_directions_are_ordinary_at_one():
    z, face = looks(500, 3)
    score, _ = directions(12, DIMS).fit(z, face)
    assert np.sqrt((score(z) ** 2).mean()) == pytest.approx(1, abs=1e-6)


def test_leading_directions_are_those_of_a_principal_component_analysis():
    from sklearn.decomposition import PCA

    z = looks(300, 5)[0].reshape(300, -1)
    centre, sd, basis = leading(z, 8)
    ours = (z - centre) / sd @ basis
    theirs = PCA(8, whiten=True, svd_solver="full").fit_transform((z - centre) / sd) * np.sqrt(300 / 299)
    assert np.allclose(np.abs(ours), np.abs(theirs), atol=1e-6)


def test_what_agrees_in_all_crops_in_a_new_way_is_told_by_directions_and_hardly_by_single_numbers():
    z, face = looks(600, 6)
    rng = np.random.default_rng(7)
    strange = looks(200, 8)[0]
    strange += rng.choice([-1.0, 1.0], (200, 1, DIMS)) * np.linspace(1.6, 0.4, DIMS)  # no number is far from what was taught
    fresh = looks(200, 9)[0]

    def area(candidate):
        score, _ = candidate.fit(z, face)
        return areas(score(fresh), score(strange), np.ones((1, 200)), np.ones((1, 200)))[0]

    assert area(directions(40, DIMS)) > area(PLAIN)


def test_areas_agree_with_scikit_learn_under_weights():
    from sklearn.metrics import roc_auc_score

    rng = np.random.default_rng(10)
    ours, theirs = rng.standard_normal(50), rng.standard_normal(40) + 0.7
    a, b = draws(np.array([str(k % 9) for k in range(50)]), 1), draws(np.array([str(k % 7) for k in range(40)]), 2)
    found = areas(ours, theirs, a, b)
    truth = np.r_[np.ones(40), np.zeros(50)]
    for k in (0, 3, 17):
        assert found[k] == pytest.approx(roc_auc_score(truth, np.r_[theirs, ours], sample_weight=np.r_[b[k], a[k]]))
    assert a[0].tolist() == [1.0] * 50 and len({tuple(r) for r in a}) > 100


def test_verdicts_are_counted_by_where_they_end():
    said = [Answer("face", "not_wood", True, {}), Answer("face", "veneer", True, {}), Answer("core", "plywood", True, {}),
            Answer("face", "opaque", True, {}), Answer("face", "solid_wood", False, {})]
    found = {k: v.tolist() for k, v in ends_in(said).items()}
    assert found == {"no wood": [True, False, False, False, False], "wood or print": [False, True, True, False, False],
                     "paint or board": [False, False, False, True, False]}


def test_made_pictures_differ_and_come_back_the_same():
    first, second = list(sources.made()), list(sources.made())
    assert len({name for _, name, _ in first}) == len(first) >= 12
    assert all(np.array_equal(a[2], b[2]) for a, b in zip(first, second, strict=True))
    assert all(p.shape == (600, 800, 3) and p.dtype == np.uint8 for _, _, p in first)


def test_outlines_lie_on_the_picture_and_become_rows(tmp_path):
    pictures = [("kind", "name", np.zeros((300, 400, 3), np.uint8)), ("kind", "tiny", np.zeros((50, 50, 3), np.uint8))]
    rows = sources.rows(iter(pictures), tmp_path)
    assert [r.id.rsplit(".")[-1] for r in rows] == list(sources.CROPS)
    corners = np.array([r.outline for r in rows])
    assert (corners >= 0).all() and (corners <= [400, 300]).all()
    assert all(r.path.exists() and r.specimen == "name" for r in rows)


def test_library_photos_are_there_without_a_network():
    found = {name: p.shape for _, name, p in sources.library_photos()}
    assert {"brick", "chelsea", "china"} <= set(found) and "coffee" not in found
    assert all(s[2] == 3 for s in found.values())

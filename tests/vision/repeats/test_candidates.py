"""What is handed on for registering: the work asked for grows with the sheets, and dense moves stand in where votes fail."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from training.trap_scenes import board_face
from vision.repeats import candidates
from vision.repeats.describe import describe
from vision.repeats.sheet import Sheet


def described(pixels, k):
    noisy = np.clip(pixels + np.random.default_rng(k).normal(0, 2, pixels.shape), 0, 255).astype(np.uint8)
    return describe(Sheet("p", f"at{k}", noisy, np.ones(noisy.shape[:2], bool), np.eye(3)))


@pytest.fixture(scope="module")
def strangers():
    return [described(board_face("white_oak_like", "flat", 60 + k, 300, 150), k) for k in range(8)]


def test_dense_correlation_is_asked_of_so_many_pairs_a_sheet(strangers, monkeypatch):
    asked = []
    monkeypatch.setattr(candidates, "dense_moves", lambda a, b: asked.append((a, b)) or [])
    with ThreadPoolExecutor(1) as pool:
        for n in (4, 8):
            asked.clear()
            candidates.candidate_moves(strangers[:n], pool)
            assert 0 < len(asked) <= candidates.DENSE_BASE + candidates.DENSE_PER_SHEET * n


def test_a_pair_with_a_clear_vote_is_not_correlated(monkeypatch):
    board = board_face("walnut_like", "flat", 12, 500, 200)
    pair = [described(board[:, :400], 1), described(board[:, 60:460], 2)]
    monkeypatch.setattr(candidates, "dense_moves", lambda a, b: pytest.fail("correlated"))
    found = candidates.moves_between(*pair)
    assert found[0].weight >= candidates.CLEAR_WEIGHT
    with ThreadPoolExecutor(1) as pool:
        assert candidates.candidate_moves(pair, pool)[0][:2] == (0, 1)


def test_without_votes_the_dense_move_is_handed_on(monkeypatch):
    board = board_face("walnut_like", "flat", 12, 500, 200)
    pair = [described(board[:, :400], 1), described(board[:, 60:460], 2)]
    monkeypatch.setattr(candidates, "moves", lambda a, b, **_: [])
    best = candidates.moves_between(*pair)[0]
    place = best.transform @ [200, 100, 1.0]
    np.testing.assert_allclose(place[:2] / place[2], (140, 100), atol=5.0)
    with ThreadPoolExecutor(1) as pool:
        a, b, move = candidates.candidate_moves(pair, pool)[0]
    assert (a, b) == (0, 1)
    np.testing.assert_allclose(move.transform, best.transform)

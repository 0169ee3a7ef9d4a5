"""The ceiling on renders: finds what the numbers hold, and nothing where they hold nothing, pieces left out whole."""

import numpy as np

from training import rendered_ceiling as ceiling


def made(telling, groups=60, each=10, seed=0):
    rng = np.random.default_rng(seed)
    group = np.repeat(np.arange(groups), each)
    y = rng.integers(0, 3, groups * each)
    own = rng.standard_normal((groups, 4))[group]  # what a piece looks like; says nothing about its faces
    x = np.c_[own, rng.standard_normal(len(y)) + (3.0 * y if telling else 0.0)].astype(np.float32)
    return x, y, group.astype(str)


def test_what_numbers_tell_is_found():
    x, y, group = made(True)
    p = ceiling.left_out(x, y, group, rounds=30)
    assert np.allclose(p.sum(axis=1), 1) and (p.argmax(axis=1) == y).mean() > 0.85


def test_what_they_do_not_tell_is_not_made_up():
    """Labels that only the piece fixes cannot be foretold for pieces left out."""
    x, _, group = made(False, groups=120)
    y = np.random.default_rng(5).integers(0, 3, 120)[group.astype(int)]
    p = ceiling.left_out(x, y, group, rounds=30)
    assert (p.argmax(axis=1) == y).mean() < 0.45

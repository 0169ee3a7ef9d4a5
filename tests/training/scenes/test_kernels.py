"""The compiled loops say what numpy says."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from training.figure import kernels, noise
from training.figure.cuts import saw_board
from training.figure.finish import Finish, Place, apply_finish
from training.figure.log import Log


def both(monkeypatch: pytest.MonkeyPatch, make: Callable[[], Any]) -> tuple[Any, Any]:
    """What is made with and without the library."""
    if kernels.library() is None:
        pytest.skip("no C compiler here")
    compiled = make()
    with monkeypatch.context() as patch:
        patch.setattr(kernels, "library", lambda: None)
        return compiled, make()


def test_noise_is_equal_to_the_last_bit(monkeypatch: pytest.MonkeyPatch) -> None:
    x, y, z = (np.random.default_rng(k).uniform(-900, 900, (37, 41)).astype(np.float32) for k in range(3))
    cells = [v.astype(np.int32) for v in (x, y, z)]

    def make() -> list[np.ndarray]:
        found = [noise.value_noise(77_777_777_777, *(x, y, z)[:k]) for k in (1, 2, 3)]
        found += [noise.cell_hash(9, *cells[:k]) for k in (1, 2, 3)]
        found += [noise.cell_hash(9, cells[0][:1], cells[1][:, :1]), noise.smoothstep(0.1, 400, x)]
        return [*found, noise.second_hash(found[3], 3)]

    for fast, slow in zip(*both(monkeypatch, make), strict=True):
        assert np.array_equal(fast, slow)


def test_widening_meets_its_samples(monkeypatch: pytest.MonkeyPatch) -> None:
    coarse = np.random.default_rng(1).uniform(size=(4, 6)).astype(np.float32)
    fast, slow = both(monkeypatch, lambda: noise.widen(coarse, (10, 16)))
    assert np.allclose(fast, slow, atol=1e-6)
    assert np.allclose(fast[::3, ::3], coarse, atol=1e-6)
    assert np.allclose(fast[0, 1], coarse[0, 0] + (coarse[0, 1] - coarse[0, 0]) / 3, atol=1e-6)
    assert np.allclose(noise.widen(coarse[:1, :1], (3, 5)), coarse[0, 0])


@pytest.mark.parametrize("species", ["red_oak_like", "pine_like", "walnut_like", "maple_like"])
def test_a_finished_cut_differs_by_rounding(monkeypatch: pytest.MonkeyPatch, species: str) -> None:
    log = Log(species, 5, figured="curl")
    board = saw_board(log, "flat", np.random.default_rng(3))
    finish = Finish("walnut", 0.6, 0.5, 0.3, 0.5, age=0.3, wear=0.8, crackle=0.5)
    for texel in (0.2, 1.5):
        a, b = np.arange(80)[None] * texel, np.arange(60)[:, None] * texel

        def make(a: np.ndarray = a, b: np.ndarray = b, texel: float = texel) -> Any:
            figure = log.cut(board.points(a, b, np.zeros((1, 1))), texel=texel)
            return apply_finish(figure, finish, 7, texel, Place(10.0, 20.0, (600.0, 500.0)))

        fast, slow = both(monkeypatch, make)
        assert np.abs(fast.rgb - slow.rgb).max() < 2e-3 and np.abs(fast.rgb - slow.rgb).mean() < 1e-5
        assert np.abs(fast.relief - slow.relief).max() < 1e-2 and np.abs(fast.relief - slow.relief).mean() < 1e-5
        assert np.allclose(fast.ring, slow.ring, atol=1e-3)

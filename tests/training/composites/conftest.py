"""Wood figure made from a procedural log, shared by the tests of composites."""

from __future__ import annotations

import numpy as np
import pytest

from training.composites.figures import Figure
from training.figure.cuts import Board
from training.figure.log import Log


def cut_figure(species: str, seed: int, width: int = 1000, height: int = 480, distance: float = 120.0) -> Figure:
    """A flat-sawn face, grain along x, 2 px a millimetre."""
    log = Log(species, seed, knots=3.0)
    board = Board(log, distance, 0.4, 0.3, (0.0, 0.01), 0.0)
    a, b = (np.arange(width) - width / 2) / 2, (np.arange(height) - height / 2) / 2
    rgb = log.cut(board.points(a[None, :], b[:, None], np.zeros((1, 1))), texel=0.5).rgb
    return Figure(np.round(rgb * 255).astype(np.uint8), f"author {seed % 3}", f"{species} {seed}", "plain")


@pytest.fixture(scope="session")
def figures() -> list[Figure]:
    return [cut_figure("pine_like", 3), cut_figure("red_oak_like", 5), cut_figure("pine_like", 8)]

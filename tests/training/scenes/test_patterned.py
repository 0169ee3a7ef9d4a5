"""Veneer laid to patterns: every place is covered once, mirrored pieces mirror, frames follow the border."""

from __future__ import annotations

import numpy as np
import pytest

from training.figure.cuts import saw_board
from training.figure.log import Log
from training.figure.patterned import PATTERNS, cut_pattern, lay_pattern

SIZE = (520.0, 340.0)


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def grid(texel: float = 2.0) -> tuple[np.ndarray, np.ndarray]:
    x, y = ((np.arange(round(s / texel)) + 0.5) * texel - s / 2 for s in SIZE)
    return x, y


@pytest.mark.parametrize("name", sorted(PATTERNS))
def test_pieces_cover_the_panel_and_hardly_overlap(name: str) -> None:
    x, y = grid()
    pieces = PATTERNS[name](*SIZE, rng(5))
    times = sum(p.covers(x, y).astype(int) for p in pieces)
    assert (times >= 1).all()
    assert (times > 1).mean() < 0.02


@pytest.mark.parametrize(("name", "flips"), [("four_way", (0, 1)), ("diamond", (0, 1)), ("reverse_diamond", (0, 1))])
def test_leaves_mirror_over_the_middle_lines(name: str, flips: tuple[int, int]) -> None:
    x, y = grid()
    for piece_a in PATTERNS[name](*SIZE, rng(5)):
        at = np.argwhere(piece_a.covers(x, y))
        row, col = at[len(at) // 3]
        place = np.array([x[col], y[row], 1.0])
        for axis in flips:
            other = place * np.array([-1.0 if axis == 0 else 1.0, -1.0 if axis == 1 else 1.0, 1.0])
            mates = [q for q in PATTERNS[name](*SIZE, rng(5)) if q.covers(other[:1], other[1:2]).all()]
            assert mates
            np.testing.assert_allclose(mates[-1].to_leaf @ other, piece_a.to_leaf @ place, atol=1e-6)


def test_neighbouring_wedges_agree_on_their_common_ray() -> None:
    pieces = PATTERNS["radial"](*SIZE, rng(3))
    count = len(pieces)
    for k, piece in enumerate(pieces):
        mate = pieces[(k + 1) % count]
        nx, ny, _ = mate.sides[0]
        ray = np.array([ny, -nx]) * 100.0  # along the first border of the next wedge
        place = np.array([*ray, 1.0])
        np.testing.assert_allclose(piece.to_leaf @ place, mate.to_leaf @ place, atol=1e-6)


def test_a_framed_panel_shows_its_line_all_round() -> None:
    framed = next(p for s in range(60) if (p := lay_pattern("radial", SIZE, rng(s))).line_mm > 0)
    x, y = grid(1.0)
    board = saw_board(Log("maple_like", 3), "flat", rng())
    dark = cut_pattern(board, framed, SIZE, x, y, 1.0)
    plain = cut_pattern(board, lay_pattern("radial", SIZE, rng(next(s for s in range(60) if lay_pattern(
        "radial", SIZE, rng(s)).inset == 0))), SIZE, x, y, 1.0)
    row = round(framed.inset)
    changed = np.abs(dark.rgb[row, 60:-60] - framed.line_tone * np.array([1.0, 0.86, 0.66])).mean()
    assert changed < 0.12
    assert dark.rgb.shape == plain.rgb.shape == (len(y), len(x), 3)


def test_seams_are_darker_than_the_leaves_beside_them() -> None:
    x, y = grid(1.0)
    pattern = lay_pattern("squares", SIZE, rng(next(s for s in range(60) if lay_pattern("squares", SIZE, rng(s)).inset == 0)))
    figure = cut_pattern(saw_board(Log("birch_like", 3), "flat", rng()), pattern, SIZE, x, y, 1.0)
    columns = figure.rgb.mean(axis=(0, 2))
    edge = min({float(s[2]) for p in pattern.pieces for s in p.sides if s[0] == 1.0} - {-SIZE[0] / 2}, key=abs)
    at = round(edge + SIZE[0] / 2)
    assert columns[at - 1:at + 2].min() < 0.97 * np.median(columns[at - 12:at + 12])

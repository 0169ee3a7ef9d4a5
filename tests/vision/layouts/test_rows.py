"""Streaks of the row similarity matrix: known mirror axes and pitches, straight grain as the null, SciPy beside it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import fftconvolve

from tests.vision.layouts.patterns import picture, straight, view_of, wandering
from vision.layouts.frame import Frame, make_frame
from vision.layouts.rows import _SKIP, Streaks, _streak_sums, find_mirrors, find_streaks


def streaks_of(grey: np.ndarray) -> tuple[Frame, Streaks]:
    frame = make_frame(view_of(picture(grey)), 0.0)
    found = find_streaks(frame)
    assert found is not None
    return frame, found


@pytest.mark.parametrize("axis", [150, 210, 260])
def test_mirror_axis_is_found_where_it_is(axis: int) -> None:
    leaf = wandering(300, 480, 3)
    sheet = np.vstack([leaf[::-1][300 - axis:], leaf[:420 - axis]])
    frame, s = streaks_of(sheet)
    best = int(s.mirror_z.argmax())
    assert s.mirror_z[best] > 8 and s.mirror_r[best] > 0.6
    assert abs(frame.point(0, best / 2)[1] - (axis - 0.5)) < 0.01 * 420
    # outside check: the axis by SciPy's convolution of every column of the same figure with itself
    own = fftconvolve(frame.figure, frame.figure, axes=0).sum(1)
    overlap = np.minimum(np.arange(len(own)) + 1, len(own) - np.arange(len(own)))
    scored = np.where(overlap > 60, own / overlap, 0)
    assert abs(int(scored.argmax()) - best) <= 4


@pytest.mark.parametrize("leaf", [70, 105, 140])
def test_pitch_of_repeated_leaves(leaf: int) -> None:
    one = wandering(leaf, 480, 5)
    frame, s = streaks_of(np.vstack([one] * (420 // leaf)))
    best = int(s.repeat_z.argmax())
    assert s.repeat_z[best] > 8
    pitch = best * frame.scale
    assert abs(pitch / leaf - round(pitch / leaf)) < 0.05


def test_straight_grain_and_plain_figure_give_no_streak() -> None:
    for seed in range(6):
        _, s = streaks_of(straight(400, 480, seed))
        assert not ((s.mirror_z > 7) & (s.mirror_r > 0.3)).any()
        _, s = streaks_of(wandering(400, 480, 20 + seed))
        assert not ((s.mirror_z > 7) & (s.mirror_r > 0.3)).any()
        assert not ((s.repeat_z > 8) & (s.repeat_r > 0.3)).any()


def test_mirrored_straight_grain_is_not_claimed() -> None:
    leaf = straight(200, 480, 9, noise=0.0)
    _, s = streaks_of(np.vstack([leaf[::-1], leaf]) + np.random.default_rng(0).normal(0, 0.02, (400, 480)))
    assert not ((s.mirror_z > 7) & (s.mirror_r > 0.3)).any()


@pytest.mark.parametrize("rows", [34, 47])
def test_sums_along_streaks_are_those_of_plain_loops(rows: int) -> None:
    grams = np.random.default_rng(rows).normal(size=(3, rows, rows)).astype(np.float32)
    for span, (at, total) in _streak_sums(grams).items():
        by_hand = {}
        for k in range(2 * rows - 1):
            above = [(k - 1) // 2 - _SKIP - j for j in range(span)]
            if above[-1] >= 0 and k - above[-1] < rows:
                by_hand[k] = sum(grams[:, y, k - y].astype(float) for y in above)
        assert sorted(by_hand) == sorted(at.tolist())
        assert np.allclose(total, np.stack([by_hand[k] for k in at], axis=1), atol=1e-4)


def test_mirrors_alone_are_those_of_all_streaks() -> None:
    leaf = wandering(200, 300, 8)
    frame, s = streaks_of(np.vstack([leaf[::-1], leaf]))
    alone = find_mirrors(frame)
    assert alone is not None and np.array_equal(alone[0], s.mirror_z) and np.array_equal(alone[1], s.mirror_r)

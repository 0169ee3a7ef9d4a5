"""Lines between strips, and what lies at them, on drawn boards whose joints are known."""

from __future__ import annotations

import numpy as np
import pytest

from tests.vision.cues_seen.boards_made import JOINTS, SHAPE, boards, grain, view_of
from vision.cues_seen.strip_boundary import read_boundary
from vision.cues_seen.strip_lines import find_lines, responses

STEPS = (0.0, 0.16, -0.1, 0.1)


def read(rgb, direction=0.0):
    view = view_of(rgb)
    found = (read_boundary(view, line) for line in find_lines(view, direction))
    return [b for b in found if b is not None]


def rows_of(boundaries):
    return sorted((b.line.p0[1] + b.line.p1[1]) / 2 for b in boundaries)


def test_gaps_are_found_where_they_are_and_as_dark_as_they_are():
    for seed in range(3):
        found = read(boards(seed, gap=0.3))
        assert rows_of(found) == pytest.approx(JOINTS, abs=2)
        assert all(b.line.kind == "dark" and not b.bare for b in found)
        assert [b.gap for b in found] == pytest.approx([0.3] * 3, abs=0.06)
        assert max(b.step for b in found) < 0.03


def test_a_step_of_tone_without_gap_is_bare():
    found = read(boards(1, steps=STEPS))
    assert rows_of(found) == pytest.approx(JOINTS, abs=2)
    assert all(b.bare and b.gap < 0.03 for b in found)
    wanted = dict(zip(JOINTS, np.abs(np.diff(STEPS)), strict=True))
    for b in found:
        near = min(JOINTS, key=lambda j: abs(j - b.line.p0[1]))
        assert b.step == pytest.approx(wanted[near], abs=0.05)


def test_a_step_with_a_gap_is_not_bare():
    found = read(boards(2, steps=STEPS, gap=0.35))
    assert len(found) == 3 and not any(b.bare for b in found) and min(b.gap for b in found) > 0.2


def test_one_board_has_no_lines():
    assert [len(read(boards(seed))) for seed in range(4)] == [0] * 4


def test_wander_grows_with_how_far_a_joint_strays():
    straight, astray = (np.mean([b.wander for b in read(boards(4, gap=0.35, jitter=j))]) for j in (0.0, 1.2))
    assert straight < 0.3 and astray > 2.5 * straight


def test_joints_that_lean_are_followed():
    rgb = boards(5, gap=0.35)
    tilted = np.stack([np.roll(rgb[:, x], round((x - SHAPE[1] / 2) * np.tan(np.radians(5))), axis=0) for x in range(SHAPE[1])], 1)
    found = read(tilted)
    assert len(found) >= 2
    for b in found:
        rise = abs(b.line.p1[1] - b.line.p0[1]) / (b.line.p1[0] - b.line.p0[0])
        assert np.degrees(np.arctan(rise)) == pytest.approx(5, abs=1.2)


def test_a_drawn_dark_line_fools_it():
    """A line of ink of a gap's width reads as a gap: known, and said so in the words of the finding."""
    inked = boards(6)
    for joint in JOINTS:
        inked[joint - 1:joint + 2] *= 0.7
    real, drawn = read(boards(6, gap=0.3)), read(inked)
    assert len(drawn) == 3 and np.mean([b.gap for b in drawn]) == pytest.approx(np.mean([b.gap for b in real]), abs=0.05)


def test_a_line_over_half_the_length_does_not_run_through():
    rgb = boards(7)
    rgb[179:182, : SHAPE[1] // 2] *= 0.7
    assert read(rgb) == []


def test_responses_tell_a_line_from_a_step():
    tone = np.full((1, 40, 3), 60.0, np.float32)
    tone[0, 20:, 0] += 10
    known = np.ones((1, 40), bool)
    line, step, usable = responses(tone, known)
    assert np.abs(line[usable]).max() < 1e-5 and step[0, :, 0].max() == pytest.approx(10, abs=0.1)
    tone[0, 20:, 0] -= 10
    tone[0, 20, 0] = 50
    line, step, _ = responses(tone, known)
    assert line[0, 20] == pytest.approx(-10) and np.abs(step).max() < 3.5


def test_small_and_empty_views_give_nothing():
    tiny = view_of(np.full((20, 30, 3), 120.0))
    assert find_lines(tiny, 0.0) == ()
    assert find_lines(view_of(np.full((*SHAPE, 3), 130.0)), 30.0) == ()
    assert np.isfinite(grain(np.random.default_rng(0))).all()

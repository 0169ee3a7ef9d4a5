"""Drawn panels with hardware: the same seed the same picture, truth where it was drawn, traps that are no truth."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from training.hardware import glass, grips, things
from training.hardware.make import LAYOUTS, LONG_PX, UNKNOWN, make
from training.hardware.match import is_one, label_of, matched, overlap
from training.hardware.shade import Canvas, Light, box, window
from training.hardware.traps import TRAPS
from vision.hardware.gather import Candidate
from vision.hardware.kinds import SEEN
from vision.hardware.read import Thing


def face(seed: int, size: tuple[int, int] = (300, 420)) -> np.ndarray:
    rng = np.random.default_rng(seed)
    grey = 150 + 12 * rng.normal(0, 1, (size[0], 1)) + rng.normal(0, 3, size)
    return np.clip(grey[..., None] * np.array([1.0, 0.8, 0.6]), 0, 255).astype(np.uint8)


FACES = [face(1), face(2)]


def canvas(size: tuple[int, int] = (300, 400)) -> Canvas:
    rgb = np.full((*size, 3), 0.55, np.float32) * np.array([1.0, 0.8, 0.6], np.float32)
    return Canvas(rgb, np.zeros(size, np.uint8), Light(0.3, -0.6, 0.74, 0.6))


def test_the_same_seed_gives_the_same_picture() -> None:
    one, two = make(7, FACES), make(7, FACES)
    assert np.array_equal(one.pixels, two.pixels) and np.array_equal(one.labels, two.labels)
    assert max(one.pixels.shape[:2]) == LONG_PX


@pytest.mark.parametrize("layout", LAYOUTS)
def test_truth_lies_under_its_labels(layout: str) -> None:
    for seed in (3, 4):
        p = make(seed, FACES, layout)
        assert p.labels.shape == p.pixels.shape[:2]
        assert layout != "nothing" or not p.truth
        for kind, hull in p.truth:
            x, y = np.round(hull.mean(axis=0)).astype(int)
            # a later thing may lie on an earlier one
            assert p.labels[y, x] in (1 + SEEN.index(kind), UNKNOWN) or len(p.truth) > 1


def test_grounds_may_be_narrow() -> None:
    assert make(11, [face(3, (9, 400)), face(4, (400, 7))]).pixels.size


DRAWN = [grips.draw_knob, grips.draw_pull, grips.draw_hollow, things.draw_keyhole, things.draw_screw, things.draw_hinge]


@pytest.mark.parametrize("draw", DRAWN)
def test_every_thing_marks_itself_about_its_place(draw) -> None:
    c = canvas()
    assert draw(c, 200.0, 150.0, 1.6, np.random.default_rng(5))
    kind, hull = c.truth[0]
    assert np.abs(hull.mean(axis=0) - [200, 150]).max() < 60
    assert (c.labels == kind).sum() > 20
    assert np.abs(c.rgb - canvas().rgb).max() > 0.1


@pytest.mark.parametrize("kind", list(grips.PULL_KINDS))
def test_every_kind_of_pull_is_drawn_where_it_is_asked_for(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(grips, "PULL_KINDS", {kind: 1.0})
    for seed in range(3):
        c = canvas()
        assert grips.draw_pull(c, 200.0, 150.0, 1.2, np.random.default_rng(seed))
        (number, _), = c.truth
        assert number == things.PULL
        changed = np.abs(c.rgb - canvas().rgb).max(axis=2) > 0.02
        assert changed[c.labels == number].mean() > 0.2


@pytest.mark.parametrize("side", [-1, 1])
def test_a_concealed_hinge_lies_on_its_own_side_of_the_edge(side: int) -> None:
    c = canvas()
    assert things.draw_cup_hinge(c, 200.0, 150.0, 1.5, np.random.default_rng(3), side)
    _, hull = c.truth[0]
    assert side * (hull[:, 0].mean() - 200) > 0


def test_a_pane_fills_its_frame_and_only_that() -> None:
    drawn_any = False
    for seed in range(8):
        c = canvas()
        if glass.draw_glass(c, np.random.default_rng(seed), np.full((200, 200, 3), 0.2, np.float32)):
            drawn_any = True
            (number, _), = c.truth
            assert number == things.GLASS
            outside = cv2.dilate((c.labels == number).astype(np.uint8), np.ones((31, 31), np.uint8)) == 0
            assert np.abs(c.rgb - canvas().rgb)[outside].max() < 1e-6 if outside.any() else True
    assert drawn_any


def test_a_prism_seen_aslant_covers_its_foot_and_its_top() -> None:
    win = window(canvas(), 200, 150, 80)
    body = grips.extruded(win, lambda a, b: box(win, a, b, (10.0, 10.0)), (190.0, 150.0), (230.0, 160.0))
    inside = {(x, y) for x, y in zip(win.x[body < 0].tolist(), win.y[body < 0].tolist(), strict=True)}
    assert {(190, 150), (230, 160), (210, 155)} <= inside and (190, 170) not in inside


def test_a_hole_is_dark_and_a_knob_casts_a_shadow_away_from_the_lamp() -> None:
    c = canvas()
    things.draw_hole(c, 200.0, 150.0, 6.0, np.random.default_rng(1))
    assert c.rgb[150, 200].mean() < 0.6 * canvas().rgb[0, 0].mean()
    c = canvas()
    grips.draw_knob(c, 200.0, 150.0, 1.5, np.random.default_rng(2))
    free = c.labels == 0
    below, above = np.zeros_like(free), np.zeros_like(free)
    below[160:240, 150:250], above[60:140, 150:250] = True, True
    # the lamp is above
    assert c.rgb[free & below].mean() < c.rgb[free & above].mean() - 0.003


@pytest.mark.parametrize("name", list(TRAPS))
def test_traps_change_the_picture_and_leave_no_truth(name: str) -> None:
    c = canvas()
    TRAPS[name](c, 180.0, 140.0, np.random.default_rng(9))
    assert not c.truth and not c.labels.any()
    assert np.abs(c.rgb - canvas().rgb).max() > 0.005


def test_overlap_of_squares() -> None:
    """Closed form: two unit squares shifted by half share a third of their union."""
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)
    assert overlap(square, square + np.array([0.5, 0])) == pytest.approx(1 / 3)
    assert is_one(square * 10, square * 10) and not is_one(square * 10, square * 10 + 30)


def test_a_thin_bar_found_a_little_off_is_the_bar() -> None:
    """Half its height off is within a cell of the net's answer; twice its height is not."""
    bar, down = np.array([[0, 0], [60, 0], [60, 3], [0, 3]], float), np.array([0.0, 1.0])
    assert overlap(bar, bar + 2 * down) < 0.35 and is_one(bar, bar + 2 * down)
    assert not is_one(bar, bar + 6 * down)


def test_each_truth_counts_once_and_only_for_its_kind() -> None:
    p = make(4, FACES, "missing")
    assert p.missing is not None
    kind, hull = p.truth[0]
    middle = (float(hull[:, 0].mean()), float(hull[:, 1].mean()))
    right, wrong = (Thing(k, 0.9, hull, middle, float(np.ptp(hull))) for k in (kind, "knob"))
    places, taken = matched([right, right, wrong], p)
    assert places == [0, -1, -1] and taken[0]


def test_labels_of_what_may_be_seen() -> None:
    p = make(4, FACES, "missing")
    kind, hull = p.truth[0]
    middle = (float(hull[:, 0].mean()), float(hull[:, 1].mean()))
    assert label_of(Candidate(hull, middle, 5.0, {}), p) == 1 + SEEN.index(kind)
    around = np.array([[0, 0], [500, 0], [500, 500], [0, 500]], float)
    assert label_of(Candidate(around, (1.0, 1.0), 500.0, {}), p) == 0  # holds a thing and is none
    away = np.array([[2, 2], [9, 2], [9, 9], [2, 9]], float)
    assert label_of(Candidate(away, (5.0, 5.0), 7.0, {}), p) == 0

"""Several views of one board: truth lies where each is drawn, seeds repeat, the first is the picture of its own."""

from __future__ import annotations

import queue
from dataclasses import replace

import cv2
import numpy as np
import pytest

from training.edge_net import reading_ahead
from training.edges import make, paints, view
from training.edges.boards import make_board


@pytest.mark.parametrize("name", ["veneer_plywood", "books"])
def test_first_view_is_the_picture_itself_and_the_others_differ(name):
    views, again = (make.make_views(name, "angled", 6, (), 3) for _ in range(2))
    assert len(views) == 3
    assert np.array_equal(views[0].pixels, make.make_edge(name, "angled", 6).pixels)
    for one, two in zip(views, again, strict=True):
        assert np.array_equal(one.pixels, two.pixels) and np.array_equal(one.truth.outline, two.truth.outline)
    assert not np.array_equal(views[1].truth.outline, views[0].truth.outline)
    assert {v.truth.build for v in views} == {name} and {v.truth.plies for v in views} == {views[0].truth.plies}


def test_later_views_draw_the_edge_where_their_truth_says(monkeypatch):
    """A white face over a black narrow side: inside every outline it is dark, beyond the arris light."""
    white, black = paints.plain((1.0, 1.0, 1.0), "melamine", 1), paints.plain((0.03, 0.03, 0.03), "melamine", 2)
    build = make_board("bare_fibre", np.random.default_rng(2))
    build = replace(build, face=white, strip=black, third=white, under=white, gloss=0.0)
    pose = view.Pose(30.0, 10.0, 2.0, 3.0, (0.0, 0.0, 0.0), 3.0, (600, 320))
    kept, paint, drawn = make.Seen({}), view.painted, []
    monkeypatch.setattr(view, "painted", lambda side, window: drawn.append(side.name) or paint(side, window))
    assert make.take(build, pose, "close", 1, np.random.default_rng(3), kept) is not None
    first = len(drawn)
    for k in range(4):
        rng = np.random.default_rng([8, k])
        picture = make.take(build, make._moved(build, pose, "close", rng), "close", 1, rng, kept)
        assert picture is not None
        grey = cv2.cvtColor(picture.pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
        inside = cv2.fillPoly(np.zeros(grey.shape, np.uint8), [np.round(picture.truth.outline).astype(np.int32)], 1)
        inside = cv2.erode(inside, np.ones((9, 9))) > 0
        (x0, y0), (x1, y1) = picture.truth.arris
        up = np.mean(picture.truth.arris, axis=0) - np.mean(picture.truth.lower, axis=0)
        x, y = np.round(np.array([(x0 + x1) / 2, (y0 + y1) / 2]) + 9 * up / np.hypot(*up)).astype(int)
        assert np.percentile(grey[inside], 95) < 0.5 * float(grey[y - 2:y + 3, x - 2:x + 3].mean())
    # most of what was painted for earlier views served the others
    assert first >= 2 and len(drawn) - first <= 2 * first


def test_a_trap_turned_over_keeps_its_outline_on_its_band():
    scene = np.zeros((300, 500, 3), np.float32)
    outline = np.array([[40.0, 120], [460, 130], [460, 180], [40, 170]])
    cv2.fillConvexPoly(scene, outline.astype(np.int32), (1.0, 1.0, 1.0))
    for seed in range(8):
        turned, points = make._otherwise(scene, outline, np.random.default_rng(seed))
        mask = cv2.fillConvexPoly(np.zeros((300, 500), np.uint8), np.round(points).astype(np.int32), 1) > 0
        lit = turned[..., 0] > 0.2
        assert (mask & lit).sum() > 0.95 * (mask | lit).sum()
        # clockwise on the screen from the upper left, as the traps draw it
        assert points[0, 1] < points[3, 1] and points[0, 0] < points[1, 0]


def test_reading_ahead_hands_on_everything_in_order():
    source: queue.Queue[int] = queue.Queue()
    for k in range(50):
        source.put(k)
    ready = reading_ahead(source, room=4)
    assert [ready.get(timeout=5) for _ in range(50)] == list(range(50))

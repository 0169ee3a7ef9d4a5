"""Labels stay in the picture and never touch; lines are cut into dashes of the right length."""

from itertools import combinations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.evidence.bands import dashes
from vision.evidence.placement import MARGIN, Board, Box

sizes = st.tuples(st.integers(20, 150), st.integers(15, 80), st.integers(-50, 450), st.integers(-50, 350))


@settings(max_examples=60, deadline=None)
@given(st.lists(sizes, min_size=1, max_size=14))
def test_labels_are_inside_and_apart(labels):
    board = Board(300, 400)
    boxes = [b for w, h, x, y in labels if (b := board.place(w, h, (x, y))) is not None]
    assert boxes  # the first always fits
    for b in boxes:
        assert b.x >= MARGIN and b.x + b.width <= 400 - MARGIN and b.y >= MARGIN and b.y + b.height <= 300 - MARGIN
    for a, b in combinations(boxes, 2):
        assert not a.overlaps(b, MARGIN)


def test_a_free_wish_is_granted_to_the_pixel():
    box = Board(300, 400).place(100, 40, (201, 133))
    assert box == Box(151, 113, 100, 40)


def test_liked_ground_draws_and_avoided_ground_repels():
    liked = np.zeros((300, 400), bool)
    liked[200:280, 20:180] = True
    box = Board(300, 400).place(100, 40, (300, 60), liked=liked)
    assert liked[box.y : box.y + box.height, box.x : box.x + box.width].all()
    avoided = np.zeros((300, 400))
    avoided[:, :200] = 5
    box = Board(300, 400).place(80, 40, (150, 100), avoided=avoided)
    assert box.x >= 200 - 12


def test_no_room_and_out_of_reach_are_none():
    board = Board(100, 100)
    assert board.place(200, 20, (50, 50)) is None
    board.take(Box(0, 0, 100, 100))
    assert board.place(20, 20, (50, 50)) is None
    assert Board(300, 400).place(40, 40, (-500, 0), reach=100) is None


def test_overlap_is_symmetric_and_counts_the_margin():
    a, b = Box(0, 0, 10, 10), Box(12, 0, 10, 10)
    assert not a.overlaps(b) and a.overlaps(b, 3) and b.overlaps(a, 3) and not a.overlaps(b, 2)


@settings(max_examples=60, deadline=None)
@given(st.floats(1, 20), st.floats(1, 20), st.integers(0, 1000))
def test_dashes_cover_their_share_of_the_line(on, off, seed):
    turns = np.random.default_rng(seed).uniform(20, 60, (6, 2))
    line = np.cumsum(turns, axis=0)
    total = np.linalg.norm(np.diff(line, axis=0), axis=1).sum()
    pieces = dashes(line, (on, off))
    lengths = [np.linalg.norm(np.diff(p, axis=0), axis=1).sum() for p in pieces]
    assert all(abs(x - on) < 1e-6 for x in lengths[:-1]) and lengths[-1] <= on + 1e-6
    full, left = divmod(total, on + off)
    assert abs(sum(lengths) - (full * on + min(left, on))) < 1e-6

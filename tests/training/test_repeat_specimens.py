"""Lines about repeats on specimens: one surface seen twice and coincidence are left out; the place is said."""

import numpy as np

from training.repeat_specimens import line, told
from vision.repeats.repeat import HYPOTHESES, Repeat
from vision.repeats.sheet import Sheet

SQUARE = ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0))


def repeat(a, b, same=False, **nats):
    return Repeat(a, b, np.eye(3), "shift", SQUARE, SQUARE, 9, np.eye(2), 1.0, {}, {h: nats.get(h, -9.0) for h in HYPOTHESES},
                  same_surface=same)


def sheet(photo, panel):
    return Sheet(photo, panel, np.zeros((9, 9, 3), np.uint8), np.ones((9, 9), bool), np.eye(3))


def test_only_what_counts_is_told():
    clear, chance, same = repeat(0, 1, slip=3.0), repeat(0, 1, coincidence=2.0), repeat(0, 1, True, exact_copy=8.0)
    assert told([clear, chance, same]) == [clear]


def test_the_line_says_where():
    sheets = [sheet("p", "x"), sheet("p", "y"), sheet("q", "z")]
    assert "x and y, on one photo, shift: slip" in line(sheets, repeat(0, 1, slip=3.0))
    assert "on two photos" in line(sheets, repeat(0, 2, slip=3.0))
    assert "on one panel" in line(sheets, repeat(1, 1, slip=3.0))

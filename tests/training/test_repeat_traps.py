"""Counting of false alarms: exact intervals, disjoint pairs, and trials whose truth is what they claim."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binomtest

from training import trap_scenes as scenes
from training.repeat_traps import Specimen, Trial, disjoint_pairs, exact_interval, measure, outcome, table


def _specimen(author: str, name: str) -> Specimen:
    face = scenes.board_face("maple_like", "flat", 1, 60, 40)
    return Specimen(author, name, "solid_wood", scenes.sheet(face, name, name), face, "plain", False)


@pytest.mark.parametrize(("hits", "trials"), [(0, 300), (1, 300), (3, 40), (40, 40)])
def test_interval_is_that_of_scipy(hits, trials):
    want = binomtest(hits, trials).proportion_ci(0.95, method="exact")
    assert exact_interval(hits, trials) == pytest.approx((want.low, want.high), abs=1e-9)


def test_no_specimen_is_used_twice_and_authors_differ():
    many = [_specimen(f"author {k % 4}", f"s{k}") for k in range(17)]
    pairs = disjoint_pairs(many, np.random.default_rng(0))
    used = [s.name for p in pairs for s in p]
    assert len(pairs) == 8
    assert len(used) == len(set(used))
    assert all(a.author != b.author for a, b in pairs)
    assert disjoint_pairs([_specimen("one", "a"), _specimen("one", "b")], np.random.default_rng(0)) == []


def test_rows_count_trials_specimens_and_authors():
    sheet = _specimen("a", "s").sheet
    trials = [Trial("x", (sheet,), (("a", "1"), ("b", "2"))), Trial("x", (sheet,), (("a", "1"), ("c", "3"))),
              Trial("y", (sheet, sheet), (("d", "4"),))]
    rows = measure(iter(trials), judge=lambda sheets: len(sheets) - 1)
    assert [(r.trap, r.trials, r.alarms, r.specimens, r.authors, r.authors_with_alarm) for r in rows] == [
        ("x", 2, 0, 3, 3, 0), ("y", 1, 1, 1, 1, 1), ("all", 3, 1, 4, 4, 1)]
    assert rows[2].low < 1 / 3 < rows[2].high
    assert table(rows).count("\n") == 4
    assert outcome("z", []).high == 1.0


def test_scenes_lie_on_the_photo_where_they_say():
    """The part of a nested panel lands on the photo where the whole shows the same pixels."""
    face = scenes.board_face("pine_like", "flat", 5, 400, 240)
    whole, part = scenes.nested(face, np.random.default_rng(2), "none")
    corner = part.photo_points(np.array([[20.0, 20.0], [60.0, 50.0]]))
    on_whole = np.linalg.inv(whole.to_photo) @ np.c_[corner, np.ones(2)].T
    for (x, y), (u, v) in zip(np.rint(on_whole[:2].T).astype(int), [(20, 20), (60, 50)], strict=True):
        patch = [np.asarray(s.pixels[b - 3 : b + 4, a - 3 : a + 4], float) for s, a, b in ((whole, x, y), (part, u, v))]
        assert np.abs(patch[0] - patch[1]).max() <= 1


def test_the_same_fittings_lie_at_the_same_places():
    plain = [np.full((200, 400, 3), tone, np.uint8) for tone in (120, 150)]
    one, two = scenes.with_fittings(plain, np.random.default_rng(4))
    changed = [np.abs(s.astype(int) - p).max(axis=2) > 40 for s, p in ((one, plain[0]), (two, plain[1]))]
    assert changed[0].any()
    assert (changed[0] & changed[1]).sum() > 0.5 * (changed[0] | changed[1]).sum()
    with pytest.raises(ValueError, match="unknown hardware"):
        scenes.hardware("spoon", 20, np.random.default_rng(0))

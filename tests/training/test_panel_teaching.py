"""Teaching and judging panel finding: no author on both sides, figures by hand, a head that learns what it is shown."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import Point, Polygon

from training import finding_scores, surface_head
from training.finding_scores import PhotoScore
from training.panel_photos import cell_mask, outline_of
from training.surface_head import Examples
from vision.panels import cells
from vision.panels.surface import SurfaceHead, shipped_head

COLUMNS = sum(cells.MAP_CHANNELS.values()) + len(cells.CUE_NAMES)


def examples(seed: int, count: int = 60) -> Examples:
    """Outlines of 10 cells each; furniture is shifted along one direction, each outline has a place of its own."""
    rng = np.random.default_rng(seed)
    direction = np.random.default_rng(7).normal(size=COLUMNS)
    kind = np.repeat(np.arange(count) % 2, 10).astype(np.int8)
    own = np.repeat(rng.normal(size=(count, COLUMNS)), 10, axis=0)
    table = own + 0.3 * rng.normal(size=own.shape) + np.outer(kind, direction) * 0.8
    author = np.repeat([f"author {k % 6}" for k in range(count)], 10)
    return Examples(table.astype(np.float32), kind, np.repeat(np.arange(count), 10).astype(np.int32), author,
                    np.full(count * 10, 0.1))


def test_the_head_learns_and_survives_being_stored(tmp_path):
    head = surface_head.teach(examples(1))
    unseen = examples(2)
    likeness = head.likeness(head.reduce_rows(unseen.table))
    assert likeness[unseen.kind == 1].mean() > likeness[unseen.kind == 0].mean() + 0.4
    surface_head.save(head, tmp_path / "head.npz")
    with np.load(tmp_path / "head.npz", allow_pickle=False) as stored:
        again = SurfaceHead(**{name: stored[name].astype(np.float32) for name in SurfaceHead.__dataclass_fields__})
    assert np.abs(again.likeness(again.reduce_rows(unseen.table)) - likeness).max() < 0.02


def test_cells_of_one_outline_lie_close_in_the_learned_directions():
    head = surface_head.teach(examples(1))
    seen = examples(3)
    place = head.reduce_rows(seen.table) @ head.same
    within = np.linalg.norm(place[0::10] - place[1::10], axis=1).mean()
    between = np.linalg.norm(place[0:-10:10] - place[10::10], axis=1).mean()
    assert between > 1.5 * within


def test_shipped_head_fits_the_cells():
    head = shipped_head()
    assert head.centre.shape == (COLUMNS,) and head.basis.shape[0] == sum(cells.MAP_CHANNELS.values())
    assert head.surface.shape[0] == head.basis.shape[1] + len(cells.CUE_NAMES) + 1


def test_folds_part_authors():
    names = [f"a{k}" for k in range(23)] * 3
    fold = surface_head.folds(names, 5)
    assert set(fold) == set(names) and set(fold.values()) == set(range(5))
    assert surface_head.folds(list(reversed(names)), 5) == fold


def test_figures_are_means_over_specimens():
    one = PhotoScore("a", (("g1", 0.9), ("g1", 0.1), ("g2", 0.95)), (("g1", 1.0),), 1, 2, (0.2, 0.4))
    two = PhotoScore("b", (), (), 0, 1, (0.8,))
    found = finding_scores.figures([one, two])
    assert found["found: outline inside one panel"] == pytest.approx((0.5 + 1.0) / 2)
    assert found["tapped: outline inside the panel"] == 1.0
    assert found["background panels per photo"] == 0.5
    assert found["background panels per other outline"] == pytest.approx(1 / 3)
    assert found["panels per photo"] == 1.5
    assert found["share of photos with a panel over 70 %"] == 0.5
    low, high = finding_scores.intervals([one, two], rounds=50)["panels per photo"]
    assert low == 1.0 and high == 2.0


def test_the_tap_lies_inside_a_hollow_outline():
    outline = np.array([[0, 0], [100, 0], [100, 100], [90, 100], [90, 10], [10, 10], [10, 100], [0, 100]], float)
    assert Polygon(outline).contains(Point(finding_scores.tap_point(outline)))


def test_outline_on_the_cell_grid():
    outline = outline_of({"polygon": "0:0 800:0 800:300 0:300"})
    mask = cell_mask(outline, (800, 600), (60, 80))
    assert mask[:29].all() and not mask[32:].any()

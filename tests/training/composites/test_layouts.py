"""Made layouts have the geometry that they claim."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from shapely.geometry import Polygon
from skimage.feature import structure_tensor

from training.composites.figures import Figure
from training.composites.layouts import NAMES, LayoutTruth, make_layout
from training.composites.sheets import make_sheet
from training.repeat_baselines import band


@pytest.fixture(scope="module")
def straight() -> Figure:
    """Clear straight grain along x that varies along it too."""
    rng = np.random.default_rng(1)
    lines = cv2.GaussianBlur(rng.normal(0, 1, (700, 900)), (0, 0), sigmaX=25, sigmaY=1.6)
    grey = 140 + 45 * lines / lines.std()
    return Figure(np.clip(np.stack([grey, grey * 0.8, grey * 0.6], axis=2), 0, 255).astype(np.uint8), "g", "n", "plain")


@pytest.fixture(scope="module")
def blotched() -> Figure:
    """Figure coarse enough that a leaf's drift does not hide its mirror image."""
    rng = np.random.default_rng(2)
    grey = cv2.GaussianBlur(rng.normal(0, 1, (700, 900)), (0, 0), sigmaX=12, sigmaY=6)
    grey = 140 + 45 * grey / grey.std()
    return Figure(np.clip(np.stack([grey, grey * 0.8, grey * 0.6], axis=2), 0, 255).astype(np.uint8), "g", "n", "plain")


@pytest.mark.parametrize("name", NAMES)
def test_leaves_cover_the_panel_once(figures: list[Figure], name: str) -> None:
    truth = make_layout(figures, name, np.random.default_rng(7))
    h, w = truth.pixels.shape[:2]
    shapes = [Polygon(p) for p in truth.leaves]
    assert sum(s.area for s in shapes) == pytest.approx(h * w, rel=0.03)
    for i, one in enumerate(shapes):
        for other in shapes[i + 1 :]:
            assert one.intersection(other).area < 0.01 * h * w
    assert len(truth.grain) == len(truth.leaves)
    assert truth.pixels.dtype == np.uint8
    assert truth.wedges == (len(truth.leaves) if name == "sunburst" else 0)


def mirrored(truth: LayoutTruth, axis: np.ndarray, reach: float) -> float:
    """Correlation of the panel with its mirror image within `reach` px of the axis."""
    d = (axis[1] - axis[0]) / np.linalg.norm(axis[1] - axis[0])
    n = np.array([-d[1], d[0]])
    h, w = truth.pixels.shape[:2]
    flip = np.eye(3)
    flip[:2, :2] = np.eye(2) - 2 * np.outer(n, n)
    flip[:2, 2] = 2 * (axis[0] @ n) * n
    b = band(truth.pixels)
    other = cv2.warpPerspective(b, flip, (w, h), flags=cv2.INTER_LINEAR)
    y, x = np.mgrid[0:h, 0:w]
    p = np.stack([x, y], axis=2) - axis[0]
    near = (np.abs(p @ n) < reach) & (np.abs(p @ n) > 3) & (p @ d > 0.5 * np.linalg.norm(axis[1] - axis[0]))
    near &= (p @ d < 0.95 * np.linalg.norm(axis[1] - axis[0])) & (cv2.warpPerspective(np.ones((h, w)), flip, (w, h)) > 0.99)
    return float(np.corrcoef(b[near], other[near])[0, 1])


@pytest.mark.parametrize("name", ["centre_balance", "end", "sunburst", "diamond", "herringbone"])
def test_figure_mirrors_about_every_axis(blotched: Figure, name: str) -> None:
    scores, moved = [], []
    for seed in range(3):
        truth = make_layout(blotched, name, np.random.default_rng(seed))
        assert truth.axes
        scores += [mirrored(truth, a, 15.0) for a in truth.axes]
        moved += [mirrored(truth, a + np.array([9.0, 9.0]), 15.0) for a in truth.axes]
    assert np.median(scores) > 0.3
    assert np.median(scores) > np.median(moved) + 0.12


def test_no_axis_where_leaves_are_unrelated(figures: list[Figure]) -> None:
    for name in ("slip", "random", "boards", "parquet", "single"):
        assert make_layout(figures, name, np.random.default_rng(1)).axes == ()


@pytest.mark.parametrize("name", ["book", "box", "reverse_box", "diamond", "reverse_diamond", "sunburst", "herringbone",
                                  "parquet"])
def test_grain_runs_as_stated(straight: Figure, name: str) -> None:
    """Against scikit-image's structure tensor, in the middle of each leaf."""
    truth = make_layout(straight, name, np.random.default_rng(5))
    grey = cv2.cvtColor(truth.pixels, cv2.COLOR_RGB2GRAY).astype(float)
    rr, rc, cc = structure_tensor(grey, sigma=6)
    errors = []
    for polygon, grain in zip(truth.leaves, truth.grain, strict=True):
        inside = np.zeros(grey.shape, np.uint8)
        cv2.fillPoly(inside, [np.round(polygon).astype(np.int32)], 255)
        inside = cv2.erode(inside, np.ones((31, 31), np.uint8)) > 0
        if inside.sum() < 200:
            continue
        across = 0.5 * np.arctan2(2 * rc[inside].sum(), (cc[inside] - rr[inside]).sum())  # of the gradient, y down
        measured = (90 - np.rad2deg(across)) % 180
        errors.append(abs((measured - grain + 90) % 180 - 90))
    assert errors
    assert max(errors) < 6


def test_box_runs_along_the_edges_and_reverse_box_across(straight: Figure) -> None:
    for name, along in (("box", True), ("reverse_box", False)):
        truth = make_layout(straight, name, np.random.default_rng(2))
        assert truth.centre is not None
        for polygon, grain in zip(truth.leaves, truth.grain, strict=True):
            off = polygon.mean(axis=0) - truth.centre
            edge = 0.0 if abs(off[1]) > abs(off[0]) else 90.0  # top and bottom edges run level
            turned = abs((grain - edge + 90) % 180 - 90)
            assert (turned < 4) if along else (turned > 86)


def test_wedges_and_widths(figures: list[Figure]) -> None:
    counts = {make_layout(figures, "sunburst", np.random.default_rng(k)).wedges for k in range(6)}
    assert counts <= {6, 8, 10, 12, 14, 16} and len(counts) >= 3
    for k in range(3):
        assert len(make_layout(figures, "centre_balance", np.random.default_rng(k)).leaves) % 2 == 0
        assert len(make_layout(figures, "balance", np.random.default_rng(k)).leaves) % 2 == 1
    with pytest.raises(ValueError, match="unknown layout"):
        make_layout(figures, "patchwork", np.random.default_rng(0))


@pytest.mark.parametrize("kind", ["print", "rotary"])
def test_figure_recurs_at_the_stated_offset(figures: list[Figure], kind: str) -> None:
    for k in range(3):
        sheet = make_sheet(figures[:2], kind, np.random.default_rng(k))
        assert sheet.offset is not None
        b = band(sheet.pixels)
        h, w = b.shape
        dx, dy = sheet.offset
        moved = cv2.warpAffine(b, np.array([[1, 0, dx], [0, 1, dy]]), (w, h))
        known = cv2.warpAffine(np.ones_like(b), np.array([[1, 0, dx], [0, 1, dy]]), (w, h)) > 0.99
        wrong = cv2.warpAffine(b, np.array([[1, 0, dx * 0.93], [0, 1, dy * 0.93]]), (w, h))
        right = np.corrcoef(b[known], moved[known])[0, 1]
        assert right > (0.7 if kind == "print" else 0.1)
        assert right > np.corrcoef(b[known], wrong[known])[0, 1] + 0.05
    assert make_sheet(figures[0], "none", np.random.default_rng(0)).offset is None

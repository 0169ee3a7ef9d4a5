"""Regions from ideal maps, against scikit-image, shapely and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import Polygon
from skimage.measure import label, regionprops

from vision.damage.kinds import KINDS, UNDER_WORDS
from vision.damage.net import DamageMaps
from vision.damage.regions import EVIDENCE, NAMES, evidence, find_regions, joined_over, outline_of, probability


def ideal(layers: dict[str, NDArray[np.bool_]], shape: tuple[int, int] = (60, 90), sure: float = 0.9) -> DamageMaps:
    """Maps that say each kind with `sure` on its mask and sound elsewhere."""
    kinds = np.zeros((1 + len(KINDS), *shape), np.float32)
    for name, mask in layers.items():
        kinds[1 + NAMES.index(name), mask] = sure
    kinds[0] = 1 - kinds[1:].sum(axis=0)
    under = np.full((len(UNDER_WORDS), *shape), 1 / len(UNDER_WORDS), np.float32)
    return DamageMaps(kinds, under, np.ones(shape, bool), 2.5)


def box(y0: int, y1: int, x0: int, x1: int, shape: tuple[int, int] = (60, 90)) -> NDArray[np.bool_]:
    out = np.zeros(shape, bool)
    out[y0:y1, x0:x1] = True
    return out


def test_regions_are_the_labelled_parts() -> None:
    y, x = np.mgrid[0:60, 0:90]
    mask = ((x - 20) ** 2 + (y - 20) ** 2 < 100) | ((x - 60) ** 2 / 4 + (y - 40) ** 2 < 64) | box(2, 8, 70, 88)
    found = find_regions(ideal({"chip": mask}), 0.5)
    # skimage.measure.label and regionprops say how many parts and how large
    props = sorted((p.area for p in regionprops(label(mask, connectivity=2))), reverse=True)
    assert len(found) == len(props)
    for region, area in zip(found, props, strict=True):
        assert region.cells.sum() == pytest.approx(area, abs=0.04 * area)  # joining rounds corners
        assert region.area_share == pytest.approx(region.cells.sum() / (60 * 90))
        assert (
            region.kind == "chip"
            and region.damaged == pytest.approx(0.9, abs=1e-5)
            and region.share == pytest.approx(1.0, abs=1e-5)
        )


def test_parts_close_together_are_one_and_far_apart_two() -> None:
    near, far = box(10, 20, 10, 20) | box(10, 20, 22, 32), box(10, 20, 10, 20) | box(10, 20, 29, 39)
    assert len(find_regions(ideal({"stain": near}), 0.5)) == 1
    assert len(find_regions(ideal({"stain": far}), 0.5)) == 2


def test_strewn_kinds_are_joined_over_wider_gaps_but_never_over_another_kind() -> None:
    holes = box(10, 14, 10, 14) | box(10, 14, 19, 23)
    assert len(find_regions(ideal({"insect_holes": holes}), 0.5)) == 1
    assert len(find_regions(ideal({"chip": holes}), 0.5)) == 2
    both = find_regions(ideal({"insect_holes": holes, "crack": box(7, 17, 15, 18)}), 0.5)
    assert sorted(r.kind for r in both) == ["crack", "insect_holes", "insect_holes"]


def test_a_region_reaches_out_to_likely_cells_that_hang_on_sure_ones() -> None:
    maps = ideal({"stain": box(10, 20, 10, 20)})
    maps.kinds[1 + NAMES.index("stain"), 10:20, 20:26] = 0.45  # likely at 0.5, not sure
    maps.kinds[1 + NAMES.index("stain"), 40:50, 60:70] = 0.45  # the same with nothing sure beside it
    maps.kinds[0] = 1 - maps.kinds[1:].sum(axis=0)
    (found,) = find_regions(maps, 0.5)
    assert found.cells[12:18, 21:25].all() and not found.cells[40:50].any()
    assert found.filled == pytest.approx(100 / found.cells.sum()) and found.about < 0.2


def test_touching_kinds_are_told_apart_and_specks_left_out() -> None:
    maps = ideal({"chip": box(10, 30, 10, 30), "burn": box(10, 30, 30, 50), "mould": box(50, 51, 80, 82)})
    assert sorted(r.kind for r in find_regions(maps, 0.5)) == ["burn", "chip"]


def test_threshold_and_outside() -> None:
    maps = ideal({"crack": box(10, 14, 10, 60)}, sure=0.45)
    assert not find_regions(maps, 0.5) and len(find_regions(maps, 0.4)) == 1
    maps.inside[:] = False
    assert not find_regions(maps, 0.4)


def test_border_is_seen() -> None:
    assert find_regions(ideal({"chip": box(0, 6, 10, 20)}), 0.5)[0].at_border
    assert not find_regions(ideal({"chip": box(5, 12, 10, 20)}), 0.5)[0].at_border


@pytest.mark.parametrize("cells", [box(10, 22, 30, 55), box(0, 5, 0, 7), box(30, 33, 40, 44)])
def test_outline_encloses_the_area_of_its_cells(cells: NDArray[np.bool_]) -> None:
    # closed form: n cells of scale^2 each; shapely measures the polygon
    outline = Polygon(outline_of(cells, 2.5, (225, 150)))
    assert outline.is_valid
    assert outline.area == pytest.approx(cells.sum() * 2.5**2, rel=0.12)
    rows, cols = np.nonzero(cells)
    assert outline.centroid.x == pytest.approx((cols.mean() + 0.5) * 2.5 - 0.5, abs=0.8)
    assert outline.centroid.y == pytest.approx((rows.mean() + 0.5) * 2.5 - 0.5, abs=0.8)


def test_joining_is_closing_as_scipy_does_it() -> None:
    from scipy.ndimage import binary_closing

    rng = np.random.default_rng(4)
    mask = rng.random((40, 50)) < 0.2
    disc = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]], bool)
    expected = binary_closing(np.pad(mask, 2), structure=disc)[2:-2, 2:-2]
    assert np.array_equal(joined_over(mask, 1), expected)


def test_probability_is_the_logistic_of_its_rules() -> None:
    region = find_regions(ideal({"chip": box(10, 20, 10, 20)}), 0.5)[0]
    weights = dict(zip(EVIDENCE[:5], (0.5, 0.2, 0.1, 0.3, -0.4), strict=True))
    weights |= dict.fromkeys(EVIDENCE[5:], 0.0)
    rules = {"probability": {"offset": 0.25, "kinds": dict.fromkeys(NAMES, 0.0) | {"chip": 0.5}, "weights": weights}}
    expected = 0.75 + float(evidence(region)[:5] @ [0.5, 0.2, 0.1, 0.3, -0.4])
    assert probability(region, rules) == pytest.approx(1 / (1 + np.exp(-expected)))

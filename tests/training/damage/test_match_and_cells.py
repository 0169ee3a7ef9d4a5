"""Truth on cells, which found region answers which true one, and the fitted rules."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.vision.damage.test_regions import box, ideal
from training import damage_fit
from training.damage.cells import to_cells, weights
from training.damage.make import CODE_UNKNOWN, NAMES, Panel
from training.damage.match import TrueRegion, Truth, answers, counted_once, f1, pair, truth_of
from training.damage.parts import PARTS, fits, seed_of
from training.damage.tiles import TILE, tiles_of
from vision.damage.regions import RawRegion, find_regions


def _panel(
    labels: NDArray[np.uint8], under: NDArray[np.uint8] | None = None, marks: NDArray[np.uint8] | None = None
) -> Panel:
    rng = np.random.default_rng(0)
    pixels = rng.integers(0, 255, (*labels.shape, 3)).astype(np.uint8)
    none = np.zeros_like(labels)
    beneath, numbers = none if under is None else under, none if marks is None else marks
    return Panel(pixels, labels, beneath, {}, "solid", "solid_wood", "lumber", "g", 1.0, numbers)


def test_cells_take_the_damage_that_fills_a_quarter_of_them() -> None:
    labels = np.zeros((8, 8), np.uint8)
    labels[0, :4] = 3  # a quarter of the first cell
    labels[4, 4] = 5  # one pixel in sixteen: neither damaged nor sound
    labels[0, 7] = CODE_UNKNOWN
    kinds, known = to_cells(labels)
    assert kinds.tolist() == [[3, 0], [0, 0]] and known.tolist() == [[True, False], [True, False]]


def test_truth_has_a_region_for_each_part_and_its_beneath() -> None:
    labels, under = np.zeros((200, 300), np.uint8), np.zeros((200, 300), np.uint8)
    chip = NAMES.index("chip") + 1
    labels[20:60, 20:80] = chip
    labels[120:180, 200:280] = chip
    labels[100:103, 100:103] = chip  # a crumb
    under[20:60, 20:80] = 3
    truth = truth_of(_panel(labels, under))
    assert [r.kind for r in truth.regions] == ["chip", "chip"] and truth.regions[0].shows == "particles"
    assert truth.regions[0].cells.sum() == pytest.approx(40 * 60 / 16, rel=0.1) and truth.unknown[25, 25]


def test_a_drawn_damage_in_pieces_is_counted_once_and_so_is_what_is_found_on_it() -> None:
    labels, marks = np.zeros((200, 300), np.uint8), np.zeros((200, 300), np.uint8)
    worn, chip = NAMES.index("worn_through") + 1, NAMES.index("chip") + 1
    for x0 in (20, 100, 180):  # one arris worn in three places
        labels[0:16, x0 : x0 + 48] = worn
    labels[100:160, 100:180] = chip
    marks[labels == worn], marks[labels == chip] = 1, 2
    truth = truth_of(_panel(labels, marks=marks))
    assert sorted(r.kind for r in truth.regions) == ["chip", "worn_through", "worn_through", "worn_through"]
    assert sorted(r.kind for r in truth.drawn) == ["chip", "worn_through"]
    found = [_found("worn_through", truth.regions[k].cells) for k in range(4) if truth.regions[k].kind == "worn_through"]
    lost = truth.unknown & False
    lost[40:44, 5:9] = True
    merged, first = counted_once([*found, _found("worn_through", lost), _found("chip", found[0].cells)], truth)
    # the three are one, a region elsewhere and one of another kind stay what they are
    assert [int(r.cells.sum()) for r in merged] == [sum(int(f.cells.sum()) for f in found), 16, int(found[0].cells.sum())]
    assert first == [0, 3, 4]
    mate, _ = pair(merged[:1], replace(truth, regions=truth.drawn))
    assert truth.drawn[mate[0]].kind == "worn_through"  # type: ignore[index]


def _found(kind: str, cells: NDArray[np.bool_]) -> RawRegion:
    return RawRegion(kind, cells, 0.9, 0.95, 0.9, 0.01, False, (0.2,) * 5)


def test_small_regions_and_look_alikes_weigh_more_and_unknown_nothing() -> None:
    kinds, known, fools = np.zeros((30, 30), np.uint8), np.ones((30, 30), bool), np.zeros((30, 30), bool)
    kinds[:10, :18], kinds[20:22, 20:23] = 1, 2
    fools[15, 15], known[0, 29] = True, False
    weight = weights(kinds, known, fools, np.ones((30, 30), bool)) / 16
    assert weight[5, 5] == 1.0 and weight[20, 20] == pytest.approx((90 / 6) ** 0.5, abs=0.04)
    assert weight[15, 15] == 2.0 and weight[0, 29] == 0 and weight[29, 0] == 1


def test_answers_by_overlap_or_by_centre_and_size() -> None:
    true = box(10, 30, 10, 50)
    assert answers(true, true) == 1.0
    assert answers(box(10, 30, 10, 30), true) == pytest.approx(0.5)  # closed form: half of it, nothing besides
    ring = box(10, 30, 10, 30) & ~box(13, 27, 13, 27)
    inner = box(14, 26, 14, 26)
    assert 0 < answers(inner, ring) < 0.01  # no overlap, but centred in the filled ring and of like size
    assert answers(box(40, 50, 60, 80), true) == 0.0


def test_each_true_region_is_answered_once_and_unknown_ground_is_free() -> None:
    true = TrueRegion("chip", box(10, 30, 10, 50), "major", None)
    truth = Truth((true,), box(40, 60, 0, 30), {}, "solid", "g")
    maps = ideal({"chip": box(10, 30, 10, 28) | box(45, 55, 5, 20), "burn": box(10, 30, 35, 50)})
    found = find_regions(maps, 0.5)
    mate, counts = pair(found, truth)
    by_place = {(f.kind, bool(f.cells[50].any())): (m, c) for f, m, c in zip(found, mate, counts, strict=True)}
    assert by_place[("chip", False)] == (0, True) and by_place[("burn", False)] == (None, True)
    assert by_place[("chip", True)] == (None, False)


def test_f1_is_the_harmonic_mean() -> None:
    assert f1(6, 10, 8) == pytest.approx(2 / (10 / 6 + 8 / 6))
    assert np.isnan(f1(0, 0, 0))


def test_parts_never_share_seeds_and_groups_fall_on_one_side() -> None:
    seeds = [{seed_of(part, n) for n in range(1000)} for part in PARTS]
    assert not seeds[0] & seeds[1] and not seeds[1] & seeds[2]
    sides = [fits(f"author {k}") for k in range(200)]
    assert 30 < sum(sides) < 110


def test_fitted_rules_keep_sure_regions_and_drop_weak_ones() -> None:
    seen = []
    for k in range(40):
        real, ghost = box(10, 24, 10, 40), box(40, 44, 60, 66)
        maps = ideal({"chip": real}, sure=0.95)
        maps.kinds[:, ghost] = 0
        maps.kinds[0, ghost], maps.kinds[1 + NAMES.index("stain"), ghost] = 0.35, 0.65
        truth = Truth((TrueRegion("chip", real, "major", None),), np.zeros((60, 90), bool), {}, "solid", f"g{k % 8}")
        seen.append(damage_fit.Seen(truth, maps))
    rules, record = damage_fit.fit(seen)
    assert record["f1"] == pytest.approx(1.0) and record["brier"] < 0.05
    # scikit-learn's own Brier score on the same answers
    from sklearn.metrics import brier_score_loss

    judged, _ = damage_fit.judge(seen, rules["threshold"])
    chance = damage_fit.held_out(judged)
    assert record["brier"] == pytest.approx(brier_score_loss([j.kind for j in judged], chance), abs=1e-9)


def test_calibration_error_of_a_constant_is_its_distance_from_the_rate() -> None:
    right = np.arange(64) % 4 == 0
    assert damage_fit.calibration_error(np.full(64, 0.25), right) == pytest.approx(0.0, abs=1e-9)
    assert damage_fit.calibration_error(np.full(64, 0.75), right) == pytest.approx(0.5)


def test_tiles_cover_the_panel_and_know_their_kinds() -> None:
    labels = np.zeros((200, 300), np.uint8)
    labels[0:40, 0:40] = NAMES.index("burn") + 1
    tiles = tiles_of(_panel(labels))
    assert len(tiles) == -(-200 // TILE) * -(-300 // TILE)
    assert sum(t.kinds.any() for t in tiles) == 1 and tiles[0].kinds[NAMES.index("burn")]

"""The baselines find what they can, and the counting of places and axes is right."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from skimage import data

from training import layout_scores, repeat_scores
from training.composites import recurring
from training.composites.figures import Figure
from training.composites.pairs import make_pair
from training.composites.trials import Trial
from training.repeat_baselines import BASELINES, mirror_axes


def textures() -> dict[str, np.ndarray]:
    """scikit-image's own pictures, which are no wood."""
    return {n: np.repeat(getattr(data, n)()[..., None], 3, axis=2) for n in ("brick", "gravel", "grass")}


@pytest.mark.parametrize("method", sorted(BASELINES))
def test_baselines_find_a_copy_and_rate_it_above_strangers(method: str) -> None:
    t = textures()
    a, b = t["gravel"][40:340, 20:420], t["gravel"][60:360, 70:470]
    found = BASELINES[method](a, b)
    assert found.matrix is not None
    assert found.matrix[:2, 2] == pytest.approx([-50, -20], abs=1.5)
    strangers = BASELINES[method](t["gravel"][:300, :400], t["grass"][:300, :400])
    assert found.score > 1.5 * strangers.score


@pytest.mark.parametrize("method", ["sift", "fft"])
def test_baselines_find_a_turned_and_a_mirrored_copy(method: str) -> None:
    a = textures()["gravel"][40:340, 20:420]
    for other in (a[::-1, ::-1], a[::-1]):
        found = BASELINES[method](a, np.ascontiguousarray(other))
        assert found.matrix is not None
        corner = found.matrix @ [0, 0, 1]
        x = 399 if other is not None and np.array_equal(other[0, 0], a[-1, -1]) and np.array_equal(other[0], a[-1, ::-1]) else 0
        assert corner[:2] / corner[2] == pytest.approx([x, 299], abs=2)


def test_mirror_voting_finds_the_axis() -> None:
    half = textures()["gravel"][:400, :220]
    whole = np.concatenate([half, half[:, ::-1]], axis=1)
    axis = mirror_axes(whole)[0]
    assert min(axis.angle, np.pi - axis.angle) < np.deg2rad(2)
    assert abs(axis.distance) == pytest.approx(219.5, abs=3)
    plain = mirror_axes(textures()["gravel"][:400, :440])
    assert axis.score > 4 * plain[0].score


def test_place_error_is_nought_at_the_truth_and_grows_with_the_shift(figures: list[Figure]) -> None:
    pair = make_pair(figures[0], "copy", np.random.default_rng(1))
    sheets, shrink = repeat_scores.sheets_of(pair)
    assert max(sheets[0].pixels.shape) <= 640
    assert pair.truth is not None
    truth = shrink @ pair.truth @ np.linalg.inv(shrink)
    shapes = sheets[0].pixels.shape, sheets[1].pixels.shape
    assert repeat_scores.place_error(truth, truth, *shapes) == 0
    moved = np.array([[1, 0, 6], [0, 1, 8], [0, 0, 1.0]]) @ truth
    longer = max(*shapes[0], *shapes[1])
    assert repeat_scores.place_error(truth, moved, *shapes) == pytest.approx(10 / longer)


def test_rows_are_summed_up_as_they_are() -> None:
    rng = np.random.default_rng(0)
    rows = []
    for k in range(90):
        base = {"part": "report", "group": f"g{k % 6}", "rendered": False, "damage": repeat_scores.ROWS[k % 9], "leaves": 0,
                "figure": "plain", "share": 0.7}
        rows.append({**base, "kind": "copy", "sift": 10.0 + (k % 2), "sift_error": 0.001 if k % 3 else 0.2})
        rows.append({**base, "kind": "none", "sift": float(rng.uniform(0, 5)), "sift_error": None})
        rows.append({**base, "part": "tune", "kind": "none", "sift": float(rng.uniform(0, 5)), "sift_error": None})
    summary = repeat_scores.summarise(rows, ("sift",))
    assert summary["rows"]["any"]["sift"]["tuned"] == pytest.approx(60 / 90)  # a third lies at the wrong place
    assert summary["rows"]["any"]["sift"]["above"] == 1.0
    assert summary["rows"]["any"]["sift"]["auc"] == 1.0
    assert "sift" in repeat_scores.text(summary, ("sift",))


def test_a_trial_is_measured_from_end_to_end(figures: list[Figure]) -> None:
    row = repeat_scores.measure_trial(Trial("report", "copy", "none", 1, 1, 5), figures, ("ours", "sift"))
    assert row["sift_error"] is not None and row["sift_error"] < 0.02
    assert row["ours"] == repeat_scores.NOT_FOUND or row["likelihoods"] is not None


def test_reliability_of_even_odds() -> None:
    rng = np.random.default_rng(1)
    x = np.r_[rng.normal(1, 1, 3000), rng.normal(-1, 1, 3000)]
    table = repeat_scores.reliability(2 * x, np.r_[np.ones(3000), np.zeros(3000)])  # closed form: the ratio of x is 2 x
    for b in table:
        assert b["stated"] == pytest.approx(b["true"], abs=0.04)


def test_axes_are_counted_within_the_tolerances() -> None:
    line = layout_scores.as_line(np.array([100.0, 0.0]), np.array([100.0, 400.0]))
    assert layout_scores.same_line(line, line + np.array([7.0, 0, 7.0, 0]), 400.0)
    assert not layout_scores.same_line(line, line + np.array([9.0, 0, 9.0, 0]), 400.0)
    for degrees, same in ((1.5, True), (2.5, False)):
        off = 200 * np.tan(np.deg2rad(degrees))
        turned = layout_scores.as_line(np.array([100.0 - off, 0.0]), np.array([100.0 + off, 400.0]))
        assert layout_scores.same_line(line, turned, 400.0) is same
    assert layout_scores.count_axes([line], [line, line + 1], 400.0) == (1, 2, 1)
    halves = [layout_scores.as_line(np.array([100.0, 0.0]), np.array([100.0, 200.0])),
              layout_scores.as_line(np.array([100.0, 400.0]), np.array([100.0, 200.0]))]
    assert len(layout_scores.merged(halves, 400.0)) == 1


def test_recurring_figure_by_the_outside_methods() -> None:
    tile = textures()["gravel"][:300, :150]
    whole = np.concatenate([tile, tile, tile], axis=1)
    score, offset, _ = recurring.autocorrelation(whole)
    assert offset is not None
    assert np.abs(offset) == pytest.approx([150, 0], abs=1)
    plain = recurring.autocorrelation(textures()["gravel"][:300, :450])
    assert score > 2 * plain[0]
    votes, offset, _ = recurring.sift_with_itself(np.concatenate([tile, tile], axis=1))
    assert offset is not None and np.abs(offset) == pytest.approx([150, 0], abs=1)
    assert votes > 20


def test_working_view_of_a_picture_maps_back() -> None:
    pixels = np.zeros((900, 1200, 3), np.uint8)
    cv2.circle(pixels, (601, 451), 4, (255, 255, 255), -1)
    view, scale = layout_scores.view_of(pixels)
    assert max(view.pixels.shape) == 640 and scale == pytest.approx(640 / 1200)
    y, x = np.argwhere(view.pixels[..., 0] == view.pixels[..., 0].max())[0]
    assert view.photo_points(np.array([[float(x), float(y)]]))[0] == pytest.approx([601, 451], abs=3)

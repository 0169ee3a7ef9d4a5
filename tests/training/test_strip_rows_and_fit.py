"""Bands judged by an instance map, and trees that say in use what they said when they were taught."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from training.strip_fit import BandTable, grow, least_chance, weight_of, winners
from training.strip_rows import (
    RenderedPhoto,
    bands_with_truth,
    enlarged,
    half_of,
    jittered,
    outlines_of,
    rendered_photos,
)
from training.strip_scores import WayResult, add_photo, figures, trade
from vision.edges.find_model import load_strip_model, save_strip_model
from vision.errors import ModelMismatch

FACE = [[100.0, 60.0], [500.0, 60.0], [500.0, 199.0], [100.0, 199.0]]


def panel(number, part, view, outline, area):
    return {"id": number, "part": part, "view": view, "outline": outline, "area_px": area}


@pytest.fixture
def photo():
    """A top (1) with its edge (2) below, 20 px thick; left of it a part too small for the truth (0)."""
    ids = np.full((320, 600), 200, np.uint8)
    ids[60:200, 100:501], ids[200:220, 100:501], ids[60:200, 60:100] = 1, 2, 0
    colour = np.zeros((*ids.shape, 3))
    for number, tone in ((200, (180, 185, 190)), (1, (170, 125, 80)), (2, (120, 85, 52)), (0, (140, 100, 60))):
        colour[ids == number] = tone
    pixels = np.clip(colour + np.random.default_rng(1).normal(0, 2, colour.shape), 0, 255).astype(np.uint8)
    edge = [[100.0, 200.0], [500.0, 200.0], [500.0, 219.0], [100.0, 219.0]]
    return RenderedPhoto(Path("p1_0.jpg"), "p1_0", "p1", pixels, ids,
                         [panel(1, "top", "face", FACE, 56140), panel(2, "top", "edge", edge, 8020)])


def test_the_band_on_the_edge_is_right_and_of_the_face_s_part(photo):
    (face,) = bands_with_truth(photo, ("true",))
    best = max(((s, n, face.shared[k][n], k) for k, s in enumerate(face.sides) for n in range(len(s.bands))), key=lambda t: t[2])
    side, n, shared, k = best
    assert shared > 0.9 and face.own[k][n] and face.which[k][n] == 2 and face.judged[k][n]
    assert abs(side.corners(n)[:, 1] - [199.5, 199.5, 219.5, 219.5]).max() < 1.5


def test_what_the_truth_does_not_name_is_not_judged(photo):
    (face,) = bands_with_truth(photo, ("true",))
    left = next(k for k, s in enumerate(face.sides) if s.layout.way[0] < -0.9)
    on_it = (face.sides[left].bands[:, 2] == 0) & (np.abs(face.sides[left].depths() - 40) < 2)
    assert on_it.any() and not face.judged[left][on_it].any()
    named = replace(photo, ids=np.where(photo.ids == 0, 200, photo.ids).astype(np.uint8))
    (again,) = bands_with_truth(named, ("true",))
    assert all(j.all() for j in again.judged)


def test_true_sides_touch_a_face_and_have_their_size(photo):
    (side,) = photo.true_sides()
    assert side.key == ("p1_0", 2) and side.own and abs(side.thick - 20) < 0.6 and abs(side.length - 401) < 0.6
    assert photo.overlap([(100, 200), (500, 200), (500, 219), (100, 219)], 2) > 0.98
    alone = replace(photo, panels=[p for p in photo.panels if p["view"] != "face"])
    assert alone.true_sides() == []


def test_an_outline_round_face_and_edge_holds_the_edge_inside(photo):
    ((outline, part),) = outlines_of(photo, "round")
    assert part == "top" and outline[:, 1].max() == 219
    (face,) = bands_with_truth(photo, ("round",))
    assert max(face.shared[k][n] for k, s in enumerate(face.sides) for n in np.flatnonzero(s.bands[:, 2])) > 0.8


def test_jitter_moves_each_corner_by_two_to_four_px(photo):
    moved = jittered(np.array(FACE), np.random.default_rng(0))
    far = np.sqrt(((moved[:, None] - np.array(FACE)[None]) ** 2).sum(axis=2)).min(axis=1)
    assert len(moved) == 4 and (far >= 2).all() and (far <= 4).all()


def test_a_larger_photo_keeps_truth_and_pixels_together(photo):
    large = enlarged(photo, 1.5)
    assert large.ids.shape == large.pixels.shape[:2] == (480, 900)
    ((outline, _),) = outlines_of(large, "true")
    ys, xs = np.nonzero(large.ids == 1)
    assert abs(outline[:, 0].min() - xs.min()) <= 1.5 and abs(outline[:, 1].max() - ys.max()) <= 1.5


def test_halves_are_by_piece_and_folders_are_read(photo, tmp_path):
    for k in range(6):
        cv2.imwrite(str(tmp_path / f"q{k}_0.jpg"), photo.pixels[..., ::-1])
        cv2.imwrite(str(tmp_path / f"q{k}_0_id.png"), photo.ids)
        (tmp_path / f"q{k}_0.json").write_text(json.dumps({"piece": f"q{k}", "twin_group": None, "panels": photo.panels}))
    both = {half: {p.piece for p in rendered_photos(tmp_path, half)} for half in ("teach", "report")}
    assert not both["teach"] & both["report"] and len(both["teach"] | both["report"]) == 6
    assert all(half_of(p) == half for half, pieces in both.items() for p in pieces)
    with pytest.raises(FileNotFoundError):
        next(rendered_photos(tmp_path / "none"))


def table(seed=0, outlines=60):
    rng = np.random.default_rng(seed)
    n = outlines * 10
    numbers = rng.normal(size=(n, 5))
    right = numbers[:, 0] + 0.5 * numbers[:, 1] + 0.3 * rng.normal(size=n) > 1.2
    outline, side = np.repeat(np.arange(outlines), 10), np.tile(np.repeat([0, 1], 5), outlines)
    return BandTable(numbers, right, np.ones(n, bool), np.ones(n, bool), outline, side, rng.uniform(5, 80, n), np.zeros(n, bool),
                     numbers[:, 2] > 0, np.tile([[0.0, 1.0], [0.0, -1.0]], (n // 2, 1)), [f"p{k // 2}" for k in range(outlines)])


def test_arrays_say_what_the_trees_said(tmp_path, monkeypatch):
    from sklearn.ensemble import HistGradientBoostingClassifier

    made = {}
    fit = HistGradientBoostingClassifier.fit

    def kept(self, *args, **more):
        made["it"] = fit(self, *args, **more)
        return made["it"]

    monkeypatch.setattr(HistGradientBoostingClassifier, "fit", kept)
    monkeypatch.setattr("training.strip_fit.TREES", 15)
    t = table()
    model = grow(t.numbers, t.right, weight_of(t))
    x = t.numbers.astype(np.float32)
    assert np.allclose(model.log_odds(t.numbers), made["it"].decision_function(x), atol=1e-5)
    odds = model.log_odds(t.numbers)
    assert odds[t.right].mean() > odds[~t.right].mean() + 1


def test_winners_are_the_likeliest_band_of_each_side():
    t = table(outlines=4)
    odds = np.random.default_rng(1).normal(size=len(t.right))
    best, second = winners(t, odds)
    assert len(best) == 8 and second.shape == (8, 5)
    for k in best:
        same = (t.outline == t.outline[k]) & (t.side == t.side[k])
        assert odds[k] == odds[same].max()


def test_least_chance_is_the_lowest_that_is_right_often_enough():
    chance = np.array([0.95, 0.9, 0.8, 0.7, 0.6, 0.5])
    right = np.array([True, True, True, False, True, False])
    one = ["p"] * 6
    assert least_chance(chance, right, one, 1.0) == pytest.approx(0.71)
    assert least_chance(chance, right, one, 0.8) == pytest.approx(0.51)
    assert least_chance(chance, ~chance.astype(bool), one, 0.9) == 0.99
    # of several pieces the share must hold whichever are drawn: one wrong of five is too many for 0.8
    assert least_chance(chance, right, list("abcdef"), 0.8) == pytest.approx(0.71)


def test_a_model_taught_on_other_numbers_is_refused(tmp_path, monkeypatch):
    where = tmp_path / "strips.npz"
    model = load_strip_model()
    save_strip_model(model, where)
    again = load_strip_model(where)
    assert np.array_equal(again.band.value, model.band.value) and again.least == model.least
    assert np.array_equal(again.owner.cut, model.owner.cut) and np.array_equal(again.own_weights, model.own_weights)
    monkeypatch.setattr("vision.edges.find_model.SECOND", ("own",))
    save_strip_model(model, tmp_path / "other.npz")
    monkeypatch.undo()
    with pytest.raises(ModelMismatch):
        load_strip_model(tmp_path / "other.npz")


def test_figures_count_what_was_told(photo):
    result = WayResult()
    add_photo(result, photo, list(bands_with_truth(photo, ("true",))), 0.0)
    out = figures(result, 0.0)
    assert out["outlines"] == 1 and out["told"] == len(result.bands) == out["not_judged"] + out["precision"]["n"]
    assert out["recall_15+"] == {**out["recall_15+"], "value": 1.0, "n": 1} and out["recall_5-8"]["n"] == 0
    assert out["false_each_outline"] == sum(b.is_judged and not b.right for b in result.bands)
    told = [t["told"] for t in trade(result)]
    assert figures(result, 1.01)["told"] == 0 and told == sorted(told, reverse=True)

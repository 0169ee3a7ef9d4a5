"""Rows, fit and scores of edges: chance for constant answers, outlines spoilt within bounds, real labels read."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from sklearn.metrics import balanced_accuracy_score, log_loss

from training.edge_fit import _calibrate, answers, with_real
from training.edge_rows import crop, real_strip, row_of, spoilt
from training.edge_scores import balanced, kind_scores, ply_scores
from training.edges.make import make_edge
from training.edges.sets import FIRST_SEED, plan
from vision.edges.frame import lay_out
from vision.edges.kinds import STRIP_KINDS
from vision.edges.numbers import NAMES


@pytest.fixture(scope="module")
def row():
    return row_of(make_edge("laminate_particle", "close", 3))


def test_a_row_holds_every_number(row):
    assert row.values.shape == (len(NAMES),) and np.isfinite(row.values).all()
    assert row.strip == "particles" and row.embedding.shape == (1280,) and row.group == "seed 3"


def test_spoilt_outlines_stay_near_and_are_the_same_every_time():
    truth = make_edge("bare_fibre", "close", 4).truth
    (one, at), (two, _) = spoilt(truth), spoilt(truth)
    assert np.array_equal(one, two)
    thick = np.hypot(*np.subtract(np.mean(truth.arris, axis=0), np.mean(truth.lower, axis=0)))
    assert np.abs(one - truth.outline).max() < 0.6 * thick + 8
    if at is not None:
        d = np.subtract(np.mean(truth.arris, axis=0), np.mean(truth.lower, axis=0))
        assert np.dot(np.subtract(at, np.mean(truth.arris, axis=0)), d) > 0


def test_a_crop_is_square_and_keeps_its_shape():
    picture = make_edge("band_plain", "angled", 5)
    frame = lay_out(picture.pixels, picture.truth.outline)
    assert crop(frame).shape == (224, 224, 3)


def test_parts_share_no_seed_and_kinds_come_evenly():
    tune, report = plan("tune", 6), plan("report", 6)
    assert not {t.seed for t in tune} & {t.seed for t in report}
    assert len(tune) == 6 * len(STRIP_KINDS) * 2
    assert min(FIRST_SEED.values()) >= 10_000
    assert plan("tune", 3) == tune[: len(plan("tune", 3))]


def test_real_labels():
    def label(**more):
        return {"face": "veneer", "core": "plywood", "view": "edge", "edge": "plies", **more}

    assert real_strip(label()) == "plies"
    assert real_strip(label(edge="end_grain", core="lumber", view="end")) == "solid_end"
    assert real_strip(label(edge="none", core="lumber")) == "solid_edge"
    assert real_strip(label(face="not_wood")) == "other"
    assert real_strip(label(edge="none")) is None


def test_questions_arise_where_they_should(row):
    rows = [row, row_of(make_edge("solid_end", "close", 6)), row_of(make_edge("rope", "close", 6))]
    assert answers(rows, "kind") == [list(STRIP_KINDS).index(r.strip) for r in rows]
    assert answers(rows, "continuous") == [0, 1, None]
    assert answers(rows, "sheet")[1:] == [0, None]
    assert len(with_real(rows, rows[:1])) > len(rows)


def test_balanced_accuracy_is_the_library_s_and_a_constant_scores_chance():
    rng = np.random.default_rng(1)
    true, given = rng.integers(0, 5, 300), rng.integers(0, 5, 300)
    every = np.arange(300)
    assert balanced(true, given)(every) == pytest.approx(balanced_accuracy_score(true, given))
    assert balanced(true, np.full(300, 2))(every) == pytest.approx(0.2)
    rows = [SimpleNamespace(strip=k, group=f"g{i}", truth=None) for i, k in enumerate([*STRIP_KINDS] * 4)]
    constant = np.tile(np.eye(len(STRIP_KINDS))[2], (len(rows), 1))
    found = kind_scores(rows, constant)
    assert found["balanced_accuracy"]["value"] == pytest.approx(1 / len(STRIP_KINDS))
    assert found["traps_called_plies"]["value"] == 1.0


def test_ply_scores_count_only_plies_thick_enough():
    def one(true, found, px):
        return SimpleNamespace(truth=SimpleNamespace(plies=true, ply_px=px), plies=SimpleNamespace(plies=found))

    found = ply_scores([one(7, 7, 8), one(7, 9, 8), one(9, 8, 6), one(5, 3, 3.0), one(0, 4, 0.0)])
    assert found["exact"]["value"] == pytest.approx(1 / 3) and found["within_one"]["value"] == pytest.approx(2 / 3)


def test_calibration_lowers_the_loss_of_boastful_chances():
    rng = np.random.default_rng(5)
    y = rng.integers(0, 3, 900)
    honest = np.log(np.full((900, 3), 0.2) + 0.4 * np.eye(3)[np.where(rng.random(900) < 0.6, y, rng.integers(0, 3, 900))])
    boastful = 4 * honest
    scale, offset = _calibrate(boastful, y)

    def chances(logs):
        p = np.exp(logs - logs.max(axis=1, keepdims=True))
        return p / p.sum(axis=1, keepdims=True)

    assert log_loss(y, chances(scale * boastful + offset)) < log_loss(y, chances(boastful)) - 0.05
